#include "units/units.h"

#include <cmath>
#include <cstdlib>
#include <map>
#include <mutex>

#include <fmt/format.h>
#include <udunits2.h>

#include "base/failure.h"

namespace bindery {

namespace {

enum : std::size_t {
  length_axis,
  mass_axis,
  time_axis,
  temperature_axis,
  angle_axis,
  current_axis,
  amount_axis,
  light_axis
};
constexpr std::array<std::string_view, Dimension::size> axis_names = {
    "length", "mass", "time", "temperature difference", "angle", "current", "amount", "light"};

std::size_t axis_of(const char* basic) {
  static const std::map<std::string_view, std::size_t> axes = {
      {"meter", length_axis}, {"kilogram", mass_axis},  {"second", time_axis}, {"kelvin", temperature_axis},
      {"radian", angle_axis}, {"ampere", current_axis}, {"mole", amount_axis}, {"candela", light_axis}};
  auto at = axes.find(basic == nullptr ? "" : basic);
  return at == axes.end() ? Dimension::size : at->second;
}

struct Visit {
  Dimension dimension;
  bool known = true;
  bool offset = false;
};

void note_basic(Visit& visit, const ut_unit* basic, int power) {
  std::size_t axis = axis_of(ut_get_name(basic, UT_ASCII));
  if (axis == Dimension::size || std::abs(power) > 24) visit.known = false;
  else visit.dimension.power[axis] = static_cast<std::int16_t>(visit.dimension.power[axis] + power * Dimension::whole);
}

const ut_visitor visitor = {[](const ut_unit* basic, void* arg) {
                              note_basic(*static_cast<Visit*>(arg), basic, 1);
                              return UT_SUCCESS;
                            },
                            [](const ut_unit*, int count, const ut_unit* const* basics, const int* powers, void* arg) {
                              for (int i = 0; i < count; ++i)
                                note_basic(*static_cast<Visit*>(arg), basics[i], powers[i]);
                              return UT_SUCCESS;
                            },
                            [](const ut_unit*, double, const ut_unit* underlying, double offset, void* arg) {
                              static_cast<Visit*>(arg)->offset |= offset != 0;
                              return ut_accept_visitor(underlying, &visitor, arg);
                            },
                            [](const ut_unit*, const ut_unit*, double, void* arg) {
                              static_cast<Visit*>(arg)->known = false;
                              return UT_SUCCESS;
                            },
                            [](const ut_unit*, double, const ut_unit*, void* arg) {
                              static_cast<Visit*>(arg)->known = false;
                              return UT_SUCCESS;
                            }};

// A power of ten or a short decimal whose binary form a chain of multiplications has blurred.
double snap(double value) {
  double tidy = std::strtod(fmt::format("{:.13g}", value).c_str(), nullptr);
  return std::fabs(tidy - value) <= 4e-15 * std::fabs(value) ? tidy : value;
}

bool is_letter(unsigned char c) { return std::isalpha(c) || c >= 0x80 || c == '%' || c == '_'; }

// Keeps out what UDUNITS-2 would read otherwise than a person does: blanks, points, offsets, brackets.
bool well_formed(std::string_view text) {
  if (text.size() > 40) return false;
  std::size_t at = 0;
  int slashes = 0;
  auto factor = [&] {
    if (at < text.size() && text[at] == '1' && at == 0 && text.size() > 1 && text[1] == '/') return ++at, true;
    std::size_t start = at;
    while (at < text.size() && is_letter(static_cast<unsigned char>(text[at]))) ++at;
    if (at == start) return false;
    bool caret = at < text.size() && text[at] == '^';
    if (caret) ++at;
    if (at < text.size() && text[at] == '-') ++at;
    std::size_t digits = at;
    while (at < text.size() && std::isdigit(static_cast<unsigned char>(text[at])) && at - digits < 2) ++at;
    return at > digits || (!caret && text[at - 1] != '-');
  };
  if (!factor()) return false;
  while (at < text.size()) {
    if (text[at] == '/') ++slashes;
    else if (text[at] != '*') return false;
    ++at;
    if (slashes > 1 || !factor()) return false;
  }
  return true;
}

}  // namespace

struct Units::State {
  std::mutex guard;
  ut_system* system = nullptr;
  ut_unit* celsius = nullptr;
  std::map<std::string, std::unique_ptr<Unit>, std::less<>> known;
};

Units::Units() : state_(std::make_unique<State>()) {
  auto one = std::make_unique<Unit>();
  one->text = "1";
  state_->known.emplace("1", std::move(one));
}

Units::~Units() {
  if (state_->celsius != nullptr) ut_free(state_->celsius);
  if (state_->system != nullptr) ut_free_system(state_->system);
}

const Unit* Units::find(std::string_view text) {
  if (text != "1" && !well_formed(text)) return nullptr;
  std::lock_guard lock(state_->guard);
  if (auto at = state_->known.find(text); at != state_->known.end()) return at->second.get();
  auto remember = [&](std::unique_ptr<Unit> unit) {
    return state_->known.emplace(std::string(text), std::move(unit)).first->second.get();
  };
  if (state_->system == nullptr) {
    ut_set_error_message_handler(ut_ignore);
    state_->system = ut_read_xml(nullptr);
    if (state_->system == nullptr)
      throw SystemError("the unit database of UDUNITS-2 cannot be read", "install the package libudunits2-data");
    state_->celsius = ut_parse(state_->system, "degC", UT_UTF8);
  }
  std::string name(text);
  ut_unit* parsed = ut_parse(state_->system, name.c_str(), UT_UTF8);
  if (parsed == nullptr) return remember(nullptr);
  Visit visit;
  ut_accept_visitor(parsed, &visitor, &visit);
  auto unit = std::make_unique<Unit>();
  unit->text = name;
  unit->dimension = visit.dimension;
  unit->point = visit.offset;
  Dimension kelvin = dimension::temperature();
  if (!visit.known || (visit.offset && visit.dimension != kelvin)) {
    ut_free(parsed);
    return remember(nullptr);
  }
  if (unit->point) {
    cv_converter* converter = ut_get_converter(parsed, state_->celsius);
    unit->offset = snap(cv_convert_double(converter, 0));
    if (std::fabs(unit->offset) < 1e-9) unit->offset = 0;
    unit->scale = snap(cv_convert_double(converter, 1) - cv_convert_double(converter, 0));
    cv_free(converter);
  } else {
    // The factor to SI units, then to mm, g and degree.
    ut_unit* si = ut_get_dimensionless_unit_one(state_->system);
    for (std::size_t axis = 0; axis < Dimension::size; ++axis) {
      constexpr const char* basics[] = {"m", "kg", "s", "K", "rad", "A", "mol", "cd"};
      int power = visit.dimension.power[axis] / Dimension::whole;
      if (power == 0) continue;
      ut_unit* basic = ut_parse(state_->system, basics[axis], UT_UTF8);
      ut_unit* raised = ut_raise(basic, power);
      ut_unit* product = ut_multiply(si, raised);
      ut_free(basic);
      ut_free(raised);
      ut_free(si);
      si = product;
    }
    cv_converter* converter = ut_get_converter(parsed, si);
    unit->scale = converter == nullptr ? 0 : cv_convert_double(converter, 1);
    if (converter != nullptr) cv_free(converter);
    ut_free(si);
    auto raise = [&](double base, std::size_t axis) {
      return std::pow(base, visit.dimension.power[axis] / Dimension::whole);
    };
    unit->scale = snap(unit->scale * raise(1e3, length_axis) * raise(1e3, mass_axis) * raise(180 / M_PI, angle_axis));
  }
  ut_free(parsed);
  if (!std::isfinite(unit->scale) || unit->scale == 0) return remember(nullptr);
  return remember(std::move(unit));
}

bool convertible(const Unit& from, const Unit& to) {
  return from.dimension == to.dimension && from.point == to.point && from.bare() == to.bare();
}

Dimension Dimension::operator*(const Dimension& other) const {
  Dimension out;
  for (std::size_t i = 0; i < size; ++i) out.power[i] = static_cast<std::int16_t>(power[i] + other.power[i]);
  return out;
}

Dimension Dimension::operator/(const Dimension& other) const {
  Dimension out;
  for (std::size_t i = 0; i < size; ++i) out.power[i] = static_cast<std::int16_t>(power[i] - other.power[i]);
  return out;
}

std::string Dimension::words() const {
  if (none()) return "a plain number";
  std::string above, below;
  for (std::size_t i = 0; i < size; ++i) {
    if (power[i] == 0) continue;
    std::string& side = power[i] > 0 ? above : below;
    if (!side.empty()) side += " ";
    side += axis_names[i];
    int magnitude = std::abs(power[i]);
    if (magnitude == whole) continue;
    side += magnitude % whole == 0 ? fmt::format("^{}", magnitude / whole)
                                   : fmt::format("^{:g}", double(magnitude) / whole);
  }
  if (above.empty()) above = "1";
  return below.empty() ? above : fmt::format("{} / {}", above, below);
}

namespace dimension {

namespace {
Dimension of(std::size_t axis, int power) {
  Dimension out;
  out.power[axis] = static_cast<std::int16_t>(power * Dimension::whole);
  return out;
}
}  // namespace

Dimension length(int power) { return of(length_axis, power); }
Dimension time(int power) { return of(time_axis, power); }
Dimension temperature() { return of(temperature_axis, 1); }

}  // namespace dimension

std::string unit_help(std::string_view text) {
  static const std::map<std::string_view, std::string_view> cures = {
      {"deg", "degree"},   {"degrees", "degree"}, {"C", "degC"},     {"c", "degC"},        {"celsius", "degC"},
      {"Celsius", "degC"}, {"F", "degF"},         {"sec", "s"},      {"secs", "s"},        {"mins", "min"},
      {"mm/sec", "mm/s"},  {"mms", "mm/s"},       {"pct", "%"},      {"mm/s/s", "mm/s^2"}, {"mm/s.s", "mm/s^2"},
      {"hrs", "h"},        {"cc/s", "cm^3/s"},    {"mm3s", "mm^3/s"}};
  auto at = cures.find(text);
  if (at != cures.end()) return fmt::format("write `{}`", at->second);
  if (text.find('/') != text.rfind('/'))
    return "write one `/` alone and negative powers for the rest, as in `mm/s^2` or `J*g^-1*K^-1`";
  if (text.find('.') != std::string_view::npos) return "join units with `*` and `/`, as in `g/cm^3`";
  if (text.find(' ') != std::string_view::npos) return "a unit holds no blank, as in `g/cm^3`";
  return {};
}

}  // namespace bindery
