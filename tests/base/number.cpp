#include "base/number.h"

#include <clocale>
#include <locale>

#include "../support.h"

using namespace bindery;

TEST_SUITE("base/number") {

// The language: "rounded half away from zero to at most six decimals, without exponent or `-0`".
TEST_CASE("a number is written with at most six decimals") {
  CHECK(write_number(1.2345674) == "1.234567");
  CHECK(write_number(1.2345678) == "1.234568");
  CHECK(write_number(-1.2345678) == "-1.234568");
  CHECK(write_number(62.2324) == "62.2324");
  CHECK(write_number(150) == "150");
  CHECK(write_number(0.45) == "0.45");
}

TEST_CASE("a half at the sixth decimal is rounded away from zero") {
  CHECK(write_number(1.0000005) == "1.000001");
  CHECK(write_number(-1.0000005) == "-1.000001");
  CHECK(write_number(0.1234565) == "0.123457");
  CHECK(write_number(2.0000025) == "2.000003");
  CHECK(write_number(0.0000005) == "0.000001");
  CHECK(write_number(-0.0000005) == "-0.000001");
}

TEST_CASE("rounding carries into the whole part") {
  CHECK(write_number(0.9999999) == "1");
  CHECK(write_number(99.9999995) == "100");
  CHECK(write_number(-9.9999999) == "-10");
  CHECK(write_number(0.0999999999) == "0.1");
}

TEST_CASE("nothing is written as minus zero") {
  CHECK(write_number(-0.0) == "0");
  CHECK(write_number(-0.00000049) == "0");
  CHECK(write_number(-1e-300) == "0");
  CHECK(write_number(5e-324) == "0");
}

TEST_CASE("binary noise is not written") {
  CHECK(write_number(0.1 + 0.2) == "0.3");
  CHECK(write_number(1.1 * 1.1) == "1.21");
  CHECK(write_number(4.35 * 100) == "435");
  CHECK(write_number(1.0 - 0.9) == "0.1");
  CHECK(write_number(100 * 1.15) == "115");
}

TEST_CASE("a huge number is written without an exponent") {
  CHECK(write_number(1e21) == "1" + std::string(21, '0'));
  CHECK(write_number(-2.5e20) == "-25" + std::string(19, '0'));
  CHECK(write_number(1e300) == "1" + std::string(300, '0'));
  CHECK(write_number(123456789.012345) == "123456789.012345");
}

TEST_CASE("a whole number that a double holds exactly is written to its last digit") {
  CHECK(write_number(999999999999999) == "999999999999999");
  CHECK(write_number(9007199254740991) == "9007199254740991");  // 2^53 - 1
}

TEST_CASE("a number is read from the start of a text with the length that it takes") {
  auto check = [](std::string_view text, double value, std::size_t length) {
    CAPTURE(text);
    auto read = read_number(text);
    REQUIRE(read.has_value());
    CHECK(read->value == value);
    CHECK(read->length == length);
  };
  check("150 mm/s", 150, 3);
  check("-2e3x", -2000, 4);
  check("+.5", 0.5, 3);
  check("0123", 123, 4);  // never octal
  check("0x10", 0, 1);    // never hexadecimal
  check("1,5", 1, 1);     // a comma is no decimal point
  check("1e", 1, 1);
  check("5mm", 5, 1);
}

TEST_CASE("what is no finite decimal number is not read") {
  for (std::string_view text : {"", "+", "-", ".", "+.", "nan", "NaN", "inf", "-infinity", "1e999", "--1", "+-1", "- 1", " 1", "x1", "e5"}) {
    CAPTURE(text);
    CHECK_FALSE(read_number(text).has_value());
  }
}

TEST_CASE("numbers are equal within a billionth of the larger one") {
  CHECK(same_number(1, 1 + 5e-10));
  CHECK_FALSE(same_number(1, 1 + 2e-9));
  CHECK(same_number(1e12, 1e12 + 100));
  CHECK(same_number(0.1 + 0.2, 0.3));
  CHECK(same_number(0, -0.0));
  CHECK_FALSE(same_number(1, -1));
}

TEST_CASE("the language of the machine changes no number") {
  struct Comma : std::numpunct<char> {
    char do_decimal_point() const override { return ','; }
    char do_thousands_sep() const override { return '.'; }
    std::string do_grouping() const override { return "\3"; }
  };
  std::locale before = std::locale::global(std::locale(std::locale::classic(), new Comma));
  std::string wrote = write_number(1234567.5);
  auto read = read_number("1234.5");
  std::locale::global(before);
  CHECK(wrote == "1234567.5");
  REQUIRE(read.has_value());
  CHECK(read->value == 1234.5);
  CHECK(read->length == 6);
}

}
