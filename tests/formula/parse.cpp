#include "../support.h"

using namespace bindery;
using test::FormulaWorld;

TEST_SUITE("formula/parse") {

// Precedence, high to low: unit, call, bracket | in | ^ | minus | * / | + - | comparison | not | and | or.
TEST_CASE("multiplication binds more than addition, and both from the left") {
  FormulaWorld world;
  CHECK(world.number("1 + 2 * 3") == 7);
  CHECK(world.number("(1 + 2) * 3") == 9);
  CHECK(world.number("12 / 3 * 2") == 8);
  CHECK(world.number("7 - 2 - 1") == 4);
  CHECK(world.number("12 / 3 / 2") == 2);
}

TEST_CASE("a power binds more than a minus before it, and from the right") {
  FormulaWorld world;
  CHECK(world.number("-2 ^ 2") == -4);
  CHECK(world.number("2 ^ 3 ^ 2") == 512);
  CHECK(world.number("2 ^ -1") == 0.5);
  CHECK(world.number("- -3") == 3);
  CHECK(world.number("2 * -3") == -6);
}

TEST_CASE("`in` binds more than a power") {
  FormulaWorld world;
  CHECK(world.number("2 mm in mm ^ 2") == 4);
  CHECK(world.number("3 * 1 m in mm") == 3000);
}

TEST_CASE("and binds more than or, not more than and, a comparison more than not") {
  FormulaWorld world;
  CHECK(world.flag("true or true and false"));
  CHECK_FALSE(world.flag("(true or true) and false"));
  CHECK_FALSE(world.flag("not true or false"));
  CHECK_FALSE(world.flag("not true and false"));
  CHECK(world.flag("not 1 > 2"));
  CHECK(world.flag("not not true"));
  CHECK(world.flag("false or false or true"));
  CHECK_FALSE(world.flag("true and true and false"));
  CHECK(world.flag("1 + 1 == 2 and 3 < 2 * 2"));
}

TEST_CASE("comparisons do not chain") {
  FormulaWorld world;
  CHECK(world.refused("1 < 2 < 3") == "formula-syntax: <");
  CHECK(world.refused("1 == 1 != 2") == "formula-syntax: !=");
}

TEST_CASE("a unit ends at a blank, a bracket or a comma") {
  FormulaWorld world;
  CHECK(world.number("max(3 mm,2 cm)") == 20);
  CHECK(world.number("(5mm) + (1 mm)") == 6);
  CHECK(world.number("6 mm / 2 mm") == 3);
  CHECK(world.type("5 mm/s^2") == "length / time^2");
  CHECK(world.refused("6 mm/line.width") == "unit-unknown: mm/line.width");
  CHECK(world.refused("6 mm+1 mm") == "unit-unknown: mm+1");
}

TEST_CASE("a unit without the blank after it is cured by a blank") {
  FormulaWorld world;
  Diagnostics out;
  CHECK_FALSE(parse_formula(test::text_of("6 mm/line.width"), world.scope, world.units, out).has_value());
  REQUIRE(out.items().size() == 1);
  CHECK(out.items()[0].help == "put blanks round the operator after `mm`");
}

TEST_CASE("a report points at the smallest part that is wrong") {
  FormulaWorld world;
  CHECK(world.refused("(1 + 2") == "formula-syntax: (");
  CHECK(world.refused("1 + 2)") == "formula-syntax: )");
  CHECK(world.refused("1 = 2") == "formula-syntax: =");
  CHECK(world.refused("1 +") == "formula-syntax: (end)");
  CHECK(world.refused("") == "formula-syntax: (end)");
  CHECK(world.refused("1 2") == "formula-syntax: 2");
  CHECK(world.refused("'word") == "formula-syntax: 'word");
  CHECK(world.refused("+1") == "formula-syntax: +");
  CHECK(world.refused("line.width in") == "formula-syntax: (end)");
}

TEST_CASE("a character of several bytes is shown whole") {
  FormulaWorld world;
  Diagnostics out;
  CHECK_FALSE(parse_formula(test::text_of("1 + \xe2\x82\xac"), world.scope, world.units, out).has_value());
  REQUIRE(out.items().size() == 1);
  CHECK(out.items()[0].span.begin == 4);
  CHECK(out.items()[0].message == "'\xe2\x82\xac' is not expected here");
}

TEST_CASE("an unknown function or setting is named, with the nearest one") {
  FormulaWorld world;
  CHECK(world.refused("maxx(1, 2)") == "function-unknown: maxx");
  CHECK(world.refused("1 mm + line.widht") == "setting-unknown: line.widht");
  Diagnostics out;
  CHECK_FALSE(parse_formula(test::text_of("flor(1)"), world.scope, world.units, out).has_value());
  CHECK_FALSE(parse_formula(test::text_of("line.widht"), world.scope, world.units, out).has_value());
  REQUIRE(out.items().size() == 2);
  CHECK(out.items()[0].help == "did you mean 'floor'");
  CHECK(out.items()[1].help == "did you mean 'line.width'");
}

TEST_CASE("a function takes the values that it needs, no more and no fewer") {
  FormulaWorld world;
  for (std::string_view text : {"if(true, 1)", "round(1)", "clamp(1, 2)", "abs(1, 2)", "min()", "sqrt()", "ceil(1, 2)"}) {
    CHECK_MESSAGE(world.refused(text) == fmt::format("formula-syntax: {}", text), text);
  }
}

TEST_CASE("quantities of two dimensions neither add nor compare") {
  FormulaWorld world;
  CHECK(world.refused("line.width + line.speed") == "dimension-mismatch: line.speed");
  CHECK(world.refused("line.width + 1") == "dimension-mismatch: 1");
  CHECK(world.refused("line.width < 3 s") == "dimension-mismatch: 3 s");
  CHECK(world.refused("min(1 mm, 1 s)") == "dimension-mismatch: 1 s");
  CHECK(world.refused("if(lid.shut, 1 mm, 1)") == "dimension-mismatch: 1");
  CHECK(world.refused("round(1 mm, 1 s)") == "dimension-mismatch: 1 s");
  CHECK(world.refused("1 mm in s") == "dimension-mismatch: 1 mm");
}

TEST_CASE("dimensions follow products, quotients, powers and roots") {
  FormulaWorld world;
  CHECK(world.type("line.width * line.height * line.speed") == "length^3 / time");
  CHECK(world.type("line.width / line.height") == "a plain number");
  CHECK(world.type("line.width / line.speed") == "time");
  CHECK(world.type("line.width ^ 2") == "length^2");
  CHECK(world.type("line.width ^ -1") == "1 / length");
  CHECK(world.type("(line.width ^ 2) ^ (1/2)") == "length");
  CHECK(world.type("sqrt(line.width * line.height)") == "length");
  CHECK(world.type("line.speed in mm/min") == "a plain number");
  CHECK(world.type("fan.share") == "a plain number");
}

TEST_CASE("the exponent of a quantity is a fixed plain number") {
  FormulaWorld world;
  CHECK(world.refused("line.width ^ wall.count") == "dimension-mismatch: wall.count");
  CHECK(world.refused("2 ^ 1 mm") == "dimension-mismatch: 1 mm");
  CHECK(world.number("2 ^ (1 mm in mm)") == 2);
}

// The language: "A temperature in degC takes + and - of a K, difference, comparison, min max clamp if
// round; to scale or multiply it is an error."
TEST_CASE("a temperature takes a difference, a comparison and the choice of the higher") {
  FormulaWorld world;
  CHECK(world.type("heat.now + 5 K") == "a temperature");
  CHECK(world.type("5 K + heat.now") == "a temperature");
  CHECK(world.type("heat.now - 5 K") == "a temperature");
  CHECK(world.type("heat.now - 20 degC") == "temperature difference");
  CHECK(world.type("heat.now > 200 degC") == "a condition");
  CHECK(world.type("max(heat.now, 200 degC)") == "a temperature");
  CHECK(world.type("clamp(heat.now, 180 degC, 250 degC)") == "a temperature");
  CHECK(world.type("if(lid.shut, heat.now, 20 degC)") == "a temperature");
  CHECK(world.type("round(heat.now, 5 K)") == "a temperature");
  CHECK(world.type("heat.now in degF") == "a plain number");
}

TEST_CASE("a temperature in degC takes no multiple") {
  FormulaWorld world;
  CHECK(world.refused("2 * heat.now") == "temperature-scaled: heat.now");
  CHECK(world.refused("heat.now / 2") == "temperature-scaled: heat.now");
  CHECK(world.refused("heat.now + heat.now") == "temperature-scaled: heat.now");
  CHECK(world.refused("heat.now ^ 2") == "temperature-scaled: heat.now");
  CHECK(world.refused("-heat.now") == "temperature-scaled: heat.now");
  CHECK(world.refused("abs(heat.now)") == "temperature-scaled: heat.now");
  CHECK(world.refused("5 K - heat.now").starts_with("dimension-mismatch"));
  CHECK(world.refused("heat.now in K").starts_with("dimension-mismatch"));
}

TEST_CASE("the sign of a temperature belongs to the number") {
  FormulaWorld world;
  CHECK(world.number("-40 degF") == doctest::Approx(-40).epsilon(1e-12));  // NIST SP 811: -40 degF = -40 degC
  CHECK(world.number("-5 degC + 3 K") == -2);
}

TEST_CASE("flags, words and lists are no numbers") {
  FormulaWorld world;
  CHECK(world.refused("lid.shut + 1") == "dimension-mismatch: lid.shut");
  CHECK(world.refused("drive.place * 2") == "dimension-mismatch: drive.place");
  CHECK(world.refused("lid.shut < true") == "dimension-mismatch: lid.shut");
  CHECK(world.refused("drive.place < 'head'").starts_with("dimension-mismatch"));
  CHECK(world.refused("order.words == order.words") == "dimension-mismatch: order.words");
  CHECK(world.refused("if(1, 2, 3)") == "dimension-mismatch: 1");
  CHECK(world.refused("not wall.count") == "dimension-mismatch: wall.count");
  CHECK(world.refused("1 and true") == "dimension-mismatch: 1");
}

TEST_CASE("a choice is compared only with words that it can be") {
  FormulaWorld world;
  CHECK(world.refused("drive.place == 'frame'") == "");
  CHECK(world.refused("drive.place == 'tail'") == "choice-unknown: 'tail'");
  CHECK(world.refused("'tail' != drive.place") == "choice-unknown: 'tail'");
}

TEST_CASE("where facts alone may be read, another setting is refused") {
  FormulaWorld world;
  world.scope.facts_only = true;
  CHECK(world.refused("bore.fact > 0.4 mm") == "");
  CHECK(world.refused("bore.fact > line.width") == "fact-required: line.width");
}

TEST_CASE("a key whose entry is broken makes the formula fail in silence") {
  FormulaWorld world;
  CHECK(world.refused("1 mm + broken.key") == "silence");
}

TEST_CASE("nothing is inherited where nothing lies below") {
  FormulaWorld world;
  CHECK(world.refused("inherited + 1 mm") == "formula-syntax: inherited");
  world.scope.inherited = FormulaType{FormulaType::Kind::number, dimension::length()};
  CHECK(world.refused("inherited + 1 mm") == "");
  CHECK(world.parse("inherited + 1 mm").reads_inherited);
}

TEST_CASE("each key of a formula is noted once, in order of appearance") {
  FormulaWorld world;
  Formula formula = world.parse("line.height + line.width + line.height");
  REQUIRE(formula.keys.size() == 2);
  CHECK(formula.keys[0] == world.ids.at("line.height"));
  CHECK(formula.keys[1] == world.ids.at("line.width"));
}

TEST_CASE("a formula nested or long beyond reason is refused, not followed") {
  FormulaWorld world;
  auto nested = [](std::string_view open, std::string_view shut, int times) {
    std::string text;
    for (int i = 0; i < times; ++i) text += open;
    text += "1";
    for (int i = 0; i < times; ++i) text += shut;
    return text;
  };
  CHECK(world.number(nested("(", ")", 40)) == 1);
  CHECK(world.refused(nested("(", ")", 2000)).starts_with("formula-syntax"));
  CHECK(world.refused(nested("-", "", 4000)).starts_with("formula-syntax"));
  CHECK(world.refused("not " + nested("not ", "", 900)).starts_with("formula-syntax"));
  CHECK(world.refused(nested("2^", "", 2000)).starts_with("formula-syntax"));
  CHECK(world.refused(nested("1 + ", "", 1200)).starts_with("formula-syntax"));
}

}
