// A chapter of the changelog, for readers and for programs.
#include "report/changelog.h"

#include <nlohmann/json.hpp>

#include "../comparison.h"

using namespace bindery;
using test::Files;
using test::small_tree;
using test::Twins;
using Json = nlohmann::json;

namespace {

// A chapter on the difference of two trees: version 1.1.0 after 1.0.0.
Chapter chapter_of(const Files& before, const Files& after, const View& view = {}) {
  Chapter chapter;
  chapter.changes = Twins(before, after).changes(view);
  chapter.from = "1.0.0";
  chapter.to = "1.1.0";
  chapter.from_version = parse_version("1.0.0");
  chapter.to_version = parse_version("1.1.0");
  chapter.date = "2026-11-25";
  chapter.audience = view.tier;
  chapter.level = level_of(chapter.changes);
  chapter.reason = reason_of(chapter.level, chapter.changes);
  chapter.suggested = next_version(*chapter.from_version, chapter.level).text();
  chapter.commits.resize(chapter.changes.edits.size());
  return chapter;
}

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

// Everything at once.
Files before_all() {
  return small_tree("title: Machine\nsettings: { travel.speed: 100 mm/s }\nscripts: { start: G28 }\n",
                    "title: Material\nsettings: { heat.nozzle: 210 degC }\n", "title: Process\n",
                    {{"profiles-src/process/old.yaml", "title: Old\n"}});
}
Files after_all() {
  Files out = small_tree("title: Machine\nsettings: { travel.speed: 120 mm/s }\nscripts: { start: G28 X }\n",
                         "title: Material\nsettings: { heat.nozzle: 215 degC }\n", "title: Process\nstatus: stable\n",
                         {{"profiles-src/process/new.yaml", "title: New\nscripts: { pause: M0 }\n"}});
  std::string text(test::dictionary);
  text.replace(text.find("range: [0.05, 1]"), 16, "range: [0.05, 2]");
  out["schema/settings.yaml"] = text;
  return out;
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
  Chapter chapter = chapter_of(before_all(), after_all());
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

TEST_CASE("the document is valid JSON with the parts of the contract") {
  Chapter chapter = chapter_of(before_all(), after_all(), {Tier::supporter, true});
  chapter.notes = {{"Fixed", "A \"slip\".\n", "b", "", Tier::free}};
  chapter.contributors = {"A. Author"};
  Json json = Json::parse(chapter_json(chapter));
  CHECK(json["from"] == "1.0.0");
  CHECK(json["to"] == "1.1.0");
  CHECK(json["tier"] == "supporter");
  CHECK(json["suggested"] == "2.0.0");  // a profile was removed
  CHECK(json["reason"].get<std::string>().starts_with("major: 1 profile removed"));
  CHECK(json["profiles"]["added"] == Json({"m/p/new"}));
  CHECK(json["profiles"]["removed"] == Json({"m/p/old"}));
  CHECK(json["profiles"]["renamed"] == Json::array());
  CHECK(json["notes"] == Json::parse(R"([{"section": "Fixed", "tier": "free", "text": "A \"slip\".\n"}])"));
  CHECK(json["contributors"] == Json({"A. Author"}));
  for (const char* list : {"changes", "caps", "scripts", "dictionary", "compatibility", "no_effect"})
    CHECK_MESSAGE(json[list].is_array(), list);
}

TEST_CASE("a change has its causes and effects in full") {
  Chapter chapter = chapter_of(small_tree("settings: { travel.speed: 100 mm/s }\n"),
                               small_tree("settings: { travel.speed: 120 mm/s }\n"));
  chapter.commits[0] = {std::string(40, 'a')};
  Json json = Json::parse(chapter_json(chapter));
  CHECK(
      json["changes"] ==
      Json::parse(
          R"([{"causes": [{"fragment": "machine/m", "part": "settings", "setting": "travel.speed", "condition": null, "before": "100 mm/s", "after": "120 mm/s",
    "file": "profiles-src/machine/m.yaml", "commits": ["aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"]}],
   "effects": [{"profile": "m/p/q", "setting": "travel.speed", "before": 100, "after": 120, "unit": "mm/s"}]}])"));
}

