#include "units/units.h"

#include <thread>

#include "../support.h"

using namespace bindery;

namespace {

// A value of one unit told in another.
double convert(double value, std::string_view from, std::string_view to) {
  static Units units;
  const Unit* a = units.find(from);
  const Unit* b = units.find(to);
  REQUIRE_MESSAGE(a != nullptr, from);
  REQUIRE_MESSAGE(b != nullptr, to);
  REQUIRE_MESSAGE(convertible(*a, *b), from, " to ", to);
  return b->from_base(a->to_base(value));
}

// Equal as far as the source prints its digits.
bool near(double value, double published, double last_digit) { return std::abs(value - published) <= last_digit / 2 * (1 + 1e-9); }

bool are_convertible(std::string_view from, std::string_view to) {
  Units units;
  return convertible(*units.find(from), *units.find(to));
}

}  // namespace

TEST_SUITE("units/units") {

// NIST SP 811, appendix B.8 (from memory), agreeing with UDUNITS-2.
TEST_CASE("lengths, volumes per time and masses convert by the factors of NIST SP 811") {
  CHECK(near(convert(1, "in", "mm"), 25.4, 1e-12));
  CHECK(near(convert(1, "in^3/min", "mm^3/s"), 273.11773, 1e-5));
  CHECK(near(convert(1, "lb", "g"), 453.59237, 1e-10));
  CHECK(near(convert(1, "avoirdupois_ounce", "g"), 28.34952, 1e-5));
  CHECK(near(convert(1, "psi", "Pa"), 6894.757, 1e-3));
}

// NIST SP 811, appendix B.8 and B.9 (from memory).
TEST_CASE("temperatures in degF convert to degC by their offset") {
  CHECK(near(convert(392, "degF", "degC"), 200, 1e-9));
  CHECK(near(convert(464, "degF", "degC"), 240, 1e-9));
  CHECK(near(convert(572, "degF", "degC"), 300, 1e-9));
  CHECK(near(convert(-40, "degF", "degC"), -40, 1e-9));
  CHECK(near(convert(68, "degF", "degC"), 20, 1e-9));
  CHECK(near(convert(20, "degC", "degF"), 68, 1e-9));
}

// NIST SP 811, appendix B.8 (from memory): an interval of 9 degF is one of 5 K.
TEST_CASE("an interval of nine degrees Fahrenheit is one of five kelvin") {
  Units units;
  CHECK(near(9 * units.find("degF")->scale, 5, 1e-12));
  CHECK(units.find("degF")->point);
  CHECK(units.find("degC")->point);
  CHECK_FALSE(units.find("K")->point);
}

// SI prefixes and the definitions of minute and hour (SI Brochure, 9th edition, tables 7 and 8; from memory).
TEST_CASE("SI units convert by their definitions") {
  CHECK(convert(15, "cm/s", "mm/s") == doctest::Approx(150).epsilon(1e-15));
  CHECK(convert(9000, "mm/min", "mm/s") == doctest::Approx(150).epsilon(1e-15));
  CHECK(convert(1.24, "g/cm^3", "kg/m^3") == doctest::Approx(1240).epsilon(1e-14));
  CHECK(convert(2, "h", "s") == doctest::Approx(7200).epsilon(1e-15));
  CHECK(convert(1, "W", "J/s") == doctest::Approx(1).epsilon(1e-15));
  CHECK(convert(1, "Pa", "N/m^2") == doctest::Approx(1).epsilon(1e-15));
  CHECK(convert(1, "kW", "W") == doctest::Approx(1000).epsilon(1e-15));
  CHECK(convert(3, "m/s^2", "mm/s^2") == doctest::Approx(3000).epsilon(1e-15));
  CHECK(convert(180, "degree", "rad") == doctest::Approx(3.14159265358979).epsilon(1e-14));
}

TEST_CASE("the working units are millimetre, gram, second, kelvin and degree") {
  Units units;
  for (std::string_view name : {"mm", "g", "s", "K", "degree", "mm/s", "mm^3/s", "g*mm^-3", "1"}) {
    CAPTURE(name);
    CHECK(units.find(name)->scale == 1);
    CHECK(units.find(name)->offset == 0);
  }
  CHECK(units.find("m")->scale == 1000);
  CHECK(units.find("kg")->scale == 1000);
  CHECK(units.find("%")->scale == 0.01);
  CHECK(units.find("degC")->offset == 0);  // a temperature counts from 0 degC
}

// Read off UDUNITS-2 2.2.28.
TEST_CASE("the spellings that UDUNITS-2 knows are units") {
  Units units;
  for (std::string_view name : {"degC", "\xc2\xb0" "C", "mm/s", "mm/s2", "mm/s^2", "mm3/s", "percent", "%", "g/cm^3", "N", "V", "min", "1/s"}) {
    CHECK_MESSAGE(units.find(name) != nullptr, name);
  }
}

TEST_CASE("one unit spelled in two ways is one unit") {
  CHECK(are_convertible("mm/s2", "mm/s^2"));
  CHECK(are_convertible("\xc2\xb0" "C", "degC"));
  CHECK(are_convertible("percent", "%"));
  CHECK(convert(7, "mm/s2", "mm/s^2") == 7);
}

// What UDUNITS-2 2.2.28 refuses or would read otherwise than a person does.
TEST_CASE("what is no unit, or would be misread as one, is refused") {
  Units units;
  for (std::string_view name : {"", " mm/s", "mm/s ", "mm / s", "deg", "mins", "mm/s.s", "mm/s2.5", "J/g K", "mm//s", "/s", "mm/", "mm^", "mm^x", "(mm)", "mm+3", "2 mm", "mm since 1970", "mm@3", "-"}) {
    CHECK_MESSAGE(units.find(name) == nullptr, "'", name, "'");
  }
}

// NIST SP 330, section 5: one solidus, or brackets; the language has no brackets in units.
TEST_CASE("a unit has one solidus at most") {
  Units units;
  CHECK(units.find("J/g/K") == nullptr);
  CHECK(units.find("mm/s/s") == nullptr);
  REQUIRE(units.find("J*g^-1*K^-1") != nullptr);
  CHECK(units.find("J*g^-1*K^-1")->dimension == units.find("J")->dimension / units.find("g")->dimension / units.find("K")->dimension);
}

// As UDUNITS-2 has it: the offset of a scale goes where the unit is part of another.
TEST_CASE("degC in a product counts as a difference") {
  CHECK(convert(60, "degC/min", "K/s") == doctest::Approx(1).epsilon(1e-15));
  CHECK(convert(2, "W/degC", "W/K") == doctest::Approx(2).epsilon(1e-15));
}

// UDUNITS-2 2.2.28 converts reciprocals, and blurs degree, percent and a plain number.
TEST_CASE("reciprocals, angles, shares and plain numbers are not taken for each other") {
  CHECK_FALSE(are_convertible("s/mm", "mm/s"));
  CHECK_FALSE(are_convertible("degree", "1"));
  CHECK_FALSE(are_convertible("degree", "%"));
  CHECK_FALSE(are_convertible("%", "1"));
  CHECK_FALSE(are_convertible("1", "%"));
  CHECK_FALSE(are_convertible("K", "degC"));
  CHECK_FALSE(are_convertible("degC", "K"));
  CHECK_FALSE(are_convertible("mm", "mm^2"));
}

TEST_CASE("dimensions multiply and divide, and are told in words") {
  Dimension speed = dimension::length() / dimension::time();
  CHECK(speed.words() == "length / time");
  CHECK((speed / dimension::time()).words() == "length / time^2");
  CHECK((speed * dimension::time()) == dimension::length());
  CHECK((speed / speed).none());
  CHECK((speed / speed).words() == "a plain number");
  CHECK((dimension::time() / dimension::time() / dimension::time()).words() == "1 / time");
  CHECK(dimension::length(3).words() == "length^3");
}

TEST_CASE("a unit that is often written otherwise has a cure") {
  CHECK(unit_help("deg") == "write `degree`");
  CHECK(unit_help("C") == "write `degC`");
  CHECK(unit_help("furlong").empty());
}

TEST_CASE("units are found from several threads at once") {
  Units units;
  std::vector<const Unit*> found(8);
  {
    std::vector<std::jthread> pool;
    for (std::size_t i = 0; i < found.size(); ++i) pool.emplace_back([&, i] { for (int n = 0; n < 200; ++n) found[i] = units.find(n % 2 == 0 ? "mm/s" : "mm^3/s"); });
  }
  for (const Unit* unit : found) CHECK(unit == units.find("mm^3/s"));
}

TEST_CASE("a text too long for a unit is none, however often it is asked for") {
  Units units;
  std::string text = "mm";
  for (int i = 0; i < 20'000; ++i) CHECK_FALSE(units.find(text += "-mm"));
  CHECK(units.find("mm"));
}

}
