// A chapter of the changelog, for programs; nlohmann-json reads it.
#include <nlohmann/json.hpp>

#include "../comparison.h"
#include "report/changelog.h"

using namespace bindery;
using test::chapter_of;
using test::small_tree;
using Json = nlohmann::json;

TEST_SUITE("report/changelog_json") {

TEST_CASE("the document is valid JSON with the parts of the contract") {
  Chapter chapter = chapter_of(test::all_before(), test::all_after(), {Tier::supporter, true});
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
  Json json = Json::parse(chapter_json(chapter_of(test::all_before(), test::all_after(), {Tier::supporter, true})));
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

}
