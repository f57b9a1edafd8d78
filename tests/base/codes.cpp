#include "base/codes.h"

#include <set>

#include "../support.h"

using namespace bindery;

TEST_SUITE("base/codes") {

TEST_CASE("a code is named with hyphens") {
  CHECK(describe(Code::setting_unknown).name == "setting-unknown");
  CHECK(describe(Code::yaml_tab).name == "yaml-tab");
}

TEST_CASE("the table gives each code at its own place") {
  auto codes = all_codes();
  REQUIRE(codes.size() > 60);
  for (std::size_t i = 0; i < codes.size(); ++i) {
    CHECK(static_cast<std::size_t>(codes[i].code) == i);
    CHECK(describe(codes[i].code).name == codes[i].name);
  }
}

TEST_CASE("every code has a name of its own, a title and an explanation in whole sentences") {
  std::set<std::string_view> names, titles;
  for (const CodeEntry& entry : all_codes()) {
    CAPTURE(entry.name);
    CHECK(names.insert(entry.name).second);
    CHECK(titles.insert(entry.title).second);
    CHECK(entry.name.find_first_not_of("abcdefghijklmnopqrstuvwxyz-") == std::string_view::npos);
    CHECK_FALSE(entry.title.empty());
    CHECK(entry.explanation.ends_with('.'));
  }
}

TEST_CASE("severities have their words") {
  CHECK(name_of(Severity::error) == "error");
  CHECK(name_of(Severity::warning) == "warning");
  CHECK(name_of(Severity::note) == "note");
}

}
