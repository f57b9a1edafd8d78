#include "report/step_words.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/number.h"
#include "report/markdown.h"

namespace bindery {

namespace {

// A JSON value as the language writes it.
std::string bare(const PlainValue& value) {
  if (value.json == "null") return "unset";
  nlohmann::json json = nlohmann::json::parse(value.json, nullptr, false);
  if (json.is_string()) return code(json.get<std::string>());
  if (!json.is_array()) return value.json;
  std::string out = "[";
  for (const auto& item : json)
    out += (out.size() == 1 ? "" : ", ") + (item.is_string() ? item.get<std::string>() : item.dump());
  return code(out + "]");
}

std::string signed_number(double value) { return (value > 0 ? "+" : "") + write_number(value); }

double rounded(double value, double step) { return std::round(value / step) * step; }

double percent(double before, double after) {
  // Binary noise is taken off first, so that halves go away from zero.
  double value = rounded((after - before) / std::fabs(before) * 100, 1e-6);
  return rounded(value, std::fabs(value) < 10 ? 0.1 : 1);
}

// How far and which way: "+20 %", "-5 K", "+3 points".
std::string size_words(const PlainValue& before, const PlainValue& after, const SettingName& setting) {
  if (!before.number || !after.number || setting.unit != setting.old_unit) return {};
  double difference = *after.number - *before.number;
  if (setting.points) return fmt::format(", {} points", signed_number(difference));
  if (setting.unit == "degC") return fmt::format(", {} K", signed_number(difference));
  if (setting.unit.empty()) return fmt::format(", {}", signed_number(difference));
  if (setting.unit.starts_with("deg") || *before.number == 0)
    return fmt::format(", {} {}", signed_number(difference), setting.unit);
  return fmt::format(", {} %", signed_number(percent(*before.number, *after.number)));
}

// The smallest and the largest of some numbers.
struct Range {
  double least = 0, most = 0;
  bool any = false;

  void add(double value) {
    least = any ? std::min(least, value) : value;
    most = any ? std::max(most, value) : value;
    any = true;
  }
  bool one() const { return same_value(least, most); }
  std::string words() const {
    return one() ? write_number(least) : fmt::format("{} to {}", write_number(least), write_number(most));
  }
};

}  // namespace

std::string value_words(const PlainValue& value, const std::string& unit) {
  bool bare_word = !value.number && !value.json.starts_with('[');
  return unit.empty() || bare_word ? bare(value) : fmt::format("{} {}", bare(value), unit);
}

std::string step_words(const PlainValue& before, const PlainValue& after, const SettingName& setting) {
  if (!before.number || !after.number || setting.unit != setting.old_unit)
    return fmt::format("{} -> {}", value_words(before, setting.old_unit), value_words(after, setting.unit));
  std::string unit = setting.unit.empty() ? "" : " " + setting.unit;
  return fmt::format("{} -> {}{}{}", bare(before), bare(after), unit, size_words(before, after, setting));
}

std::string steps_words(const std::vector<ValueStep>& steps, const SettingName& setting, std::size_t most) {
  Range before, after, difference;
  for (const auto& [old, now] : steps) {
    if (!old->number || !now->number || setting.unit != setting.old_unit)
      return steps.size() > most ? fmt::format("in {} ways", steps.size()) : std::string();
    before.add(*old->number);
    after.add(*now->number);
    difference.add(*now->number - *old->number);
  }
  if (!difference.one() && steps.size() <= most) return {};
  std::string unit = setting.unit.empty() ? "" : " " + setting.unit;
  std::string apart = setting.unit == "degC" ? " K" : setting.points ? " points" : unit;
  std::string size = difference.one() ? fmt::format("{}{} each", signed_number(difference.least), apart)
                                      : fmt::format("{} to {}{}", signed_number(difference.least),
                                                    signed_number(difference.most), apart);
  return fmt::format("{} -> {}{}, {}", before.words(), after.words(), unit, size);
}

}  // namespace bindery
