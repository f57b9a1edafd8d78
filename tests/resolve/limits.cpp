#include "../support.h"

using namespace bindery;
using test::World;
using test::resolving_says;
using test::value;

TEST_SUITE("resolve/limits") {

TEST_CASE("a value beyond a bound is held at it, and the cap is recorded") {
  World world(test::small_tree("limits: { \"*.speed\": { at_most: 120 mm/s } }\n"));
  CHECK(world.value("travel.speed") == "120 mm/s");
  const Cap* cap = world.cap("travel.speed");
  REQUIRE(cap != nullptr);
  CHECK(cap->upper);
  CHECK(cap->limit == 120);
  CHECK(cap->uncapped == 150);
  REQUIRE(cap->bound != nullptr);
  CHECK(cap->bound->pattern == "*.speed");
  CHECK(world.tree[cap->bound->fragment].id() == "machine/m");
  CHECK(world.value("wall.speed") == "60 mm/s");
  CHECK(world.cap("wall.speed") == nullptr);
  CHECK(world.said() == "");
}

TEST_CASE("a value below a lower bound is raised to it") {
  World world(test::small_tree("limits: { wall.speed: { at_least: 8 cm/s } }\n"));
  CHECK(world.value("wall.speed") == "80 mm/s");
  REQUIRE(world.cap("wall.speed") != nullptr);
  CHECK_FALSE(world.cap("wall.speed")->upper);
}

TEST_CASE("a value at its bound is not capped, noise or none") {
  World world(test::small_tree("settings: { travel.speed: { calc: 0.1 mm/s + 0.2 mm/s } }\nlimits: { travel.speed: { at_most: 0.3 mm/s } }\n"));
  CHECK(world.value("travel.speed") == "0.3 mm/s");
  CHECK(world.cap("travel.speed") == nullptr);
}

// Resolution: "all patterns that match apply, and across axes all limits apply: the tightest wins".
TEST_CASE("of all limits that apply the tightest wins") {
  CHECK(value("travel.speed", "limits: { \"*.speed\": { at_most: 120 mm/s }, travel.speed: { at_most: 130 mm/s } }\n") == "120 mm/s");
  CHECK(value("travel.speed", "limits: { \"*.speed\": { at_most: 120 mm/s } }\n", "limits: { \"travel.*\": { at_most: 110 mm/s } }\n", "limits: { travel.speed: { at_most: 140 mm/s } }\n") == "110 mm/s");
  CHECK(value("travel.speed", "limits: { \"*.speed\": { at_least: 160 mm/s }, travel.speed: { at_least: 170 mm/s } }\n") == "170 mm/s");
}

// Resolution: "the later layer's limit replaces an equal pattern's equal bound (`none` drops it)".
TEST_CASE("in an axis the later layer's bound takes the place of an equal pattern's") {
  const test::Files base = {{"profiles-src/machine/base.yaml", "limits: { \"*.speed\": { at_most: 100 mm/s, at_least: 10 mm/s } }\n"}};
  auto limited = [&](std::string_view limits) { return value("travel.speed", fmt::format("extends: base\nlimits: {}\n", limits), "", "", base); };
  CHECK(limited("{ \"*.speed\": { at_most: 120 mm/s } }") == "120 mm/s");
  CHECK(limited("{ \"travel.*\": { at_most: 120 mm/s } }") == "100 mm/s");
  CHECK(limited("{ \"*.speed\": { at_most: none } }") == "150 mm/s");
  CHECK(limited("{ \"*.speed\": none }") == "150 mm/s");
  CHECK(limited("{ \"*.speed\": { at_least: none } }") == "100 mm/s");
}

TEST_CASE("an equal pattern's bound of the other side stays") {
  const test::Files base = {{"profiles-src/machine/base.yaml", "limits: { wall.count: { at_least: 5 } }\n"}};
  CHECK(value("wall.count", "extends: base\nlimits: { wall.count: { at_most: 9 } }\n", "", "", base) == "5");
  CHECK(value("wall.count", "extends: base\nlimits: { wall.count: none }\n", "", "", base) == "3");
}

TEST_CASE("a limit that refuses is an error at the value that it refuses") {
  World world(test::small_tree("limits: { heat.nozzle: { at_most: 285 degC, else: refuse } }\n", "settings: { heat.nozzle: 300 degC }\n"));
  CHECK(world.value("heat.nozzle") == "poison");
  const Diagnostic& report = world.report();
  CHECK(describe(report.code).name == "limit-refused");
  CHECK(test::covered(world.sources, report.span) == "300 degC");
  REQUIRE(report.related.size() == 1);
  CHECK(test::covered(world.sources, report.related[0].span) == "285 degC");
}

// Resolution: "Refusing bounds are tested first, on the uncapped value; then caps".
TEST_CASE("a cap does not save a value from a limit that refuses") {
  CHECK(resolving_says("limits: { \"*.speed\": { at_most: 100 mm/s }, travel.speed: { at_most: 120 mm/s, else: refuse } }\n", "settings: { travel.speed: 130 mm/s }\n") == "limit-refused: 130 mm/s");
  CHECK(value("travel.speed", "limits: { \"*.speed\": { at_most: 100 mm/s }, travel.speed: { at_most: 120 mm/s, else: refuse } }\n", "settings: { travel.speed: 110 mm/s }\n") == "100 mm/s");
}

// The language: "over_limit: cap | refuse; a limit may make it stricter, never weaker".
TEST_CASE("a limit never makes a setting that refuses one that is capped") {
  const test::Files more = {{"schema/more.yaml", "settings: { bed.heat: { kinds: [material], unit: degC, default: 60 degC, over_limit: refuse } }\n"}};
  CHECK(resolving_says("limits: { bed.heat: { at_most: 100 degC } }\n", "settings: { bed.heat: 110 degC }\n", "", more) == "limit-refused: 110 degC");
  CHECK(resolving_says("limits: { bed.heat: { at_most: 100 degC, else: cap } }\n", "settings: { bed.heat: 110 degC }\n", "", more) == "limit-refused: 110 degC");
}

TEST_CASE("limits that cross are an error that names both") {
  World world(test::small_tree("limits: { travel.speed: { at_most: 100 mm/s } }\n", "limits: { \"travel.*\": { at_least: 120 mm/s } }\n"));
  world.profile();
  const Diagnostic& report = world.report();
  CHECK(describe(report.code).name == "limit-conflict");
  CHECK(report.message.find("machine/m") != std::string::npos);
  CHECK(report.message.find("material/p") != std::string::npos);
  CHECK(test::covered(world.sources, report.span) == "100 mm/s");
  REQUIRE(report.related.size() == 1);
  CHECK(test::covered(world.sources, report.related[0].span) == "120 mm/s");
}

TEST_CASE("a choice is held to the words that a limit admits") {
  CHECK(resolving_says("limits: { seam.place: { among: [corner, spread] } }\n", "", "settings: { seam.place: rear }\n") == "limit-refused: rear");
  CHECK(value("seam.place", "limits: { seam.place: { among: [corner, spread] } }\n", "", "settings: { seam.place: corner }\n") == "corner");
  CHECK(resolving_says("limits: { order.words: { among: [inner] } }\n", "", "settings: { order.words: [inner, fill] }\n").starts_with("limit-refused"));
}

TEST_CASE("a bound may be a formula") {
  CHECK(value("wall.speed", "limits: { wall.speed: { at_most: { calc: 100 mm/s * nozzle.bore / 1 mm } } }\n") == "40 mm/s");
  CHECK(resolving_says("limits: { travel.speed: { at_most: { calc: wipe.length / 1 s } } }\n") == "setting-unset: wipe.length");
}

TEST_CASE("a fact is limited too") { CHECK(value("nozzle.bore", "settings: { nozzle.bore: 0.8 mm }\nlimits: { nozzle.bore: { at_most: 0.6 mm } }\n") == "0.6 mm"); }

// Worked by hand: the highest speed is Qmax / A, with the area of a bead with round ends, (w - h) h + pi h^2 / 4.
TEST_CASE("a speed is held within the flow limit as in the worked examples") {
  auto speed = [](std::string_view flow, std::string_view width, std::string_view height) {
    World world(test::small_tree(fmt::format("settings: {{ flow.limit: {} }}\n", flow), "", fmt::format("settings: {{ wall.speed: 900 mm/s, wall.width: {}, layer.height: {} }}\n", width, height)));
    world.profile();
    REQUIRE(world.cap("wall.speed") != nullptr);
    CHECK(world.cap("wall.speed")->bound == nullptr);  // the flow limit, no fragment's
    CHECK(world.cap("wall.speed")->uncapped == 900);
    return world.profile().cells[world.key("wall.speed")].value.number();
  };
  CHECK(std::abs(speed("10 mm^3/s", "0.45 mm", "0.2 mm") - 122.83) < 0.005);
  CHECK(std::abs(speed("24 mm^3/s", "0.45 mm", "0.2 mm") - 294.78) < 0.005);
  CHECK(std::abs(speed("10 mm^3/s", "0.6 mm", "0.3 mm") - 62.23) < 0.005);
  // Width and height are exchanged where the bead is higher than wide.
  CHECK(std::abs(speed("10 mm^3/s", "0.3 mm", "0.6 mm") - 62.23) < 0.005);
}

// Resolution: "so that bead area x speed x flow ratio stays within the role `flow_limit`".
TEST_CASE("the flow ratio counts in the flow limit") {
  World world(test::small_tree("settings: { flow.limit: 10 mm^3/s, flow.ratio: 125 % }\n", "", "settings: { wall.speed: 900 mm/s }\n"));
  world.profile();
  CHECK(std::abs(world.profile().cells[world.key("wall.speed")].value.number() - 122.83 / 1.25) < 0.005);
}

// Worked by hand: a bridge is a round thread, 0.12566 mm2 at 0.4 mm: 3 mm3/s / 0.12566 mm2 = 23.874 mm/s.
TEST_CASE("a thread of a given area is held within the flow limit") {
  World world(test::small_tree("settings: { flow.limit: 3 mm^3/s }\n"));
  world.profile();
  CHECK(std::abs(world.profile().cells[world.key("thread.speed")].value.number() - 23.874) < 0.0005);
}

TEST_CASE("a speed within the flow limit, or a tree without one, is left alone") {
  CHECK(value("wall.speed", "settings: { flow.limit: 10 mm^3/s }\n") == "60 mm/s");
  CHECK(value("wall.speed", "", "", "settings: { wall.speed: 900 mm/s }\n") == "900 mm/s");
  CHECK(value("travel.speed", "settings: { flow.limit: 1 mm^3/s }\n") == "150 mm/s");
}

TEST_CASE("the tighter of a limit and the flow limit wins") {
  CHECK(value("wall.speed", "settings: { flow.limit: 10 mm^3/s }\nlimits: { wall.speed: { at_most: 100 mm/s } }\n", "", "settings: { wall.speed: 900 mm/s }\n") == "100 mm/s");
  World world(test::small_tree("settings: { flow.limit: 10 mm^3/s }\nlimits: { wall.speed: { at_most: 200 mm/s } }\n", "", "settings: { wall.speed: 900 mm/s }\n"));
  world.profile();
  REQUIRE(world.cap("wall.speed") != nullptr);
  CHECK(world.cap("wall.speed")->bound == nullptr);
}

TEST_CASE("each number of a list is limited") {
  const test::Files more = {{"schema/more.yaml", "settings: { step.speeds: { kinds: [process], unit: mm/s, list: true, default: [10 mm/s, 200 mm/s] } }\n"}};
  CHECK(value("step.speeds", "limits: { \"step.*\": { at_most: 100 mm/s } }\n", "", "", more) == "[10 mm/s, 100 mm/s]");
}

}
