#include "../support.h"
#include "schema/dictionary.h"

using namespace bindery;

namespace {

Units& units() {
  static Units all;
  return all;
}

Setting quantity(std::string_view unit) {
  Setting out;
  out.key = "a.b";
  out.unit = units().find(unit);
  REQUIRE(out.unit != nullptr);
  return out;
}
Setting of_type(Type type) {
  Setting out;
  out.key = "a.b";
  out.type = type;
  out.choices = {"rear", "corner"};
  return out;
}

// The value as it is written, or "code begin-end".
template <typename Reader>
std::string outcome(Reader&& reader) {
  Diagnostics out;
  std::optional<std::string> value = reader(out);
  if (value.has_value() != out.items().empty()) return "value and reports disagree";
  if (value) return *value;
  const Diagnostic& item = out.items().front();
  return fmt::format("{} {}-{}", describe(item.code).name, item.span.begin, item.span.end);
}
std::string literal(const Setting& setting, std::string_view text, bool quoted = false) {
  return outcome([&](Diagnostics& out) -> std::optional<std::string> {
    auto value = read_literal(setting, test::text_of(text, quoted), units(), out);
    return value ? std::optional(written(setting, *value)) : std::nullopt;
  });
}
std::string difference(const Setting& setting, std::string_view text) {
  return outcome([&](Diagnostics& out) -> std::optional<std::string> {
    auto value = read_difference(setting, test::text_of(text), units(), out);
    return value ? std::optional(fmt::format("{:.12g}", *value)) : std::nullopt;
  });
}
std::string ratio(std::string_view text) {
  return outcome([&](Diagnostics& out) -> std::optional<std::string> {
    auto value = read_ratio(test::text_of(text), units(), out);
    return value ? std::optional(fmt::format("{:.12g}", *value)) : std::nullopt;
  });
}

}  // namespace

