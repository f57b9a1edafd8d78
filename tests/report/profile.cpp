#include "report/profile.h"

#include <nlohmann/json.hpp>

#include "../support.h"

using namespace bindery;
using test::World;
using Json = nlohmann::json;

namespace {

Selected placed(World& world) { return place_in_plan(world.tree, world.triple()); }
Json as_json(World& world) { return Json::parse(profile_json(world.tree, placed(world), world.profile())); }

}  // namespace

TEST_SUITE("report/profile") {

// The commands: the object of `show --format json`.
TEST_CASE("a profile in JSON has the members that are promised") {
  World world(test::small_tree("scripts: { start: \"G28\\n\" }\n", "", "status: draft\nsettings:\n  wall.speed: 15 cm/s\n"));
  Json json = as_json(world);
  CHECK(json["profile"] == "m/p/q");
  CHECK(json["tier"] == "free");
  CHECK(json["status"] == "draft");
  CHECK(json["settings"]["wall.speed"] == Json::parse(R"({"value": 150, "unit": "mm/s", "how": "set", "capped_by": null,
    "from": {"fragment": "process/q", "file": "profiles-src/process/q.yaml", "line": 3, "column": 3}})"));
  CHECK(json["scripts"]["start"] == "G28\n");
  CHECK(json["scripts"].size() == 1);
}

// The commands: "`how` and `from` tell the topmost operation (`from` is null for a default); unset settings are left out."
TEST_CASE("a default comes from nowhere, and an unset setting is left out") {
  World world(test::small_tree("settings: { wall.count: { add: 1 }, seam.place: { unset: true } }\n"));
  Json settings = as_json(world)["settings"];
  CHECK_FALSE(settings.contains("wipe.length"));
  CHECK(settings["layer.height"]["how"] == "default");
  CHECK(settings["layer.height"]["from"].is_null());
  CHECK(settings["seam.place"]["how"] == "default");
  CHECK(settings["seam.place"]["from"].is_null());
  CHECK(settings["wall.count"]["how"] == "add");
  CHECK(settings["wall.count"]["unit"].is_null());
  CHECK(settings["wall.count"]["value"] == 4);
  CHECK(settings["spiral.on"]["value"] == false);
  CHECK(settings["seam.place"]["value"] == "rear");
  CHECK(settings["order.words"]["value"] == Json({"inner", "outer"}));
}

TEST_CASE("a capped value tells what caps it") {
  World world(test::small_tree("limits: { \"*.speed\": { at_most: 90 mm/s } }\n"));
  Json travel = as_json(world)["settings"]["travel.speed"];
  CHECK(travel["value"] == 90);
  CHECK(travel["how"] == "default");
  CHECK(travel["capped_by"]["from"]["fragment"] == "machine/m");
  CHECK(travel["capped_by"]["uncapped"] == 150);
  CHECK(as_json(world)["settings"]["wall.speed"]["capped_by"].is_null());
}

TEST_CASE("a profile as a table groups its settings and names each source") {
  World world(test::small_tree("", "", "settings:\n  wall.speed: 70 mm/s\n"));
  std::string text = profile_text(world.tree, placed(world), world.profile());
  CHECK(text.starts_with("m/p/q  (free, beta)\n"));
  CHECK(text.find("\nwall\n") != std::string::npos);
  std::size_t row = text.find("  wall.speed ");
  REQUIRE(row != std::string::npos);
  std::string line = text.substr(row, text.find('\n', row) - row);
  CHECK(line.find("70 mm/s") != std::string::npos);
  CHECK(line.ends_with("set process/q:2"));
  CHECK(text.find("wipe.length") == std::string::npos);
}

TEST_CASE("two profiles differ where they are written differently") {
  World world(test::small_tree("scripts: { start: \"M104 S${heat.nozzle}\" }\n", "", "settings: { travel.speed: { calc: 0.1 mm/s + 0.2 mm/s } }\n",
                               {{"profiles-src/process/r.yaml", "settings: { travel.speed: 0.3 mm/s, wall.count: 4, wipe.length: 1 mm, heat.nozzle: 220 degC }\n"}}));
  const Profile left = world.profile(), right = world.profile(world.triple("m", "p", "r"));
  Json json = Json::parse(comparison_json(world.tree, left, right));
  CHECK(json["a"] == "m/p/q");
  CHECK(json["b"] == "m/p/r");
  REQUIRE(json["settings"].size() == 3);
  CHECK(json["settings"]["wall.count"]["a"] == 3);
  CHECK(json["settings"]["wall.count"]["b"] == 4);
  CHECK(json["settings"]["wipe.length"]["a"].is_null());
  CHECK(json["settings"]["heat.nozzle"]["unit"] == "degC");
  CHECK(json["scripts"]["start"]["a"] == "M104 S210");
  CHECK(json["scripts"]["start"]["b"] == "M104 S220");
  std::string text = comparison_text(world.tree, left, right);
  CHECK(text.find("wall.count") != std::string::npos);
  CHECK(text.find("travel.speed") == std::string::npos);
  CHECK(text.ends_with("3 settings and 1 script differ\n"));
}

TEST_CASE("a profile does not differ from itself") {
  World world(test::small_tree());
  CHECK(Json::parse(comparison_json(world.tree, world.profile(), world.profile()))["settings"].empty());
  CHECK(comparison_text(world.tree, world.profile(), world.profile()).ends_with("0 settings and 0 scripts differ\n"));
}

}
