#include "base/number.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstring>
#include <string>
#include <system_error>

namespace bindery {

std::optional<ReadNumber> read_number(std::string_view text) {
  std::size_t sign = !text.empty() && (text[0] == '+' || text[0] == '-') ? 1 : 0;
  std::string_view digits = text.substr(sign);
  bool starts = !digits.empty() &&
                (std::isdigit(static_cast<unsigned char>(digits[0])) ||
                 (digits[0] == '.' && digits.size() > 1 && std::isdigit(static_cast<unsigned char>(digits[1]))));
  if (!starts) return std::nullopt;  // keeps out `inf`, `nan` and a lone sign
  double value = 0;
  auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), value);
  if (error != std::errc{} || !std::isfinite(value)) return std::nullopt;
  if (text[0] == '-') value = -value;
  return ReadNumber{value, sign + static_cast<std::size_t>(end - digits.data())};
}

namespace {

// Decimal digits of a number: value = 0.d1d2d3... * 10^point.
struct Decimal {
  char digits[24];
  int count = 0;
  int point = 0;
};

Decimal to_decimal(double magnitude) {
  char buffer[40];
  const char* end =
      magnitude < 1e9 ? std::to_chars(buffer, buffer + sizeof buffer, magnitude, std::chars_format::scientific, 14).ptr
                      : std::to_chars(buffer, buffer + sizeof buffer, magnitude, std::chars_format::scientific).ptr;
  Decimal out;
  const char* at = buffer;
  for (; at != end && *at != 'e'; ++at) {
    if (*at != '.') out.digits[out.count++] = *at;
  }
  int exponent = 0;
  if (at != end) std::from_chars(at[1] == '+' ? at + 2 : at + 1, end, exponent);
  out.point = exponent + 1;
  return out;
}

constexpr std::size_t decimals = 6;

// Appends the number, where it is one of six decimals at most but for what a double cannot tell; most are. The rounding
// of all others is a question of their digits.
bool append_plain(std::string& out, double value) {
  double millionths = std::fabs(value) * 1e6, whole = std::round(millionths);
  if (whole == 0 || whole > 1e12 || std::fabs(millionths - whole) > 1e-3) return false;
  char digits[24];
  char* end = std::to_chars(digits, digits + sizeof digits, static_cast<long long>(whole)).ptr;
  auto all = static_cast<std::size_t>(end - digits), point = all > decimals ? all - decimals : 0, count = all;
  while (count > point && digits[count - 1] == '0') --count;
  if (value < 0) out += '-';
  if (point > 0) out.append(digits, point);
  else out += '0';
  if (count > point) {
    out += '.';
    if (point == 0) out.append(decimals - all, '0');
    out.append(digits + point, count - point);
  }
  return true;
}

}  // namespace

void append_number(std::string& out, double value) {
  if (!append_plain(out, value)) out += write_number(value);
}

std::string write_number(double value) {
  if (value == 0) return "0";
  if (std::string plain; append_plain(plain, value)) return plain;
  Decimal number = to_decimal(std::fabs(value));
  // Half away from zero at the sixth decimal, on the decimal digits.
  int keep = number.point + static_cast<int>(decimals);
  if (keep < 0) return "0";
  std::string digits(number.digits, static_cast<std::size_t>(number.count));
  if (keep < number.count) {
    bool up = digits[static_cast<std::size_t>(keep)] >= '5';
    digits.resize(static_cast<std::size_t>(keep));
    if (up) {
      int at = keep - 1;
      while (at >= 0 && digits[static_cast<std::size_t>(at)] == '9') digits[static_cast<std::size_t>(at--)] = '0';
      if (at >= 0) {
        ++digits[static_cast<std::size_t>(at)];
      } else {
        digits.insert(digits.begin(), '1');
        ++number.point;
      }
    }
  }
  std::string whole, fraction;
  for (int at = 0; at < std::max(number.point, static_cast<int>(digits.size())); ++at) {
    char digit = at < static_cast<int>(digits.size()) ? digits[static_cast<std::size_t>(at)] : '0';
    (at < number.point ? whole : fraction).push_back(digit);
  }
  if (number.point < 0) fraction.insert(0, static_cast<std::size_t>(-number.point), '0');
  while (!fraction.empty() && fraction.back() == '0') fraction.pop_back();
  if (whole.empty()) whole = "0";
  if (whole == "0" && fraction.empty()) return "0";
  std::string out = value < 0 ? "-" : "";
  out += whole;
  if (!fraction.empty()) out.append(1, '.').append(fraction);
  return out;
}

bool same_number(double a, double b) {
  if (!std::isfinite(a) || !std::isfinite(b)) return a == b;
  return std::fabs(a - b) <= std::max(1e-12, 1e-9 * std::max(std::fabs(a), std::fabs(b)));
}

bool same_value(double a, double b) { return same_number(a, b) || std::fabs(a - b) <= 5e-7; }

}  // namespace bindery
