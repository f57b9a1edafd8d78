// Units of measure, parsed and converted by UDUNITS-2; dimensions are checked here, because that library
// converts reciprocals and takes degree, percent and a bare number for one and the same.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

namespace bindery {

// Exponents of length, mass, time, temperature, angle, and of current, amount and luminous intensity, in
// twelfths, so that roots stay exact.
struct Dimension {
  static constexpr std::size_t size = 8;
  static constexpr int whole = 12;
  std::array<std::int16_t, size> power{};

  bool none() const { return *this == Dimension{}; }
  Dimension operator*(const Dimension& other) const;
  Dimension operator/(const Dimension& other) const;
  bool operator==(const Dimension&) const = default;
  // In words for messages: "length / time^2", "a plain number".
  std::string words() const;
};

namespace dimension {
Dimension length(int power = 1);
Dimension time(int power = 1);
Dimension temperature();
}  // namespace dimension

// A unit. A value v of it is v * scale + offset in the working units mm, g, s, K and degree, in which
// every formula computes; a temperature with an offset (degC) counts from 0 degC there.
struct Unit {
  std::string text;
  Dimension dimension;
  double scale = 1;
  double offset = 0;
  bool point = false;  // a temperature on a scale with an offset, not a difference
  bool bare() const { return text == "1"; }

  double to_base(double value) const { return value * scale + offset; }
  double from_base(double value) const { return (value - offset) / scale; }
};

// May a value written in `from` stand where `to` is asked for?
bool convertible(const Unit& from, const Unit& to);

// Reads unit names and remembers them. Safe to use from several threads.
class Units {
 public:
  Units();
  ~Units();
  Units(const Units&) = delete;
  Units& operator=(const Units&) = delete;

  // The unit of that name; nullptr where it is none. A unit is names with whole exponents (`mm/s^2`, `mm3`),
  // joined by `*` and at most one `/` (one solidus: NIST SP 330 section 5); it holds no blank.
  const Unit* find(std::string_view text);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

// The cure for a unit that is often written otherwise ("deg": "write `degree`"); empty if none is known.
std::string unit_help(std::string_view text);

}  // namespace bindery
