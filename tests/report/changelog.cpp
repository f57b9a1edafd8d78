// A chapter of the changelog, for readers.
#include "report/changelog.h"

#include "../comparison.h"

using namespace bindery;
using test::chapter_of;
using test::Files;
using test::small_tree;
using test::Twins;

namespace {

std::string markdown(const Files& before, const Files& after, bool list = false) {
  return chapter_markdown(chapter_of(before, after), list);
}

void holds(const std::string& text, std::initializer_list<std::string_view> parts) {
  std::size_t at = 0;
  for (std::string_view part : parts) {
    std::size_t found = text.find(part, at);
    CHECK_MESSAGE(found != std::string::npos, part, " is missing, or in the wrong place, in\n", text);
    if (found != std::string::npos) at = found + part.size();
  }
}

}  // namespace

TEST_SUITE("report/changelog") {

TEST_CASE("a chapter is headed by version and date, or told as not yet released") {
  Chapter chapter = chapter_of(small_tree(), small_tree());
  CHECK(chapter_markdown(chapter, false).starts_with("## 1.1.0 - 2026-11-25\n\nChanges since 1.0.0.\n"));
  chapter.to_version.reset();
  chapter.date.clear();
  CHECK(chapter_markdown(chapter, false).starts_with("## Unreleased\n"));
}

// Release contract: sections Safety (thermal values, scripts, safety notes), Added, Changed, Fixed, Removed,
// Contributors.
TEST_CASE("the sections come in their order, what can hurt first") {
  Chapter chapter = chapter_of(test::all_before(), test::all_after());
  chapter.notes = {{"Safety", "Mind the heat.", "a", "", Tier::free}, {"Fixed", "A slip.", "b", "", Tier::free}};
  chapter.contributors = {"A. Author", "B. Author"};
  holds(chapter_markdown(chapter, false),
        {"\n### Safety\n\n", "heat.nozzle", "start script", "- Mind the heat.\n", "\n### Added\n\n", "New",
         "\n### Changed\n\n", "travel.speed", "\n### Fixed\n\n- A slip.\n", "\n### Removed\n\n",
         "\n### Contributors\n\nA. Author and B. Author.\n"});
}

TEST_CASE("a section without items is left out") {
  std::string text = markdown(small_tree("settings: { travel.speed: 100 mm/s }\n"),
                              small_tree("settings: { travel.speed: 120 mm/s }\n"));
  holds(text, {"\n### Changed\n\n"});
  for (std::string_view absent : {"### Safety", "### Added", "### Fixed", "### Removed", "### Contributors"})
    CHECK(text.find(absent) == std::string::npos);
}

TEST_CASE("a value is told with its cause, its size and whom it reaches") {
  std::string text = markdown(small_tree("settings: { travel.speed: 100 mm/s }\n"),
                              small_tree("settings: { travel.speed: 120 mm/s }\n"));
  holds(text, {"- `machine/m`: `travel.speed` `100 mm/s` -> `120 mm/s`", "100 -> 120 mm/s, +20 %", "`m/p/q`"});
}

TEST_CASE("a temperature is told under safety, its difference in kelvin") {
  std::string text = markdown(small_tree("", "settings: { heat.nozzle: 210 degC }\n"),
                              small_tree("", "settings: { heat.nozzle: 215 degC }\n"));
  holds(text, {"### Safety", "`material/p`: `heat.nozzle` `210 degC` -> `215 degC`", "210 -> 215 degC, +5 K"});
  CHECK(text.find("### Changed") == std::string::npos);
}

TEST_CASE("a script is told under safety with the lines that differ") {
  std::string text = markdown(small_tree("scripts:\n  start: |\n    G28\n    M84\n    M1\n"),
                              small_tree("scripts:\n  start: |\n    G28 X\n    M84\n    M1\n"));
  holds(text, {"### Safety", "the start script", "```diff\n", "-G28\n", "+G28 X\n", " M84\n", "```\n"});
}

TEST_CASE("a script's own fence cannot end the frame") {
  std::string text = markdown(small_tree("scripts: { start: G28 }\n"),
                              small_tree("scripts:\n  start: |\n    ; ```\n    ; </pre># x\n"));
  holds(text, {"````diff\n", "+; ```\n", "````\n"});
}

TEST_CASE("what a limit holds back is told") {
  std::string text = markdown(
      small_tree("", "", "settings: { travel.speed: 200 mm/s }\n"),
      small_tree("limits: { \"*.speed\": { at_most: 120 mm/s } }\n", "", "settings: { travel.speed: 200 mm/s }\n"));
  holds(text, {"the limit on `*.speed`", "limit now"});
}

TEST_CASE("edits that change nothing are told as such") {
  holds(markdown(small_tree("settings: { travel.speed: 100 mm/s }\n", "", "settings: { travel.speed: 200 mm/s }\n"),
                 small_tree("settings: { travel.speed: 110 mm/s }\n", "", "settings: { travel.speed: 200 mm/s }\n")),
        {"### Changed", "1 edit", "changes no value", "`machine/m`: `travel.speed` `100 mm/s` -> `110 mm/s`"});
}

TEST_CASE("a chapter without changes says so, and one of words alone says that") {
  CHECK(markdown(small_tree(), small_tree()).find("\nNothing changed.\n") != std::string::npos);
  std::string words = markdown(small_tree("title: A\n"), small_tree("title: B\n"));
  CHECK(words.find("Nothing changed.") == std::string::npos);
  CHECK(words.find(" alone ") != std::string::npos);
}

TEST_CASE("a first release tells how much there is, and nothing of edits") {
  Chapter chapter = chapter_of(small_tree(), small_tree());
  chapter.first = true;
  chapter.from.clear();
  chapter.changes = {};
  chapter.changes.cast[0] = {{"m"}, {"M"}, {""}, {}};
  chapter.changes.cast[1] = {{"p"}, {"P"}, {""}, {}};
  chapter.changes.cast[2] = {{"q", "r"}, {"Q", "R"}, {"", ""}, {}};
  chapter.changes.profiles = {{"m/p/q", {0, 0, 0}}, {"m/p/r", {0, 0, 1}}};
  chapter.changes.added = {0, 1};
  chapter.changes.sets = {{{}, {0, 1}, {}, {}}};
  std::string text = chapter_markdown(chapter, false);
  holds(text, {"### Added", "The first release: all 2 profiles"});
  CHECK(text.find("Changes since") == std::string::npos);
}

TEST_CASE("renames and moves are told under what changed") {
  Files after = small_tree("", "", "title: Process\nstatus: stable\n",
                           {{"profiles-src/material/new.yaml", "title: Material\nreplaces: [p]\nstatus: stable\n"},
                            {"profiles-src/machine/m.yaml", "title: Machine\nstatus: stable\n"}});
  after.erase("profiles-src/material/p.yaml");
  holds(markdown(small_tree(), after), {"### Changed", "beta -> stable", "the material `p` is `new` now (1 profile)"});
}

TEST_CASE("each profile is named where that is asked for") {
  auto tree = [](int speed) {
    return small_tree(fmt::format("settings: {{ travel.speed: {} mm/s }}\n", speed), "", "",
                      {{"profiles-src/process/r.yaml", "title: R\n"}});
  };
  CHECK(markdown(tree(100), tree(120)).find("`m/p/r`") == std::string::npos);
  holds(markdown(tree(100), tree(120), true), {"all 2 profiles", "- `m/p/q`\n", "- `m/p/r`\n"});
}

TEST_CASE("a text of the sources cannot break out of its line") {
  auto tree = [](std::string_view material) {
    return small_tree(
        "", fmt::format("title: \"<img src=x> [a](b) *c*\"\nsettings: {{ order.words: [\"{}\"] }}\n", material), "",
        {{"profiles-src/process/r.yaml", "title: R\n"}, {"profiles-src/material/other.yaml", "title: Other\n"}});
  };
  std::string text = markdown(tree("a"), tree("x` <b>"));
  CHECK(text.find("<img") == text.find("\\<img") + 1);
  holds(text, {"``[x` <b>]``"});
}

TEST_CASE("what the free audience reads names nothing of the supporters'") {
  auto tree = [](int step) {
    return small_tree(
        fmt::format("title: M\nsettings: {{ travel.speed: {} mm/s }}\nfits: {{ material: [p, secret-*] }}\n",
                    100 + step),
        "", fmt::format("when:\n  - if: {{ material: [p, secret-{}] }}\n    settings: {{ wall.count: 4 }}\n", step),
        {{"profiles-src/material/secret-1.yaml",
          fmt::format("title: Secret\ntier: supporter\nsettings: {{ wall.speed: {} mm/s }}\n", 60 + step)},
         {"profiles-src/material/secret-2.yaml", "title: Secret two\ntier: supporter\n"}});
  };
  Chapter chapter = chapter_of(tree(1), tree(2), {Tier::free, true});
  std::string all = chapter_json(chapter) + chapter_markdown(chapter, true);
  CHECK(all.find("travel.speed") != std::string::npos);
  CHECK(all.find("ecret") == std::string::npos);
}

}
