#include "report/lists.h"

#include <nlohmann/json.hpp>

#include "../support.h"

using namespace bindery;
using test::World;
using Json = nlohmann::json;

TEST_SUITE("report/lists") {

TEST_CASE("a table's columns are as wide as their widest cell, and no line ends in a blank") {
  CHECK(table_text({{"NAME", "TIER", "TITLE"}, {"a", "supporter", ""}, {"longer", "free", "words"}}) == "NAME    TIER       TITLE\na       supporter\nlonger  free       words\n");
}

// The commands: the members of `list settings --format json`.
TEST_CASE("the dictionary in JSON has the members that are promised, in its own order") {
  World world(test::small_tree());
  Json list = Json::parse(settings_json(world.tree.dictionary));
  REQUIRE(list.size() == world.tree.dictionary.settings.size());
  for (const Json& entry : list) {
    for (const char* member : {"key", "title", "about", "kinds", "type", "unit", "range", "typical", "choices", "default", "required", "fact", "over_limit", "source"}) CHECK_MESSAGE(entry.contains(member), member);
  }
  CHECK(list[0]["key"] == "nozzle.bore");
  CHECK(list[0]["fact"] == true);
  CHECK(list[0]["kinds"] == Json({"machine"}));
  CHECK(list[0]["range"] == Json({0.1, 2}));
  CHECK(list[0]["default"] == "0.4 mm");
  CHECK(list[1]["choices"] == Json({"head", "frame"}));
  CHECK(list[1]["unit"].is_null());
  CHECK(list[2]["default"].is_null());
  CHECK(list[2]["over_limit"] == "cap");
}

// The commands: "`list` prints a list of objects with at least `id`, or `key`".
TEST_CASE("fragments, profiles and sets are listed with their ids") {
  World world(test::small_tree("fittings: { x: {} }\n", "tier: supporter\n", "", {{"release/plan.yaml", "sets: { all: { title: All of it, tier: supporter, take: [ {} ] } }\n"}}));
  Selection selection = select_profiles(world.tree, world.diagnostics);
  Json machines = Json::parse(fragments_json(world.tree, Kind::machine));
  REQUIRE(machines.size() == 2);
  CHECK(machines[0]["id"] == "machine/m");
  CHECK(machines[0]["abstract"] == true);
  CHECK(machines[1]["id"] == "machine/m+x");
  CHECK(machines[1]["extends"] == Json({"machine/m"}));
  Json profiles = Json::parse(profiles_json(world.tree, selection));
  REQUIRE(profiles.size() == 1);
  CHECK(profiles[0]["id"] == "m+x/p/q");
  CHECK(profiles[0]["tier"] == "supporter");
  CHECK(profiles[0]["sets"] == Json({"all"}));
  Json sets = Json::parse(sets_json(world.tree, selection));
  REQUIRE(sets.size() == 1);
  CHECK(sets[0]["id"] == "all");
  CHECK(sets[0]["profiles"] == 1);
  CHECK(fragments_text(world.tree, Kind::machine).find("m+x") != std::string::npos);
  CHECK(profiles_text(world.tree, selection) == "PROFILE  TIER       STATUS\nm+x/p/q  supporter  beta\n");
}

TEST_CASE("every code is listed with its explanation") {
  Json list = Json::parse(codes_json());
  REQUIRE(list.size() == all_codes().size());
  CHECK(list[0]["id"] == all_codes()[0].name);
  for (const Json& entry : list) CHECK_FALSE(entry["explanation"].get<std::string>().empty());
}

}
