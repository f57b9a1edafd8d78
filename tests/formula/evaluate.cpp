#include "base/number.h"
#include "../support.h"

using namespace bindery;
using test::FormulaWorld;

TEST_SUITE("formula/evaluate") {

// Worked by hand: a bead with round ends is (w - h) h + pi h^2 / 4, its flow that times v, the filament's feed 4 Q / (pi d^2).
TEST_CASE("bead areas, flows and feeds come out as in the worked examples") {
  struct Example {
    double width, height, speed, area, flow, feed175, feed285;
  };
  const Example examples[] = {{0.4, 0.2, 50, 0.071416, 3.5708, 1.4846, 0.5597}, {0.45, 0.2, 60, 0.081416, 4.8850, 2.0309, 0.7657}, {0.6, 0.3, 80, 0.160686, 12.8549, 5.3444, 2.0151}};
  FormulaWorld world;
  const std::string area = "((line.width - line.height) * line.height + pi * line.height ^ 2 / 4)";
  for (const Example& each : examples) {
    CAPTURE(each.width);
    world.set("line.width", each.width);
    world.set("line.height", each.height);
    world.set("line.speed", each.speed);
    CHECK(std::abs(world.number(area + " in mm^2") - each.area) < 0.5e-6);
    CHECK(std::abs(world.number(area + " * line.speed in mm/s") - each.flow) < 0.5e-4);
    world.set("thread.bore", 1.75);
    CHECK(std::abs(world.number("4 * " + area + " * line.speed / (pi * thread.bore ^ 2)") - each.feed175) < 0.5e-4);
    world.set("thread.bore", 2.85);
    CHECK(std::abs(world.number("4 * " + area + " * line.speed / (pi * thread.bore ^ 2)") - each.feed285) < 0.5e-4);
  }
}

// Worked by hand: a mass is rho L pi d^2 / 4, a bridge a round thread of pi d^2 / 4.
TEST_CASE("the mass of a filament and the area of a thread come out as in the worked examples") {
  FormulaWorld world;
  CHECK(std::abs(world.number("1.24 g/cm^3 * 1 m * pi * (1.75 mm) ^ 2 / 4") - 2.9825) < 0.5e-4);
  CHECK(std::abs(world.number("1.27 g/cm^3 * 10 m * pi * (1.75 mm) ^ 2 / 4") - 30.547) < 0.5e-3);
  CHECK(std::abs(world.number("1.04 g/cm^3 * 1 m * pi * (2.85 mm) ^ 2 / 4") - 6.6346) < 0.5e-4);
  CHECK(std::abs(world.number("pi * (0.4 mm) ^ 2 / 4") - 0.12566) < 0.5e-5);
}

// Worked by hand: a move from and to rest takes L / v + v / a, a short one 2 sqrt(L / a) (linearmotiontips.com, how to calculate velocity).
TEST_CASE("the time of a move comes out as in the worked examples") {
  FormulaWorld world;
  CHECK(std::abs(world.number("100 mm / 100 mm/s + 100 mm/s / 1000 mm/s^2") - 1.1) < 1e-12);
  CHECK(std::abs(world.number("2 * sqrt(5 mm / 1000 mm/s^2)") - 0.14142) < 0.5e-5);
}

TEST_CASE("a percentage is a hundredth inside a formula") {
  FormulaWorld world;
  world.set("fan.share", 15);
  CHECK(world.number("15 %") == doctest::Approx(0.15).epsilon(1e-15));
  CHECK(world.number("fan.share * 2") == doctest::Approx(0.3).epsilon(1e-15));
  CHECK(world.number("fan.share in %") == doctest::Approx(15).epsilon(1e-15));
}

TEST_CASE("units of a formula meet in the working units") {
  FormulaWorld world;
  CHECK(world.number("1 m - 1 cm") == 990);
  CHECK(world.number("9000 mm/min in mm/s") == doctest::Approx(150).epsilon(1e-15));
  CHECK(world.number("25.4 mm in inch") == doctest::Approx(1).epsilon(1e-15));     // NIST SP 811
  CHECK(world.number("392 degF in degC") == doctest::Approx(200).epsilon(1e-14));  // NIST SP 811
  CHECK(world.number("200 degC in degF") == doctest::Approx(392).epsilon(1e-14));
}

TEST_CASE("numbers compare equal in spite of binary noise") {
  FormulaWorld world;
  CHECK(world.flag("0.1 + 0.2 == 0.3"));
  CHECK_FALSE(world.flag("0.1 + 0.2 > 0.3"));
  CHECK(world.flag("0.1 + 0.2 <= 0.3"));
  CHECK_FALSE(world.flag("0.1 + 0.2 != 0.3"));
  CHECK(world.flag("0.3 mm < 0.31 mm"));
}

TEST_CASE("words and flags compare by what they are") {
  FormulaWorld world;
  world.set("drive.place", Value::of_word("head"));
  world.set("lid.shut", Value::of_flag(true));
  CHECK(world.flag("drive.place == 'head'"));
  CHECK_FALSE(world.flag("drive.place == 'frame'"));
  CHECK(world.flag("lid.shut == true"));
  CHECK(world.flag("lid.shut != false"));
}

TEST_CASE("the functions give what their names say") {
  FormulaWorld world;
  CHECK(world.number("min(3, 1, 2)") == 1);
  CHECK(world.number("max(3, 1, 2)") == 3);
  CHECK(world.number("abs(-2.5)") == 2.5);
  CHECK(world.number("ceil(1.2)") == 2);
  CHECK(world.number("floor(-1.2)") == -2);
  CHECK(world.number("sqrt(9)") == 3);
  CHECK(world.number("clamp(5, 1, 3)") == 3);
  CHECK(world.number("clamp(0, 1, 3)") == 1);
  CHECK(world.number("clamp(2, 1, 3)") == 2);
  CHECK(std::abs(world.number("pi") - 3.141592653589793) < 1e-15);
}

TEST_CASE("round goes to the nearest multiple of its step, a half away from zero") {
  FormulaWorld world;
  CHECK(world.number("round(2.5, 1)") == 3);
  CHECK(world.number("round(-2.5, 1)") == -3);
  CHECK(world.number("round(2.4, 1)") == 2);
  CHECK(write_number(world.number("round(0.25 mm, 0.1 mm)")) == "0.3");
  CHECK(write_number(world.number("round(0.35 mm, 0.1 mm)")) == "0.4");  // 0.35 / 0.1 is 3.4999999999999996 in binary
  CHECK(world.number("round(212.4 degC, 5 K)") == 210);
}

TEST_CASE("ceil and floor take a number that is whole but for noise as whole") {
  FormulaWorld world;
  CHECK(world.number("ceil(0.3 / 0.1)") == 3);  // 2.9999999999999996 in binary
  CHECK(world.number("floor(0.3 / 0.1)") == 3);
  CHECK(world.number("ceil(1.1 * 100 / 11)") == 10);  // 10.000000000000002 in binary
}

TEST_CASE("if reads nothing of the branch that it leaves") {
  FormulaWorld world;
  world.set("lid.shut", Value::of_flag(true));
  CHECK(world.number("if(lid.shut, 1, 1 / 0)") == 1);
  world.reads.clear();
  CHECK(world.number("if(lid.shut, 2 mm, line.width)") == 2);
  CHECK(world.reads == std::vector<std::string>{"lid.shut"});
}

TEST_CASE("and and or stop at the first side that decides") {
  FormulaWorld world;
  CHECK_FALSE(world.flag("false and 1 / 0 > 1"));
  CHECK(world.flag("true or 1 / 0 > 1"));
  CHECK(world.run("true and 1 / 0 > 1").stop == FormulaStop::division);
  CHECK(world.run("false or 1 / 0 > 1").stop == FormulaStop::division);
  CHECK_FALSE(world.flag("set(line.width) and line.width > 1 mm"));
}

TEST_CASE("set tells whether a key has a value") {
  FormulaWorld world;
  CHECK_FALSE(world.flag("set(line.width)"));
  world.set("line.width", 0.4);
  CHECK(world.flag("set(line.width)"));
  world.set("line.width", Value::poisoned());
  CHECK(world.run("set(line.width)").stop == FormulaStop::poison);
}

TEST_CASE("a formula that has no value says why and where") {
  FormulaWorld world;
  world.set("line.height", 0.0);
  auto check = [&](std::string_view text, FormulaStop stop, std::string_view part, std::string_view message) {
    CAPTURE(text);
    Formula formula = world.parse(text);
    FormulaResult result = evaluate(formula, world);
    CHECK(result.stop == stop);
    CHECK(result.value.is(Value::Tag::poison));
    const FormulaNode& node = formula.nodes[result.node];
    CHECK(text.substr(node.begin, node.end - node.begin) == part);
    CHECK(stop_message(formula, result) == message);
  };
  check("1 mm + line.width", FormulaStop::unset, "line.width", "the formula reads 'line.width', which has no value");
  check("max(2, 1 mm / line.height)", FormulaStop::division, "1 mm / line.height", "'1 mm / line.height' divides by zero");
  check("1 + 0 ^ -1", FormulaStop::division, "0 ^ -1", "'0 ^ -1' divides by zero");
  check("1 + (-8) ^ (1/3)", FormulaStop::not_finite, "(-8) ^ (1/3)", "'(-8) ^ (1/3)' gives no finite number");
  check("sqrt(-1)", FormulaStop::not_finite, "sqrt(-1)", "'sqrt(-1)' gives no finite number");
  check("1e200 * 1e200", FormulaStop::not_finite, "1e200 * 1e200", "'1e200 * 1e200' gives no finite number");
  check("round(1, 0)", FormulaStop::bad_step, "round(1, 0)", "the step of 'round(1, 0)' must be above zero");
  check("clamp(1, 3, 2)", FormulaStop::crossed_bounds, "clamp(1, 3, 2)", "the lower bound of 'clamp(1, 3, 2)' is above the upper one");
}

TEST_CASE("what reads a poisoned value is poisoned without a reason of its own") {
  FormulaWorld world;
  world.set("line.width", Value::poisoned());
  CHECK(world.run("line.width + 1 mm").stop == FormulaStop::poison);
  CHECK(world.run("if(true, 1 mm, line.width)").stop == FormulaStop::none);
}

TEST_CASE("inherited is the value below in its unit") {
  FormulaWorld world;
  world.scope.inherited = FormulaType{FormulaType::Kind::number, dimension::length()};
  world.scope.inherited_unit = world.units.find("cm");
  world.below = Value::of_number(2);
  CHECK(world.number("inherited + 5 mm") == 25);
  world.below = Value();
  CHECK(world.run("inherited + 5 mm").stop == FormulaStop::unset);
}

}