TEST_CASE("an unset value, a count and another unit stand as the contract says") {
  std::string text(test::dictionary);
  text.replace(text.find("unit: mm/s, default: 150 mm/s"), 29, "unit: m/s, default: 150 mm/s");
  Json json =
      Json::parse(chapter_json(chapter_of(small_tree(), small_tree("settings: { wipe.length: 2 mm, wall.count: 4 }\n",
                                                                   "", "", {{"schema/settings.yaml", text}}))));
  std::map<std::string, Json> effects;
  for (const Json& change : json["changes"]) {
    for (const Json& effect : change["effects"]) effects[effect["setting"]] = effect;
  }
  CHECK(effects["wipe.length"]["before"] == nullptr);
  CHECK(effects["wipe.length"]["after"] == 2);
  CHECK(effects["wall.count"]["unit"] == nullptr);
  CHECK(
      effects["travel.speed"] ==
      Json::parse(
          R"({"profile": "m/p/q", "setting": "travel.speed", "before": 150, "after": 0.15, "unit": "m/s", "unit_before": "mm/s"})"));
}

TEST_CASE("what is added stands with its whole contents") {
  Json json = Json::parse(chapter_json(chapter_of(before_all(), after_all(), {Tier::supporter, true})));
  REQUIRE(json["profiles"]["contents"].size() == 1);
  const Json& fresh = json["profiles"]["contents"]["m/p/new"];
  CHECK(fresh["tier"] == "free");
  CHECK(fresh["status"] == "beta");
  CHECK(fresh["settings"]["travel.speed"] == Json::parse(R"({"value": 120, "unit": "mm/s"})"));
  CHECK_FALSE(fresh["settings"].contains("wipe.length"));
  CHECK(fresh["scripts"] == Json::parse(R"({"start": "G28 X", "pause": "M0"})"));
}

TEST_CASE("a move tells only the part that moved") {
  Json status = Json::parse(
      chapter_json(chapter_of(small_tree("status: stable\n", "status: stable\n", "title: Q\n"),
                              small_tree("status: stable\n", "status: stable\n", "title: Q\nstatus: stable\n"))));
  CHECK(status["profiles"]["moved"] ==
        Json::parse(R"([{"profile": "m/p/q", "status": {"before": "beta", "after": "stable"}}])"));
  CHECK(status["profiles"]["causes"][0]["moved"] == Json({"m/p/q"}));
  Json tier = Json::parse(
      chapter_json(chapter_of(small_tree("", "", "title: Q\n"), small_tree("", "", "title: Q\ntier: supporter\n"))));
  CHECK(tier["profiles"]["moved"] ==
        Json::parse(R"([{"profile": "m/p/q", "tier": {"before": "free", "after": "supporter"}}])"));
}

TEST_CASE("caps and scripts tell both sides, null where there is none") {
  Json json = Json::parse(
      chapter_json(chapter_of(small_tree("", "", "settings: { travel.speed: 200 mm/s }\n"),
                              small_tree("limits: { \"*.speed\": { at_most: 120 mm/s } }\nscripts: { end: M84 }\n", "",
                                         "settings: { travel.speed: 200 mm/s }\n"))));
  const Json& cap = json["caps"].at(0)["effects"].at(0);
  CHECK(cap["profile"] == "m/p/q");
  CHECK(cap["setting"] == "travel.speed");
  CHECK(cap["before"] == nullptr);
  CHECK(cap["after"]["bound"] == "at_most");
  CHECK(cap["after"]["limit"] == 120);
  CHECK(cap["after"]["unit"] == "mm/s");
  CHECK(json["scripts"].at(0)["effects"] ==
        Json::parse(R"([{"profile": "m/p/q", "script": "end", "before": null, "after": "M84"}])"));
}

TEST_CASE("edits of the dictionary, of `fits` and without effect have lists of their own") {
  std::string text(test::dictionary);
  text.replace(text.find("range: [0.05, 1]"), 16, "range: [0.05, 2]");
  Json json =
      Json::parse(chapter_json(chapter_of(small_tree("title: M\nsettings: { wall.count: 3 }\n", "", "title: Q\n"),
                                          small_tree("title: M\nfits: { process: q }\nsettings: { wall.count: 3.0 }\n",
                                                     "", "title: Q\n", {{"schema/settings.yaml", text}}))));
  REQUIRE(json["dictionary"].size() == 1);
  CHECK(json["dictionary"][0]["part"] == "range");
  CHECK(json["dictionary"][0]["setting"] == "layer.height");
  CHECK(json["dictionary"][0]["before"] == "0.05 to 1 mm");
  REQUIRE(json["compatibility"].size() == 1);
  CHECK(json["compatibility"][0]["fragment"] == "machine/m");
  std::set<std::string> idle;
  for (const Json& each : json["no_effect"]) idle.insert(each["setting"]);
  CHECK(idle == std::set<std::string>{"fits", "wall.count"});
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
