#include "resolve/axis.h"

#include "../support.h"

using namespace bindery;
using test::World;

TEST_SUITE("resolve/axis") {

TEST_CASE("a table chains the operations on a key from the topmost down") {
  World world(test::small_tree("extends: base\nsettings: { wall.count: { add: 1 } }\n", "", "", {{"profiles-src/machine/base.yaml", "settings: { wall.count: 5 }\n"}}));
  AxisTable table = build_axis(world.tree, world.fragment(Kind::machine, "m"), {});
  std::uint32_t top = table.head[world.key("wall.count")];
  REQUIRE(top != 0);
  CHECK(table.links[top].op->kind == OpKind::add);
  std::uint32_t below = table.links[top].below;
  REQUIRE(below != 0);
  CHECK(table.links[below].op->kind == OpKind::set);
  CHECK(table.links[below].below == 0);
  CHECK(table.head[world.key("wall.width")] == 0);
}

TEST_CASE("a block counts only where it is active") {
  World world(test::small_tree("when: [ { if: { material: p }, settings: { wall.count: 7 } } ]\n"));
  FragmentId machine = world.fragment(Kind::machine, "m");
  CHECK(build_axis(world.tree, machine, {}).head[world.key("wall.count")] == 0);
  CHECK(build_axis(world.tree, machine, {{machine, 1}}).head[world.key("wall.count")] != 0);
}

// The language: "locked: descendants and later axes may not write, adjust or limit these".
TEST_CASE("a descendant does not write, adjust or limit what is locked") {
  const test::Files base = {{"profiles-src/machine/base.yaml", "settings: { travel.speed: 100 mm/s }\nlocked: [travel.speed]\n"}};
  auto says = [&](std::string_view part) { return World(test::small_tree(fmt::format("extends: base\n{}\n", part), "", "", base)).said(); };
  CHECK(says("title: x") == "");
  CHECK(says("settings: { travel.speed: 90 mm/s }") == "locked-write m.yaml:2:13");
  CHECK(says("adjust: { travel.speed: { scale: 0.9 } }") == "locked-write m.yaml:2:11");
  CHECK(says("limits: { \"*.speed\": { at_most: 90 mm/s } }") == "locked-write m.yaml:2:11");
  CHECK(says("when: [ { if: { material: p }, settings: { travel.speed: 90 mm/s } } ]") == "locked-write m.yaml:2:44");
}

TEST_CASE("the fragment that locks a setting and those above it may write it") {
  World world(test::small_tree("extends: base\nsettings: { travel.speed: 90 mm/s }\nlocked: [\"travel.*\"]\n", "", "", {{"profiles-src/machine/base.yaml", "settings: { travel.speed: 100 mm/s }\n"}}));
  CHECK(world.said() == "");
  CHECK(world.value("travel.speed") == "90 mm/s");
}

TEST_CASE("a later axis does not write, adjust or limit what an earlier one has locked") {
  auto says = [](std::string material, std::string process) {
    World world(test::small_tree("locked: [travel.speed]\n", std::move(material), std::move(process)));
    world.profile();
    CHECK(world.profile().whole == world.diagnostics.items().empty());
    return world.said();
  };
  CHECK(says("settings: { wall.speed: 90 mm/s }\n", "") == "");
  CHECK(says("settings: { travel.speed: 90 mm/s }\n", "") == "locked-write p.yaml:1:13");
  CHECK(says("", "adjust: { travel.speed: { scale: 0.9 } }\n") == "locked-write q.yaml:1:11");
  CHECK(says("", "limits: { travel.speed: { at_most: 90 mm/s } }\n") == "locked-write q.yaml:1:11");
}

TEST_CASE("an earlier axis may write what a later one locks") {
  World world(test::small_tree("settings: { travel.speed: 90 mm/s }\n", "", "locked: [travel.speed]\n"));
  CHECK(world.value("travel.speed") == "90 mm/s");
  CHECK(world.said() == "");
}

TEST_CASE("a lock on nothing is an unknown setting") {
  CHECK(World(test::small_tree("locked: [travel.sped]\n")).said() == "setting-unknown m.yaml:1:10");
  CHECK(World(test::small_tree("locked: [\"nothing.*\"]\n")).said() == "setting-unknown m.yaml:1:10");
}

}
