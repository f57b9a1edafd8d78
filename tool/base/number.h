// Numbers as the language reads and writes them; no locale takes part.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>

namespace bindery {

// Reads a decimal number at the start of `text`: sign, digits, point, exponent.
// Gives the value and the length read; nothing where no finite number stands there.
struct ReadNumber {
  double value;
  std::size_t length;
};
std::optional<ReadNumber> read_number(std::string_view text);

// The value as it is published: at most six decimals, half away from zero, no exponent, no `-0`.
// Below 1e9, where six decimals end within it, binary noise beyond the 15th digit is dropped first, so that
// 0.1 + 0.2 is written 0.3; above, the shortest digits that give the number back are rounded.
std::string write_number(double value);
void append_number(std::string& out, double value);

// Two numbers that formulas call equal: within a relative 1e-9, or both next to nothing.
bool same_number(double a, double b);

// Two values of a setting, in its unit, that are written equal or differ by binary noise alone.
bool same_value(double a, double b);

}  // namespace bindery
