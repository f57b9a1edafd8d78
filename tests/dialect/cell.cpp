// One value as a row writes it, and back.
#include "dialect/cell.h"

#include "../support.h"

using namespace bindery;

namespace {

CellValue number(double value) {
  CellValue out;
  out.number = value;
  return out;
}

CellValue word(std::string text) {
  CellValue out;
  out.of = CellValue::Of::word;
  out.word = std::move(text);
  return out;
}

CellValue flag(bool value) {
  CellValue out;
  out.of = CellValue::Of::flag;
  out.flag = value;
  return out;
}

CellValue list(std::vector<CellValue> items) {
  CellValue out;
  out.of = CellValue::Of::list;
  out.items = std::move(items);
  return out;
}

// "0.5", "a, b" for several, or "(it has no ...)" where there is none.
std::string text_of(const RowFormat& format, const CellValue& value, std::size_t repeat = 0) {
  std::string why, out;
  auto text = write_cell(format, value, repeat, why);
  if (!text) return "(" + why + ")";
  for (const Scalar& each : text->values) out += (out.empty() ? "" : ", ") + each.text;
  return out;
}

// The number that a text is read as.
std::string read_of(const RowFormat& format, std::string text, CellValue::Of sort = CellValue::Of::number) {
  std::string why;
  auto value = read_cell(format, sort, false, false, {{{std::move(text), false}}, false}, why);
  if (!value) return "(" + why + ")";
  return sort == CellValue::Of::number ? fmt::format("{}", value->number) : sort == CellValue::Of::flag ? (value->flag ? "true" : "false") : value->word;
}

RowFormat decimals(int count, bool padded = false) {
  RowFormat out;
  out.decimals = count;
  out.padded = padded;
  return out;
}

}  // namespace

TEST_SUITE("dialect/cell") {

TEST_CASE("a number has the decimals that the row gives it, half away from zero") {
  CHECK(text_of({}, number(0.1 + 0.2)) == "0.3");
  CHECK(text_of(decimals(2), number(0.125)) == "0.13");
  CHECK(text_of(decimals(2), number(-0.125)) == "-0.13");
  CHECK(text_of(decimals(2), number(2.675)) == "2.68");  // the decimal, not the binary fraction below it
  CHECK(text_of(decimals(0), number(9.5)) == "10");
  CHECK(text_of(decimals(0), number(-0.4)) == "0");
  CHECK(text_of(decimals(1), number(99.96)) == "100");
  CHECK(text_of(decimals(3), number(0.5)) == "0.5");
  CHECK(text_of(decimals(3, true), number(0.5)) == "0.500");
  CHECK(text_of(decimals(2, true), number(7)) == "7.00");
  CHECK(text_of(decimals(0, true), number(7)) == "7");
  CHECK(text_of(decimals(8), number(0.01006036)) == "0.01006036");
}

TEST_CASE("sign, decimal comma and suffix stand round the digits, and are read again") {
  RowFormat format;
  format.signed_always = true;
  format.point = ",";
  format.suffix = " mm";
  CHECK(text_of(format, number(0.25)) == "+0,25 mm");
  CHECK(text_of(format, number(-0.25)) == "-0,25 mm");
  CHECK(read_of(format, "+0,25 mm") == "0.25");
  CHECK(read_of(format, "0,25 mm") == "0.25");
  CHECK(read_of(format, "0.25 mm") == "('0.25 mm' is no number with ' mm' behind it)");
  CHECK(read_of(format, "0,25") == "('0,25' is no number with ' mm' behind it)");
}

TEST_CASE("what is no finite number is refused") {
  for (const char* text : {"", " ", "abc", "1x", "nan", "inf", "-inf", "0x10", "1e999", "--1", "1,5", "1 2"}) {
    CAPTURE(text);
    CHECK(read_of({}, text) == fmt::format("('{}' is no number)", text));
  }
  CHECK(read_of({}, "1e2") == "100");
  CHECK(read_of({}, ".5") == "0.5");
}

TEST_CASE("words are spelled as the program spells them, and one without a spelling is told") {
  RowFormat format;
  format.mapped = true;
  format.words = {{"grid", "Lattice"}, {"lines", "Rows"}};
  CHECK(text_of(format, word("grid")) == "Lattice");
  CHECK(text_of(format, word("cubic")) == "(it has no spelling for 'cubic')");
  CHECK(read_of(format, "Rows", CellValue::Of::word) == "lines");
  CHECK(read_of(format, "grid", CellValue::Of::word) == "(no word is spelled 'grid' here)");
  CHECK(text_of({}, word("cubic")) == "cubic");
}

TEST_CASE("a number may have a word in place of its digits") {
  RowFormat format;
  format.mapped = true;
  format.words = {{"0", "never"}};
  CHECK(text_of(format, number(0)) == "never");
  CHECK(text_of(format, number(3)) == "3");
  CHECK(read_of(format, "never") == "0");
}

TEST_CASE("flags are written in the program's two words, and no other is read") {
  RowFormat format;
  format.yes = "on";
  format.no = "off";
  CHECK(text_of(format, flag(true)) == "on");
  CHECK(text_of(format, flag(false)) == "off");
  CHECK(read_of(format, "off", CellValue::Of::flag) == "false");
  CHECK(read_of(format, "true", CellValue::Of::flag) == "('true' is neither 'on' nor 'off')");
}

TEST_CASE("a list stands as several values, or joined in one") {
  CellValue speeds = list({number(10), number(20.5)});
  CHECK(text_of({}, speeds) == "10, 20.5");
  RowFormat joined;
  joined.joined = ";";
  CHECK(text_of(joined, speeds) == "10;20.5");
  std::string why;
  auto back = read_cell(joined, CellValue::Of::number, true, false, {{{"10;20.5", false}}, false}, why);
  REQUIRE(back);
  CHECK(same_cell(*back, speeds));
  auto none = read_cell(joined, CellValue::Of::number, true, false, {{{"", false}}, false}, why);
  REQUIRE(none);
  CHECK(none->items.empty());
}

TEST_CASE("a value repeated for each extruder is one value again only where all agree") {
  CHECK(text_of({}, number(0.4), 3) == "0.4, 0.4, 0.4");
  std::string why;
  auto same = read_cell({}, CellValue::Of::number, false, true, {{{"0.4", false}, {"0.40", false}}, true}, why);
  REQUIRE(same);
  CHECK(same->number == 0.4);
  CHECK_FALSE(read_cell({}, CellValue::Of::number, false, true, {{{"0.4", false}, {"0.6", false}}, true}, why));
  CHECK(why == "the repeated values differ, and the profile has one");
  CHECK_FALSE(read_cell({}, CellValue::Of::number, false, false, {{{"0.4", false}, {"0.4", false}}, true}, why));
  CHECK(why == "several values stand there");
}

TEST_CASE("a number is turned between units of one dimension") {
  Units units;
  const Unit *speed = units.find("mm/s"), *feed = units.find("mm/min"), *share = units.find("%"), *one = units.find("1");
  CHECK(converted(150, speed, feed) == doctest::Approx(9000));
  CHECK(converted(9000, feed, speed) == doctest::Approx(150));
  CHECK(converted(15, share, one) == doctest::Approx(0.15));
  CHECK(converted(7, nullptr, nullptr) == 7);
}

}  // TEST_SUITE
