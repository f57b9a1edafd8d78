#include "../support.h"
#include "report/profile.h"

using namespace bindery;
using test::World;

namespace {

std::string story(World& world, std::string_view key) { return story_text(world.tree, world.profile(), world.key(key), world.resolver()); }

void holds_in_order(const std::string& text, std::initializer_list<std::string_view> parts) {
  std::size_t at = 0;
  for (std::string_view part : parts) {
    std::size_t found = text.find(part, at);
    CHECK_MESSAGE(found != std::string::npos, part, " is missing, or in the wrong place, in\n", text);
    if (found != std::string::npos) at = found + part.size();
  }
}

}  // namespace

TEST_SUITE("report/story") {

// A story tells every operation in the chain with file, line and text, what won, the formula with its inputs, what capped it.
TEST_CASE("a story tells each operation in its order with place, text and the value after it") {
  World world(test::small_tree("settings:\n  wall.count: 4\n", "settings:\n  wall.count: { add: 2 }\n", "adjust:\n  wall.count: { scale: 3 }\n"));
  holds_in_order(story(world, "wall.count"), {"wall.count = 18", "m/p/q", "default", "schema/settings.yaml:", "set by machine/m", "profiles-src/machine/m.yaml:2:3", "wall.count: 4", "-> 4", "add by material/p",
                                              "profiles-src/material/p.yaml:2:3", "wall.count: { add: 2 }", "-> 6", "scale by process/q", "profiles-src/process/q.yaml:2:3", "-> 18"});
}

TEST_CASE("what is hidden is told and marked so") {
  World world(test::small_tree("settings: { travel.speed: 100 mm/s }\n", "", "settings: { travel.speed: 120 mm/s }\n"));
  std::string text = story(world, "travel.speed");
  holds_in_order(text, {"travel.speed = 120 mm/s", "default  (hidden)", "set by machine/m  (hidden)", "100 mm/s", "set by process/q\n", "-> 120 mm/s"});
  CHECK(text.find("-> 100 mm/s") == std::string::npos);
}

TEST_CASE("a formula is told with its inputs and their values") {
  World world(test::small_tree("settings: { travel.speed: { calc: \"min(2 * wall.speed, inherited)\" } }\n"));
  holds_in_order(story(world, "travel.speed"), {"travel.speed = 120 mm/s", "calc by machine/m", "min(2 * wall.speed, inherited)", "inherited = 150 mm/s", "wall.speed = 60 mm/s", "-> 120 mm/s"});
}

TEST_CASE("a cap is told with the limit's place and the value before it") {
  World world(test::small_tree("limits:\n  \"*.speed\": { at_most: 9 cm/s }\n"));
  holds_in_order(story(world, "travel.speed"), {"travel.speed = 90 mm/s", "capped by machine/m", "profiles-src/machine/m.yaml:2:25", "at_most: 9 cm/s", "at most 90 mm/s", "150 mm/s -> 90 mm/s"});
}

TEST_CASE("the flow limit is told with what it is computed from") {
  World world(test::small_tree("settings: { flow.limit: 10 mm^3/s }\n", "", "settings: { wall.speed: 900 mm/s }\n"));
  // Worked by hand: 10 mm3/s / 0.081416 mm2 = 122.83 mm/s.
  holds_in_order(story(world, "wall.speed"), {"wall.speed = 122.8", "capped by the flow limit", "flow.limit = 10 mm^3/s", "flow.ratio = 100 %", "wall.width = 0.45 mm", "layer.height = 0.2 mm", "900 mm/s -> 122.8"});
}

TEST_CASE("a setting that nobody sets says so") {
  World world(test::small_tree());
  holds_in_order(story(world, "wipe.length"), {"wipe.length = unset", "default: none"});
  holds_in_order(story(world, "wall.count"), {"wall.count = 3", "default", "default: 3", "-> 3"});
}

}
