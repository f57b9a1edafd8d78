#include "../support.h"

using namespace bindery;
using test::World;
using test::resolving_says;
using test::value;

namespace {

// A dictionary of further settings, an entry a line.
test::Files with_settings(std::string_view entries) { return {{"schema/more.yaml", fmt::format("settings:\n{}", entries)}}; }

}  // namespace

TEST_SUITE("resolve/evaluator") {

// Resolution: the layers, lowest first: default, machine, material, process.
TEST_CASE("the process is laid over the material, the material over the machine, the machine over the default") {
  CHECK(value("travel.speed", "") == "150 mm/s");
  CHECK(value("travel.speed", "settings: { travel.speed: 100 mm/s }\n") == "100 mm/s");
  CHECK(value("travel.speed", "settings: { travel.speed: 100 mm/s }\n", "settings: { travel.speed: 110 mm/s }\n") == "110 mm/s");
  CHECK(value("travel.speed", "settings: { travel.speed: 100 mm/s }\n", "settings: { travel.speed: 110 mm/s }\n", "settings: { travel.speed: 120 mm/s }\n") == "120 mm/s");
}

TEST_CASE("in an axis the layers run from the root ancestor to the fragment itself") {
  const test::Files ancestors = {{"profiles-src/machine/a.yaml", "extends: root\nsettings: { wall.count: { add: 10 } }\n"},
                                 {"profiles-src/machine/b.yaml", "extends: root\nsettings: { wall.count: { scale: 2 } }\n"},
                                 {"profiles-src/machine/root.yaml", "settings: { wall.count: 1 }\n"}};
  // The first listed parent wins, so it is laid over the later one: (1 * 2) + 10.
  CHECK(value("wall.count", "extends: [a, b]\n", "", "", ancestors) == "12");
  CHECK(value("wall.count", "extends: [b, a]\n", "", "", ancestors) == "22");
  CHECK(value("wall.count", "extends: [a, b]\nsettings: { wall.count: { add: 1 } }\n", "", "", ancestors) == "13");
}

TEST_CASE("an operation acts on what lies below, over the axes") {
  CHECK(value("wall.count", "settings: { wall.count: 4 }\n", "settings: { wall.count: { scale: 3 } }\n", "settings: { wall.count: { add: -2 } }\n") == "10");
  CHECK(value("fan.duty", "settings: { fan.duty: 15 % }\n", "settings: { fan.duty: { add: 5 % } }\n") == "20 %");  // five points
  CHECK(value("fan.duty", "settings: { fan.duty: { scale: 110 % } }\n") == "55 %");
  CHECK(value("heat.nozzle", "", "settings: { heat.nozzle: { add: -5 K } }\n") == "205 degC");
  CHECK(value("travel.speed", "settings: { travel.speed: { calc: 2 * inherited - 1 cm/s } }\n") == "290 mm/s");
}

// The language: "{unset: true} (back to the dictionary's default)".
TEST_CASE("unset goes back to the dictionary's default") {
  CHECK(value("travel.speed", "settings: { travel.speed: 100 mm/s }\n", "", "settings: { travel.speed: { unset: true } }\n") == "150 mm/s");
  CHECK(value("wipe.length", "settings: { wipe.length: 1 mm }\n", "", "settings: { wipe.length: { unset: true } }\n") == "unset");
}

TEST_CASE("a list is replaced, appended to and removed from") {
  CHECK(value("order.words", "") == "[inner, outer]");
  CHECK(value("order.words", "settings: { order.words: [fill] }\n") == "[fill]");
  CHECK(value("order.words", "settings: { order.words: { append: [fill, skin] } }\n", "", "settings: { order.words: { remove: [inner, absent] } }\n") == "[outer, fill, skin]");
  CHECK(value("order.words", "settings: { order.words: [] }\n") == "[]");
}

// Resolution: "A literal, `calc` without `inherited` or `unset` hides all that lies below, which is not even evaluated".
TEST_CASE("what is hidden is not evaluated") {
  const std::string bad = "settings: { travel.speed: { calc: 1 mm / (0 * 1 s) } }\n";
  CHECK(value("travel.speed", bad, "", "settings: { travel.speed: 90 mm/s }\n") == "90 mm/s");
  CHECK(value("travel.speed", bad, "", "settings: { travel.speed: { unset: true } }\n") == "150 mm/s");
  CHECK(value("travel.speed", bad, "", "settings: { travel.speed: { calc: 80 mm/s } }\n") == "80 mm/s");
  CHECK(resolving_says(bad, "", "settings: { travel.speed: { add: 1 mm/s } }\n") == "formula-value: 1 mm / (0 * 1 s)");
}

// Resolution: adjust stands above all: "machine, then material, then process".
TEST_CASE("an adjustment survives what material and process write") {
  CHECK(value("travel.speed", "adjust: { travel.speed: { add: 10 mm/s } }\n", "", "settings: { travel.speed: 100 mm/s }\n") == "110 mm/s");
  CHECK(value("heat.nozzle", "adjust: { heat.nozzle: { add: 5 K } }\n", "settings: { heat.nozzle: 230 degC }\n") == "235 degC");
}

TEST_CASE("adjustments apply across the axes in their order") {
  CHECK(value("wall.count", "adjust: { wall.count: { add: 1 } }\n", "adjust: { wall.count: { scale: 10 } }\n", "settings: { wall.count: 2 }\nadjust: { wall.count: { add: 5 } }\n") == "35");
  CHECK(value("travel.speed", "adjust: { travel.speed: { calc: 2 * inherited } }\n", "adjust: { travel.speed: { add: 1 mm/s } }\n") == "301 mm/s");
}

TEST_CASE("in one axis the later layer's adjustment takes the place of the earlier") {
  const test::Files base = {{"profiles-src/machine/base.yaml", "adjust: { wall.count: { add: 100 }, travel.speed: { add: 1 mm/s } }\n"}};
  CHECK(value("wall.count", "extends: base\nadjust: { wall.count: { add: 1 } }\n", "", "", base) == "4");
  CHECK(value("travel.speed", "extends: base\nadjust: { wall.count: { add: 1 } }\n", "", "", base) == "151 mm/s");
}

TEST_CASE("a formula sees the final values of other keys, whichever comes first") {
  CHECK(value("travel.speed", "settings: { travel.speed: { calc: 2 * wall.speed } }\n", "", "settings: { wall.speed: 70 mm/s }\n") == "140 mm/s");
  CHECK(value("wall.speed", "", "", "settings: { wall.speed: { calc: travel.speed / 3 }, travel.speed: 90 mm/s }\n") == "30 mm/s");
  // After limits: the travel speed is capped first.
  CHECK(value("wall.speed", "limits: { travel.speed: { at_most: 60 mm/s } }\n", "", "settings: { wall.speed: { calc: travel.speed / 3 } }\n") == "20 mm/s");
}

TEST_CASE("inherited, add and scale see the value before limits") {
  CHECK(value("travel.speed", "settings: { travel.speed: 200 mm/s }\nlimits: { travel.speed: { at_most: 60 mm/s } }\n", "", "settings: { travel.speed: { add: -150 mm/s } }\n") == "50 mm/s");
  CHECK(value("travel.speed", "settings: { travel.speed: 200 mm/s }\nlimits: { travel.speed: { at_most: 60 mm/s } }\n", "", "settings: { travel.speed: { calc: inherited / 4 } }\n") == "50 mm/s");
}

TEST_CASE("an operation on an unset value is an error at its key") {
  for (std::string_view op : {"add: 1 mm", "scale: 2"}) CHECK_MESSAGE(resolving_says(fmt::format("settings: {{ wipe.length: {{ {} }} }}\n", op)) == "operation-on-unset: wipe.length", op);
  CHECK(resolving_says("adjust: { wipe.length: { add: 1 mm } }\n") == "operation-on-unset: wipe.length");
  CHECK(resolving_says("settings: { wipe.length: { calc: 2 * inherited } }\n") == "operation-on-unset: inherited");
}

TEST_CASE("a formula that reads an unset setting is an error, unless it asks first") {
  CHECK(resolving_says("settings: { travel.speed: { calc: wipe.length / 1 s } }\n") == "setting-unset: wipe.length");
  CHECK(value("wall.count", "settings: { wall.count: { calc: \"if(set(wipe.length), 9, 1)\" } }\n") == "1");
}

TEST_CASE("a circle of formulas is told once, as a path") {
  World world(test::small_tree("settings: { travel.speed: { calc: wall.speed }, wall.speed: { calc: travel.speed } }\n"));
  world.profile();
  const Diagnostic& report = world.report();
  CHECK(describe(report.code).name == "formula-cycle");
  CHECK(report.message.find("wall.speed -> travel.speed -> wall.speed") != std::string::npos);
  CHECK(world.value("travel.speed") == "poison");
  CHECK(world.value("wall.count") == "3");
}

// Resolution: "A cycle of formulas prints its path; bounds take part in it."
TEST_CASE("a bound takes part in a circle") {
  World world(test::small_tree("settings: { travel.speed: { calc: wall.speed } }\nlimits: { wall.speed: { at_most: { calc: travel.speed } } }\n"));
  world.profile();
  CHECK(describe(world.report().code).name == "formula-cycle");
}

TEST_CASE("one cause is one report, and what follows from it stays silent") {
  CHECK(resolving_says("settings: { travel.speed: { calc: 1 mm / (0 * 1 s) }, wall.speed: { calc: travel.speed / 2 }, wall.count: { calc: \"round(wall.speed in mm/s, 1)\" } }\n") == "formula-value: 1 mm / (0 * 1 s)");
}

TEST_CASE("a count that an operation makes a fraction is an error") {
  CHECK(resolving_says("settings: { wall.count: { scale: 0.5 } }\n") == "count-fraction: 0.5");
  CHECK(resolving_says("settings: { wall.count: { calc: inherited / 2 } }\n") == "count-fraction: inherited / 2");
  CHECK(value("wall.count", "settings: { wall.count: { calc: ceil(inherited / 2) } }\n") == "2");
  CHECK(value("wall.count", "settings: { wall.count: { calc: 0.3 / 0.1 } }\n") == "3");  // 2.9999999999999996 in binary
}

TEST_CASE("a formula gives a choice one of its words") {
  CHECK(value("seam.place", "settings: { seam.place: { calc: \"if(wall.count > 2, 'corner', 'rear')\" } }\n") == "corner");
  CHECK(resolving_says("settings: { seam.place: { calc: \"if(wall.count > 2, 'front', 'rear')\" } }\n").starts_with("choice-unknown"));
}

TEST_CASE("a value that leaves the finite numbers is an error") {
  CHECK(resolving_says("settings: { travel.speed: { scale: 1e300 } }\n", "settings: { travel.speed: { scale: 1e300 } }\n") == "formula-value: 1e300");
}

TEST_CASE("what a tuner combines in the head is a formula of the dictionary") {
  // Nozzle temperature from the material's base, the hot end's offset and the process's shift.
  const test::Files more = with_settings(
      "  base.heat: { kinds: [material], unit: degC, default: 200 degC }\n  offset.heat: { kinds: [machine], unit: K, default: 0 K }\n  shift.heat: { kinds: [process], unit: K, default: 0 K }\n"
      "  total.heat: { kinds: [process], unit: degC, default: { calc: base.heat + offset.heat + shift.heat } }\n");
  CHECK(value("total.heat", "settings: { offset.heat: 5 K }\n", "settings: { base.heat: 235 degC }\n", "settings: { shift.heat: -10 K }\n", more) == "230 degC");
}

TEST_CASE("a list of choices is refused a formula when the tree is read, or computed from the list below") {
  const test::Files more = with_settings("  pick.list: { kinds: [machine], type: choice, choices: [x, y], list: true, default: [x, y] }\n");
  World world(test::small_tree("settings: { pick.list: { calc: inherited } }\n", "", "", more));
  if (world.said() == "") CHECK(world.value("pick.list") == "[x, y]");
  else CHECK(world.said().find("m.yaml:1:") != std::string::npos);
}

}
