#include "report/diagnostics.h"

#include <nlohmann/json.hpp>

#include "../support.h"

using namespace bindery;
using Json = nlohmann::json;

namespace {

std::string shown(const Diagnostics& out, const Sources& sources) { return diagnostics_text(out, sources, Palette::of(false)); }

// A file of one report over the bytes of `part`.
std::string caret(std::string text, std::string_view part) {
  Sources sources = test::sources_of({{"a.yaml", std::move(text)}});
  Diagnostics out;
  auto at = static_cast<std::uint32_t>(sources[0].text.find(part));
  out.add(Code::setting_unknown, {0, at, at + static_cast<std::uint32_t>(part.size())}, "wrong");
  return shown(out, sources);
}

}  // namespace

TEST_SUITE("report/diagnostics") {

// The commands: "`file:line:column: error[code]: message`, the source lines with carets, the chain, the help".
TEST_CASE("a report shows its place, its line with carets, related places and the cure") {
  Sources sources = test::sources_of({{"profiles-src/machine/m.yaml", "settings:\n  wall.outter.speed: 1 mm/s\n"}});
  Diagnostics out;
  out.add(Code::setting_unknown, {0, 12, 29}, "unknown setting 'wall.outter.speed'").with_help("did you mean 'wall.outer.speed'").with_related({0, 0, 8}, "in this mapping");
  CHECK(shown(out, sources) ==
        "profiles-src/machine/m.yaml:2:3: error[setting-unknown]: unknown setting 'wall.outter.speed'\n"
        "  2 |   wall.outter.speed: 1 mm/s\n"
        "    |   ^^^^^^^^^^^^^^^^^\n"
        "  profiles-src/machine/m.yaml:1:1: in this mapping\n"
        "  help: did you mean 'wall.outer.speed'\n");
}

TEST_CASE("carets stand below their bytes, counted in characters") {
  CHECK(caret("a: \xc2\xb0" "C bad\n", "bad") == "a.yaml:1:7: error[setting-unknown]: wrong\n  1 | a: \xc2\xb0" "C bad\n    |       ^^^\n");
  CHECK(caret("a: \xc2\xb0\xc2\xb0\n", "\xc2\xb0\xc2\xb0") == "a.yaml:1:4: error[setting-unknown]: wrong\n  1 | a: \xc2\xb0\xc2\xb0\n    |    ^^\n");
  CHECK(caret("bad\n", "bad") == "a.yaml:1:1: error[setting-unknown]: wrong\n  1 | bad\n    | ^^^\n");
}

TEST_CASE("a tab is shown as one blank, so that carets stand below their bytes") {
  CHECK(caret("a:\tbad\r\n", "bad") == "a.yaml:1:4: error[setting-unknown]: wrong\n  1 | a: bad\n    |    ^^^\n");
}

TEST_CASE("carets of a span over several lines end with its first line") {
  CHECK(caret("a: |\n  one\n  two\n", "one\n  two") == "a.yaml:2:3: error[setting-unknown]: wrong\n  2 |   one\n    |   ^^^\n");
}

TEST_CASE("the line number's width moves the bar") {
  CHECK(caret("\n\n\n\n\n\n\n\n\nbad\n", "bad") == "a.yaml:10:1: error[setting-unknown]: wrong\n  10 | bad\n     | ^^^\n");
}

TEST_CASE("a report without a place, or on a whole file, shows no line") {
  Sources sources = test::sources_of({{"a.yaml", "text\n"}});
  Diagnostics out;
  out.add(Code::file_empty, {0, 0, 0}, "the file is empty");
  out.add(Code::dictionary_missing, {}, "no dictionary").with_help("copy one");
  CHECK(shown(out, sources) == "a.yaml:1:1: error[file-empty]: the file is empty\nerror[dictionary-missing]: no dictionary\n  help: copy one\n");
}

TEST_CASE("a broken rule carries one code, and the profiles are counted") {
  Sources sources = test::sources_of({{"a.yaml", "text\n"}});
  Diagnostics out;
  Diagnostic& item = out.add(Code::rule_broken, {0, 0, 4}, "too much");
  item.severity = Severity::warning;
  item.rule = "layer-fits";
  item.profile = "m/p/q";
  item.profiles = 3;
  CHECK(shown(out, sources) == "a.yaml:1:1: warning[rule-broken]: too much\n  1 | text\n    | ^^^^\n  in 3 profiles, the first m/p/q\n");
  out.items()[0].profiles = 1;
  CHECK(shown(out, sources).ends_with("  in m/p/q\n"));
}

TEST_CASE("colours change nothing but the colours") {
  Sources sources = test::sources_of({{"a.yaml", "text\n"}});
  Diagnostics out;
  out.add(Code::setting_unknown, {0, 0, 4}, "wrong").with_help("right");
  std::string coloured = diagnostics_text(out, sources, Palette::of(true)), plain;
  for (std::size_t at = 0; at < coloured.size();) {
    if (coloured[at] == '\x1b') at = coloured.find('m', at) + 1;
    else plain += coloured[at++];
  }
  CHECK(plain == shown(out, sources));
  CHECK(coloured.size() > plain.size());
  CHECK(shown(out, sources).find('\x1b') == std::string::npos);
}

// The commands: the object of a diagnostic.
TEST_CASE("a report in JSON has the members that are promised, lines and columns from one") {
  Sources sources = test::sources_of({{"a.yaml", "\xc2\xb0: 1\nbad: \"q\"\n"}});
  Diagnostics out;
  out.add(Code::setting_unknown, {0, 6, 9}, "say \"it\"").with_help("cure").with_related({0, 0, 2}, "here");
  out.add(Code::dictionary_missing, {}, "none");
  JsonWriter writer;
  diagnostics_json(out, sources, writer);
  Json json = Json::parse(writer.finish());
  REQUIRE(json.size() == 2);
  CHECK(json[0]["code"] == "setting-unknown");
  CHECK(json[0]["severity"] == "error");
  CHECK(json[0]["message"] == "say \"it\"");
  CHECK(json[0]["file"] == "a.yaml");
  CHECK(json[0]["line"] == 2);
  CHECK(json[0]["column"] == 1);
  CHECK(json[0]["end_line"] == 2);
  CHECK(json[0]["end_column"] == 4);
  CHECK(json[0]["help"] == "cure");
  REQUIRE(json[0]["related"].size() == 1);
  CHECK(json[0]["related"][0]["end_column"] == 2);  // one character of two bytes
  CHECK(json[1]["file"].is_null());
  CHECK(json[1]["line"].is_null());
}

TEST_CASE("a tally counts errors, warnings and notes") {
  Diagnostics out;
  CHECK(tally(out) == "no errors");
  out.add(Code::setting_unknown, {}, "x");
  out.add(Code::file_stray, {}, "x");
  out.add(Code::file_stray, {}, "x");
  CHECK(tally(out) == "1 error and 2 warnings");
}

}
