#include "resolve/profile.h"

#include "../support.h"

using namespace bindery;
using test::World;

namespace {

// Like test::value(); names that match nothing are only warned of, and some of these tests want them.
std::string value(std::string_view key, std::string machine, std::string material = "", std::string process = "", const test::Files& more = {}) {
  World world(test::small_tree(std::move(machine), std::move(material), std::move(process), more));
  std::string out = world.value(key);
  CHECK_MESSAGE(!world.diagnostics.any_errors(), world.said());
  return out;
}

bool fits(std::string machine, std::string material = "", std::string process = "", const test::Files& more = {}) {
  World world(test::small_tree(std::move(machine), std::move(material), std::move(process), more));
  return !world.resolver().refused(world.triple()).has_value();
}

std::string script(ScriptSlot slot, std::string machine, std::string material = "", std::string process = "", const test::Files& more = {}) {
  World world(test::small_tree(std::move(machine), std::move(material), std::move(process), more));
  world.profile();
  CHECK_MESSAGE(world.said() == "", world.said());
  return world.profile().scripts[static_cast<std::size_t>(slot)].value_or("(none)");
}

}  // namespace

TEST_SUITE("resolve/profile") {

TEST_CASE("a profile is named machine, material, process") {
  World world(test::small_tree("fittings: { \"0.4\": {} }\n"));
  CHECK(profile_id(world.tree, world.triple("m+0.4")) == "m+0.4/p/q");
}

// Resolution: conditions "match the triple's own three names, fittings included, never ancestors".
TEST_CASE("a block applies where its names match the triple's own") {
  auto when = [](std::string_view condition) { return fmt::format("extends: base\nwhen: [ {{ if: {}, settings: {{ wall.count: 9 }} }} ]\n", condition); };
  const test::Files base = {{"profiles-src/material/base.yaml", "title: x\n"}, {"profiles-src/process/base.yaml", "title: x\n"}};
  auto counted = [&](std::string_view condition) { return value("wall.count", "", "extends: base\n", when(condition), base); };
  CHECK(counted("{ material: p }") == "9");
  CHECK(counted("{ material: [x, \"p*\"] }") == "9");
  CHECK(counted("{ material: base }") == "3");
  CHECK(counted("{ material: \"*\", machine: m }") == "9");
  CHECK(counted("{ material: p, machine: other }") == "3");  // all keys hold
  CHECK(counted("{ process: q }") == "9");
  CHECK(counted("{ process: base }") == "3");
  CHECK(counted("{}") == "9");
}

TEST_CASE("a leading exclamation mark excludes") {
  auto counted = [&](std::string_view names) { return value("wall.count", "", "", fmt::format("when: [ {{ if: {{ material: {} }}, settings: {{ wall.count: 9 }} }} ]\n", names)); };
  CHECK(counted("[\"!p\"]") == "3");
  CHECK(counted("[\"!x\"]") == "9");
  CHECK(counted("[\"*\", \"!p\"]") == "3");
  CHECK(counted("[p, \"!x*\"]") == "9");
}

TEST_CASE("an ancestor's block looks at the triple, not at the ancestor") {
  const test::Files base = {{"profiles-src/machine/base.yaml", "when: [ { if: { machine: m }, settings: { wall.count: 9 } }, { if: { machine: base }, settings: { wall.count: 1 } } ]\n"}};
  CHECK(value("wall.count", "extends: base\n", "", "", base) == "9");
}

TEST_CASE("blocks are laid in order over their own fragment's settings and below its descendants'") {
  const std::string two = "settings: { wall.count: 5 }\nwhen: [ { if: {}, settings: { wall.count: { add: 1 } } }, { if: {}, settings: { wall.count: { scale: 2 } } } ]\n";
  CHECK(value("wall.count", two) == "12");
  CHECK(value("wall.count", "extends: base\nsettings: { wall.count: { add: 100 } }\n", "", "", {{"profiles-src/machine/base.yaml", two}}) == "112");
}

TEST_CASE("a block asks for facts, and is left out where one of them is unset") {
  const test::Files facts = {{"schema/facts.yaml", "settings: { bore.wear: { kinds: [machine], unit: h, default: none, fact: true } }\n"}};
  auto counted = [&](std::string_view where, std::string machine = "") { return value("wall.count", std::move(machine), "", fmt::format("when: [ {{ if: {{ where: \"{}\" }}, settings: {{ wall.count: 9 }} }} ]\n", where), facts); };
  CHECK(counted("nozzle.bore >= 0.4 mm") == "9");
  CHECK(counted("nozzle.bore >= 0.4 mm", "settings: { nozzle.bore: 0.25 mm }\n") == "3");
  CHECK(counted("drive.place == 'frame'") == "3");
  CHECK(counted("bore.wear > 100 h") == "3");
  CHECK(counted("not (bore.wear > 100 h)") == "3");
  CHECK(counted("set(bore.wear)", "settings: { bore.wear: 0 h }\n") == "9");
}

TEST_CASE("a block carries adjustments, limits and scripts as well") {
  const std::string process = "when: [ { if: { material: p }, adjust: { wall.count: { add: 1 } }, limits: { travel.speed: { at_most: 99 mm/s } }, scripts: { end: M84 } } ]\n";
  CHECK(value("wall.count", "", "", process) == "4");
  CHECK(value("travel.speed", "", "", process) == "99 mm/s");
  CHECK(script(ScriptSlot::end, "", "", process) == "M84");
}

// Resolution: "A triple is a profile if the `fits` of all fragments in its three linearisations hold".
TEST_CASE("every fits of the three linearisations must hold") {
  CHECK(fits(""));
  CHECK(fits("fits: { material: p }\n"));
  CHECK_FALSE(fits("fits: { material: [\"*\", \"!p\"] }\n"));
  CHECK_FALSE(fits("", "fits: { machine: other }\n"));
  CHECK_FALSE(fits("", "", "fits: { where: nozzle.bore > 0.4 mm }\n"));
  CHECK(fits("settings: { nozzle.bore: 0.6 mm }\n", "", "fits: { where: nozzle.bore > 0.4 mm }\n"));
  CHECK_FALSE(fits("extends: base\n", "", "", {{"profiles-src/machine/base.yaml", "fits: { process: other }\n"}}));
}

TEST_CASE("a refusal names the fragment, the place and the reason") {
  World world(test::small_tree("extends: base\n", "", "", {{"profiles-src/machine/base.yaml", "title: x\nfits: { where: nozzle.bore > 1 mm }\n"}}));
  auto refusal = world.resolver().refused(world.triple());
  REQUIRE(refusal.has_value());
  CHECK(world.tree[refusal->fragment].id() == "machine/base");
  CHECK(test::covered(world.sources, refusal->span) == "fits");
  CHECK(refusal->reason == "`nozzle.bore > 1 mm` does not hold");
}

TEST_CASE("text takes the place of an inherited script, before and after add to it, none drops it") {
  CHECK(script(ScriptSlot::start, "scripts: { start: G28 }\n") == "G28");
  CHECK(script(ScriptSlot::start, "scripts: { start: G28 }\n", "", "scripts: { start: G29 }\n") == "G29");
  CHECK(script(ScriptSlot::start, "scripts: { start: G28 }\n", "scripts: { start: { before: M1 } }\n", "scripts: { start: { after: M2, before: M3 } }\n") == "M3\nM1\nG28\nM2");
  CHECK(script(ScriptSlot::start, "scripts: { start: G28 }\n", "scripts: { start: none }\n") == "(none)");
  CHECK(script(ScriptSlot::start, "scripts: { start: G28 }\n", "scripts: { start: none }\n", "scripts: { start: { after: M2 } }\n") == "M2");
  CHECK(script(ScriptSlot::end, "scripts: { start: G28 }\n") == "(none)");
  CHECK(script(ScriptSlot::start, "extends: base\nscripts: { start: { after: M2 } }\n", "", "", {{"profiles-src/machine/base.yaml", "scripts: { start: \"G28\\n\" }\n"}}) == "G28\nM2");
}

// The language: a key alone is its bare number in the dictionary's unit.
TEST_CASE("placeholders of a script become bare numbers, words and flags") {
  CHECK(script(ScriptSlot::start, "scripts: { start: \"M104 S${heat.nozzle}\" }\n", "settings: { heat.nozzle: 392 degF }\n") == "M104 S200");
  CHECK(script(ScriptSlot::start, "scripts: { start: \"F${travel.speed} F${travel.speed in mm/min}\" }\n") == "F150 F9000");
  CHECK(script(ScriptSlot::start, "scripts: { start: \"S${fan.duty} S${round(fan.duty * 255, 1)}\" }\n") == "S50 S128");
  CHECK(script(ScriptSlot::start, "scripts: { start: \"${seam.place} ${spiral.on} ${wall.count} ${order.words}\" }\n") == "rear false 3 inner outer");
  CHECK(script(ScriptSlot::start, "scripts: { start: \"${if(spiral.on, 1, 2)} @{layer.number}\" }\n") == "2 @{layer.number}");
  CHECK(script(ScriptSlot::start, "scripts: { start: \"F${travel.speed}\" }\nlimits: { travel.speed: { at_most: 90 mm/s } }\n") == "F90");
}

TEST_CASE("a script that reads an unset setting is an error in its place") {
  World world(test::small_tree("scripts: { start: \"E${wipe.length}\" }\n"));
  world.profile();
  CHECK(describe(world.report().code).name == "setting-unset");
  CHECK(test::covered(world.sources, world.report().span) == "wipe.length");
  CHECK_FALSE(world.profile().whole);
  CHECK_FALSE(world.profile().scripts[static_cast<std::size_t>(ScriptSlot::start)].has_value());
}

// Resolution: "Every final value knows the fragment, file, line and column of each operation in its chain".
TEST_CASE("every value knows the operations of its chain and the value after each") {
  World world(test::small_tree("settings: { wall.count: 4 }\n", "settings: { wall.count: { add: 2 } }\n", "adjust: { wall.count: { scale: 3 } }\n"));
  const Profile& profile = world.profile();
  const Cell& cell = profile.cells[world.key("wall.count")];
  REQUIRE(cell.steps == 3);
  std::string chain;
  for (std::uint32_t i = 0; i < cell.steps; ++i) {
    const Step& step = profile.steps[cell.first_step + i];
    REQUIRE(step.op != nullptr);
    chain += fmt::format("{}{} by {} at {} gives {}; ", step.adjust ? "adjust " : "", name_of(step.op->kind), world.tree[step.op->fragment].id(), test::covered(world.sources, step.op->value_span), step.after.number());
  }
  CHECK(chain == "set by machine/m at 4 gives 4; add by material/p at 2 gives 6; adjust scale by process/q at 3 gives 18; ");
  CHECK(profile.top(world.key("wall.count"))->kind == OpKind::scale);
}

TEST_CASE("a chain begins at the default where nothing hides it, and at the topmost hiding operation elsewhere") {
  World world(test::small_tree("settings: { wall.count: { add: 1 }, travel.speed: 10 mm/s }\n", "", "settings: { travel.speed: 20 mm/s }\n"));
  const Profile& profile = world.profile();
  const Cell& counted = profile.cells[world.key("wall.count")];
  REQUIRE(counted.steps == 2);
  CHECK(profile.steps[counted.first_step].op == nullptr);
  CHECK(profile.steps[counted.first_step].after.number() == 3);
  CHECK(profile.cells[world.key("travel.speed")].steps == 1);
}

TEST_CASE("how tells the topmost operation, or default") {
  World world(test::small_tree(
      "settings: { travel.speed: 90 mm/s, wall.count: { add: 1 }, fan.duty: { scale: 0.5 }, order.words: { append: [x] }, seam.place: { unset: true }, wall.speed: { calc: 2 * inherited } }\n"));
  auto how = [&](std::string_view key) { return world.profile().how(world.key(key)); };
  CHECK(how("travel.speed") == "set");
  CHECK(how("wall.count") == "add");
  CHECK(how("fan.duty") == "scale");
  CHECK(how("order.words") == "append");
  CHECK(how("seam.place") == "default");
  CHECK(how("wall.speed") == "calc");
  CHECK(how("layer.height") == "default");
}

TEST_CASE("a report of a profile names it") {
  World world(test::small_tree("settings: { wall.count: { scale: 0.5 } }\n"));
  world.profile();
  CHECK(world.report().profile == "m/p/q");
  CHECK(world.report().profiles == 1);
}

TEST_CASE("what conditions compute, names they test and items of lists are counted as work") {
  auto work_of = [](std::string process) {
    World world(test::small_tree("", "", std::move(process)));
    return world.profile().work;
  };
  std::uint64_t plain = work_of("");
  CHECK(work_of("when: [{ if: { where: nozzle.bore + nozzle.bore > 0 mm }, settings: { wall.count: 2 } }]\n") >= plain + 5);
  CHECK(work_of("when: [{ if: { machine: [a, b, \"*\"] }, settings: { wall.count: 2 } }]\n") >= plain + 3);
  CHECK(work_of("settings: { order.words: { append: [a, b] } }\n") >= plain + 2);
  CHECK(work_of("scripts: { end: \"M84\" }\n") == plain + 3 * work_a_byte);
}

}
