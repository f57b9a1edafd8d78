#include "../support.h"

using namespace bindery;
using test::World;

namespace {

// What is said of a machine with that text, and of which bytes.
std::string machine_says(std::string text) {
  World world(test::small_tree(std::move(text)));
  world.diagnostics.settle();
  return test::pointed(world.diagnostics, world.sources);
}
std::string process_says(std::string text) {
  World world(test::small_tree("", "", std::move(text)));
  world.diagnostics.settle();
  return test::pointed(world.diagnostics, world.sources);
}

}  // namespace

TEST_SUITE("resolve/bind") {

TEST_CASE("an unknown key is told with the nearest one, a group with some of its settings") {
  World world(test::small_tree("settings: { wall.sped: 1 mm/s }\n"));
  CHECK(describe(world.report().code).name == "setting-unknown");
  CHECK(world.report().help == "did you mean 'wall.speed'");
  World group(test::small_tree("settings: { wall: 1 mm/s }\n"));
  CHECK(describe(group.report().code).name == "setting-unknown");
  CHECK(group.report().help.find("wall.width") != std::string::npos);
  CHECK(machine_says("settings: { wall: { sped: 1 mm/s } }\n") == "setting-unknown: sped");
}

// The language: "kinds: which kinds of fragment may write it; adjustable_by: which may correct it under `adjust`".
TEST_CASE("a kind writes and adjusts what the dictionary lets it") {
  CHECK(machine_says("settings: { layer.height: 0.2 mm }\n") == "kind-refused: layer.height");
  CHECK(machine_says("settings: { heat.nozzle: 210 degC }\n") == "kind-refused: heat.nozzle");
  CHECK(machine_says("adjust: { heat.nozzle: { add: 5 K } }\n") == "");
  CHECK(process_says("adjust: { layer.height: { add: 0.1 mm } }\n") == "");
  CHECK(machine_says("adjust: { layer.height: { add: 0.1 mm } }\n") == "kind-refused: layer.height");
  World world(test::small_tree("settings: { heat.nozzle: 210 degC }\n"));
  CHECK(world.report().help == "a machine may correct it under `adjust`");
}

// Resolution: adjust takes "only `add`, `scale`, `calc` with `inherited`".
TEST_CASE("adjust corrects and replaces nothing") {
  CHECK(machine_says("adjust: { travel.speed: 100 mm/s }\n") == "adjust-literal: 100 mm/s");
  CHECK(machine_says("adjust: { travel.speed: { unset: true } }\n") == "adjust-literal: true");
  CHECK(machine_says("adjust: { travel.speed: { calc: 2 * wall.speed } }\n") == "adjust-literal: 2 * wall.speed");
  CHECK(machine_says("adjust: { order.words: { append: [x] } }\n").starts_with("adjust-literal"));
  CHECK(machine_says("adjust: { travel.speed: { calc: \"min(inherited, wall.speed)\" } }\n") == "");
}

// Resolution: "No `when` and no `adjust` writes a fact."
TEST_CASE("no condition and no adjustment writes or limits a fact") {
  CHECK(machine_says("when: [ { if: { material: p }, settings: { nozzle.bore: 0.6 mm } } ]\n") == "fact-conditional: nozzle.bore");
  CHECK(machine_says("adjust: { nozzle.bore: { add: 0.1 mm } }\n") == "fact-conditional: nozzle.bore");
  CHECK(machine_says("when: [ { if: { material: p }, limits: { nozzle.bore: { at_most: 1 mm } } } ]\n") == "fact-conditional: nozzle.bore");
  CHECK(machine_says("limits: { nozzle.bore: { at_most: 1 mm } }\n") == "");
}

// Resolution: facts' "formulas and limits read facts only, and so do the `where` of `when` and of `fits`".
TEST_CASE("facts, their limits and conditions read facts only") {
  CHECK(machine_says("settings: { nozzle.bore: { calc: 2 * wall.width } }\n") == "fact-required: wall.width");
  CHECK(machine_says("limits: { nozzle.bore: { at_most: { calc: wall.width } } }\n") == "fact-required: wall.width");
  CHECK(machine_says("fits: { where: wall.width > 0.4 mm }\n") == "fact-required: wall.width");
  CHECK(machine_says("when: [ { if: { where: wall.count > 2 }, settings: { wall.count: 2 } } ]\n") == "fact-required: wall.count");
  CHECK(machine_says("fits: { where: nozzle.bore }\n").starts_with("dimension-mismatch"));
}

TEST_CASE("an operation acts on values of its own sort") {
  CHECK(machine_says("settings: { seam.place: { add: 1 } }\n") == "operation-malformed: 1");
  CHECK(machine_says("settings: { order.words: { scale: 2 } }\n") == "operation-malformed: 2");
  CHECK(machine_says("settings: { wall.count: { append: [1] } }\n").starts_with("operation-malformed"));
  CHECK(machine_says("settings: { wall.count: [1, 2] }\n").starts_with("value-malformed"));
  CHECK(machine_says("settings: { order.words: inner }\n").starts_with("value-malformed"));
  CHECK(machine_says("settings: { travel.speed: { calc: 1 mm } }\n") == "dimension-mismatch: 1 mm");
  CHECK(machine_says("settings: { travel.speed: { add: 1 mm } }\n") == "dimension-mismatch: mm");
}

TEST_CASE("a temperature in degC takes no multiple") {
  CHECK(process_says("settings: { heat.nozzle: { scale: 1.1 } }\n") == "temperature-scaled: 1.1");
  CHECK(process_says("settings: { heat.nozzle: { add: 5 degC } }\n") == "dimension-mismatch: degC");
  CHECK(process_says("settings: { heat.nozzle: { calc: 2 * inherited } }\n") == "temperature-scaled: inherited");
}

// Resolution: "A pattern binds the settings of its dimension; one that binds none is an error."
TEST_CASE("a limit that binds no setting is an error") {
  CHECK(machine_says("limits: { \"*.speed\": { at_most: 300 mm } }\n") == "limit-binds-none: \"*.speed\"");
  CHECK(machine_says("limits: { \"*.nothing\": { at_most: 300 mm/s } }\n") == "limit-binds-none: \"*.nothing\"");
  CHECK(machine_says("limits: { seam.place: { at_most: 3 } }\n").starts_with("limit-binds-none"));
  CHECK(machine_says("limits: { wall.speed: { among: [x] } }\n").starts_with("limit-binds-none"));
  CHECK(machine_says("limits: { seam.place: { among: [front] } }\n") == "choice-unknown: front");
  CHECK(machine_says("limits: { wall.sped: { at_most: 3 mm/s } }\n") == "setting-unknown: wall.sped");
  CHECK(machine_says("limits: { \"*.speed\": { at_most: 300 furlong/moon } }\n").starts_with("unit-unknown"));
}

TEST_CASE("a pattern binds the settings of its dimension alone") {
  World world(test::small_tree("limits: { \"*\": { at_most: 1 m/s } }\n"));
  const auto& bounds = world.tree[world.fragment(Kind::machine, "m")].layers[0].bounds;
  REQUIRE(bounds.size() == 1);
  std::string keys;
  for (KeyId key : bounds[0].keys) keys += std::string(world.tree.dictionary.settings[key].key) + " ";
  CHECK(keys == "wall.speed thread.speed travel.speed ");
}

// Values of a list of one unit are no values of a list of another: dimensions are checked before any profile is resolved.
TEST_CASE("a list is computed only from lists of its own sort") {
  const test::Files more = {{"schema/lists.yaml",
                             "settings:\n  list.a: { kinds: [machine], unit: mm, list: true, default: [1 mm, 2 mm] }\n  list.b: { kinds: [machine], unit: s, list: true, default: [1 s] }\n"
                             "  list.c: { kinds: [machine], type: choice, choices: [x, y], list: true, default: [x] }\n"}};
  auto says = [&](std::string text) {
    World world(test::small_tree(std::move(text), "", "", more));
    world.diagnostics.settle();
    return test::told(world.diagnostics, world.sources);
  };
  CHECK(says("settings: { list.b: { calc: list.a } }\n") != "");
  CHECK(says("settings: { list.c: { calc: list.a } }\n") != "");
}

TEST_CASE("a script's placeholder is reported in the line where it stands") {
  World world(test::small_tree("scripts:\n  start: |\n    G28\n    G1 F${travel.sped in mm/min}\n"));
  CHECK(world.said() == "setting-unknown m.yaml:4:11");
  CHECK(test::covered(world.sources, world.report().span) == "travel.sped");
}

}