TEST_SUITE("schema/literal") {

TEST_CASE("a quantity is kept in its setting's unit") {
  CHECK(literal(quantity("mm/s"), "150 mm/s") == "150 mm/s");
  CHECK(literal(quantity("mm/s"), "15 cm/s") == "150 mm/s");
  CHECK(literal(quantity("mm/s"), "9000 mm/min") == "150 mm/s");
  CHECK(literal(quantity("mm"), "1 in") == "25.4 mm");                    // NIST SP 811
  CHECK(literal(quantity("mm^3/s"), "1 in^3/min") == "273.117733 mm^3/s");  // 16387.064 / 60 mm^3/s
  CHECK(literal(quantity("mm"), "-0.05mm") == "-0.05 mm");
  CHECK(literal(quantity("%"), "15 %") == "15 %");
  CHECK(literal(quantity("mm"), "0.4 mm", true) == "0.4 mm");
}

// NIST SP 811, appendix B (from memory).
TEST_CASE("a temperature is read in any scale of temperature") {
  CHECK(literal(quantity("degC"), "215 degC") == "215 degC");
  CHECK(literal(quantity("degC"), "215 \xc2\xb0" "C") == "215 degC");
  CHECK(literal(quantity("degC"), "392 degF") == "200 degC");
  CHECK(literal(quantity("degC"), "-40 degF") == "-40 degC");
}

TEST_CASE("a quantity carries its unit") {
  CHECK(literal(quantity("mm"), "0.4") == "unit-missing 0-3");
  CHECK(literal(quantity("degC"), "215") == "unit-missing 0-3");
  CHECK(literal(quantity("%"), "15") == "unit-missing 0-2");
  CHECK(literal(quantity("1"), "1.5") == "1.5");
  CHECK(literal(quantity("1"), "1.5 mm") == "dimension-mismatch 4-6");
}

TEST_CASE("a unit that is unknown or of another dimension is pointed at") {
  CHECK(literal(quantity("mm"), "4 smoot") == "unit-unknown 2-7");
  CHECK(literal(quantity("mm"), "4 s") == "dimension-mismatch 2-3");
  CHECK(literal(quantity("mm/s"), "4 s/mm") == "dimension-mismatch 2-6");
  CHECK(literal(quantity("%"), "4 degree") == "dimension-mismatch 2-8");
  CHECK(literal(quantity("degree"), "4 deg") == "unit-unknown 2-5");
}

TEST_CASE("a temperature is no difference of temperature") {
  CHECK(literal(quantity("degC"), "215 K") == "dimension-mismatch 4-5");
  CHECK(literal(quantity("K"), "5 degC") == "dimension-mismatch 2-6");
  CHECK(literal(quantity("K"), "5 K") == "5 K");
}

TEST_CASE("a number is finite and decimal") {
  CHECK(literal(quantity("mm"), "nan mm") == "number-invalid 0-6");
  CHECK(literal(quantity("mm"), "inf mm") == "number-invalid 0-6");
  CHECK(literal(quantity("mm"), "1e999 mm") == "number-invalid 0-8");
  CHECK(literal(quantity("mm"), "1e308 km").starts_with("number-invalid"));
  CHECK(literal(quantity("mm"), "wide") == "value-malformed 0-4");
  CHECK(literal(quantity("mm"), "0x10 mm") == "number-invalid 0-7");
}

TEST_CASE("a count is a whole bare number without quotes") {
  CHECK(literal(of_type(Type::count), "3") == "3");
  CHECK(literal(of_type(Type::count), "0123") == "123");  // never octal
  CHECK(literal(of_type(Type::count), "3.5") == "count-fraction 0-3");
  CHECK(literal(of_type(Type::count), "3 mm") == "dimension-mismatch 2-4");
  CHECK(literal(of_type(Type::count), "3", true) == "value-malformed 0-1");
  CHECK(literal(of_type(Type::count), "three") == "value-malformed 0-5");
}

// The language: "booleans are `true` and `false` alone".
TEST_CASE("a flag is true or false without quotes") {
  CHECK(literal(of_type(Type::flag), "true") == "true");
  CHECK(literal(of_type(Type::flag), "false") == "false");
  for (std::string_view text : {"yes", "no", "on", "off", "True", "1"}) CHECK_MESSAGE(literal(of_type(Type::flag), text).starts_with("value-malformed"), text);
  CHECK(literal(of_type(Type::flag), "true", true) == "value-malformed 0-4");
}

TEST_CASE("a choice is one of its words, and the nearest one is told") {
  CHECK(literal(of_type(Type::choice), "corner") == "corner");
  CHECK(literal(of_type(Type::choice), "cornre") == "choice-unknown 0-6");
  Diagnostics out;
  CHECK_FALSE(read_literal(of_type(Type::choice), test::text_of("cornre"), units(), out));
  REQUIRE(out.items().size() == 1);
  CHECK(out.items()[0].help == "did you mean 'corner'");
}

TEST_CASE("a text is any words, numbers too") {
  CHECK(literal(of_type(Type::text), "any words") == "any words");
  CHECK(literal(of_type(Type::text), "0123") == "0123");
}

TEST_CASE("what is added to a temperature is a difference in K") {
  CHECK(difference(quantity("degC"), "-5 K") == "-5");
  CHECK(difference(quantity("degC"), "5 degC") == "dimension-mismatch 2-6");
  CHECK(difference(quantity("degC"), "5") == "unit-missing 0-1");
  CHECK(difference(quantity("degF"), "5 K") == "9");  // NIST SP 811: an interval of 9 degF is one of 5 K
}

TEST_CASE("what is added to a percentage is points of it") {
  CHECK(difference(quantity("%"), "5 %") == "5");
  CHECK(difference(quantity("%"), "0.05") == "unit-missing 0-4");
  CHECK(difference(quantity("mm"), "1 cm") == "10");
  CHECK(difference(of_type(Type::count), "-1") == "-1");
  CHECK(difference(of_type(Type::count), "0.5") == "count-fraction 0-3");
}

TEST_CASE("a ratio is a bare number or a percentage") {
  CHECK(ratio("1.2") == "1.2");
  CHECK(ratio("110 %") == "1.1");
  CHECK(ratio("80%") == "0.8");
  CHECK(ratio("1 mm") == "dimension-mismatch 2-4");
  CHECK(ratio("5 degree").starts_with("dimension-mismatch"));
  CHECK(ratio("twice") == "value-malformed 0-5");
}

}
