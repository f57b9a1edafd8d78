// Literals: text to values of a setting.
#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"
#include "schema/dictionary.h"
#include "syntax/limits.h"

namespace bindery {

// What a value is for, told only in a message: "'wall.outer.speed'", "what is added to 'wall.outer.speed'", "a ratio".
struct What {
  std::string_view lead, key;
};

}  // namespace bindery

template <>
struct fmt::formatter<bindery::What> : fmt::formatter<std::string_view> {
  template <typename Context>
  auto format(const bindery::What& what, Context& context) const {
    if (what.key.empty()) return fmt::format_to(context.out(), "{}", what.lead);
    return fmt::format_to(context.out(), "{}{}'{}'", what.lead, what.lead.empty() ? "" : " ", what.key);
  }
};

namespace bindery {
namespace {

// A number and the unit behind it, empty for a bare one. Reports what is neither.
struct Quantity {
  double number;
  std::string_view unit;
  std::size_t unit_at;
};

std::optional<Quantity> read_quantity(const Text& text, const What& what, Diagnostics& out) {
  auto number = read_number(text.text);
  auto refuse = [&](Code code, std::string message, std::string help) -> std::optional<Quantity> {
    out.add(code, text.span, std::move(message)).with_help(std::move(help));
    return std::nullopt;
  };
  if (!number) {
    std::string_view word = text.text;
    std::string lower(word.substr(0, 12));
    std::transform(lower.begin(), lower.end(), lower.begin(),
                   [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    bool endless = lower.find("nan") != std::string::npos || lower.find("inf") != std::string::npos ||
                   (!word.empty() && std::isdigit(static_cast<unsigned char>(word[0])));
    if (endless)
      return refuse(Code::number_invalid, fmt::format("'{}' is no finite number", word),
                    "write a number of ordinary size");
    return refuse(Code::value_malformed, fmt::format("{} is a number, not '{}'", what, word),
                  "write a number, with its unit if it has one; a formula stands in `{ calc: ... }`");
  }
  std::size_t at = number->length;
  std::string_view rest = text.text.substr(at);
  if (!rest.empty() &&
      (rest[0] == ',' || rest[0] == '_' || ((rest[0] == 'x' || rest[0] == 'X') && number->value == 0))) {
    return refuse(Code::number_invalid, fmt::format("'{}' is no number", text.text),
                  rest[0] == ',' ? "write a point for decimals, as in `0.2 mm`" : "write decimal digits");
  }
  while (at < text.text.size() && text.text[at] == ' ') ++at;
  return Quantity{number->value, text.text.substr(at), at};
}

// The unit behind a number; reports an unknown one.
const Unit* find_unit(const Text& text, const Quantity& quantity, Units& units, Diagnostics& out) {
  const Unit* unit = quantity.unit == "1" ? nullptr : units.find(quantity.unit);
  if (unit == nullptr) {
    std::string help = unit_help(quantity.unit);
    out.add(Code::unit_unknown, text.part(quantity.unit_at, quantity.unit.size()),
            fmt::format("unknown unit '{}'", quantity.unit))
        .with_help(help.empty() ? "write a unit that UDUNITS-2 knows, such as `mm`, `mm/s` or `degC`" : help);
  }
  return unit;
}

std::string dimension_words(const Unit& unit) {
  if (unit.point) return "a temperature";
  return unit.dimension.none() && !unit.bare() ? "a share" : unit.dimension.words();
}

}  // namespace

namespace {

// Converts a written quantity into `wanted`; reports a missing unit and a wrong dimension.
std::optional<double> read_in_unit(const What& what, const Unit& wanted, const Text& text, Units& units,
                                   Diagnostics& out) {
  auto quantity = read_quantity(text, what, out);
  if (!quantity) return std::nullopt;
  if (quantity->unit.empty()) {
    if (wanted.bare()) return quantity->number;
    out.add(Code::unit_missing, text.span, fmt::format("{} needs a unit: '{}' has none", what, text.text))
        .with_help(fmt::format("write `{} {}` if it is meant so", text.text, wanted.text));
    return std::nullopt;
  }
  if (wanted.bare()) {
    out.add(Code::dimension_mismatch, text.part(quantity->unit_at, quantity->unit.size()),
            fmt::format("{} is a bare number and takes no unit", what))
        .with_help("write the number alone");
    return std::nullopt;
  }
  const Unit* unit = find_unit(text, *quantity, units, out);
  if (unit == nullptr) return std::nullopt;
  if (!convertible(*unit, wanted)) {
    std::string help = fmt::format("write it in {}", wanted.text);
    if (wanted.point && unit->dimension == wanted.dimension) help = "K is for differences of temperature; write degC";
    if (!wanted.point && unit->point && unit->dimension == wanted.dimension)
      help = "a difference of temperature is in K";
    if (wanted.point && (unit->text == "C" || unit->text == "F"))
      help = fmt::format("write `deg{}`; `{}` alone is another unit", unit->text, unit->text);
    out.add(Code::dimension_mismatch, text.part(quantity->unit_at, quantity->unit.size()),
            fmt::format("{} is {} ({}), and '{}' is {}", what, dimension_words(wanted), wanted.text, unit->text,
                        dimension_words(*unit)))
        .with_help(help);
    return std::nullopt;
  }
  // The factor between the units is taken first: 15 cm/s is then 150 mm/s to the last digit.
  double value = unit == &wanted ? quantity->number
                 : unit->point   ? wanted.from_base(unit->to_base(quantity->number))
                                 : quantity->number * (unit->scale / wanted.scale);
  if (!std::isfinite(value)) {
    out.add(Code::number_invalid, text.span, fmt::format("'{}' is no finite number in {}", text.text, wanted.text))
        .with_help("write a number of ordinary size");
    return std::nullopt;
  }
  return value;
}

std::optional<double> read_count(const What& what, const Text& text, Diagnostics& out) {
  auto quantity = read_quantity(text, what, out);
  if (!quantity) return std::nullopt;
  if (!quantity->unit.empty()) {
    out.add(Code::dimension_mismatch, text.part(quantity->unit_at, quantity->unit.size()),
            fmt::format("{} is a count and takes no unit", what))
        .with_help("write the number alone");
    return std::nullopt;
  }
  if (text.quoted) {
    out.add(Code::value_malformed, text.span, fmt::format("{} is a count, and this is a text in quotes", what))
        .with_help("write the number without quotes");
    return std::nullopt;
  }
  if (quantity->number != std::floor(quantity->number)) {
    out.add(Code::count_fraction, text.span,
            fmt::format("{} counts whole things, and {} is no whole number", what, text.text))
        .with_help("write a whole number");
    return std::nullopt;
  }
  return quantity->number;
}

}  // namespace

std::optional<Value> read_literal(const Setting& setting, const Text& text, Units& units, Diagnostics& out) {
  What what{{}, setting.key};
  switch (setting.type) {
    case Type::quantity: {
      auto number = read_in_unit(what, *setting.unit, text, units, out);
      return number ? std::optional(Value::of_number(*number)) : std::nullopt;
    }
    case Type::count: {
      auto number = read_count(what, text, out);
      return number ? std::optional(Value::of_number(*number)) : std::nullopt;
    }
    case Type::flag:
      if (!text.quoted && (text.text == "true" || text.text == "false")) return Value::of_flag(text.text == "true");
      out.add(Code::value_malformed, text.span, fmt::format("{} is true or false, not '{}'", what, text.text))
          .with_help("write `true` or `false` without quotes");
      return std::nullopt;
    case Type::choice: {
      auto at = std::find(setting.choices.begin(), setting.choices.end(), text.text);
      if (at != setting.choices.end()) return Value::of_word(*at);
      std::string near = nearest(text.text, setting.choices);
      std::vector<std::string> names(setting.choices.begin(), setting.choices.end());
      out.add(Code::choice_unknown, text.span,
              fmt::format("{} is {}, not '{}'", what, join_words(names, "or"), text.text))
          .with_help(near.empty() ? "write one of these words" : fmt::format("did you mean '{}'", near));
      return std::nullopt;
    }
    case Type::text:
      if (text.text.size() <= most::text_letters) return Value::of_word(text.text);
      out.add(Code::too_many, text.span, fmt::format("there are more than {} letters of a text", most::text_letters))
          .with_help("write a shorter one");
      return std::nullopt;
  }
  return std::nullopt;
}

std::optional<double> read_difference(const Setting& setting, const Text& text, Units& units, Diagnostics& out) {
  What what{"what is added to", setting.key};
  if (setting.type == Type::count) return read_count(what, text, out);
  if (!setting.unit->point) return read_in_unit(what, *setting.unit, text, units, out);
  auto kelvin = read_in_unit(what, *units.find("K"), text, units, out);
  return kelvin ? std::optional(*kelvin / setting.unit->scale) : std::nullopt;
}

std::optional<double> read_ratio(const Text& text, Units& units, Diagnostics& out) {
  auto quantity = read_quantity(text, {"a ratio", {}}, out);
  if (!quantity) return std::nullopt;
  if (quantity->unit.empty()) return quantity->number;
  const Unit* unit = find_unit(text, *quantity, units, out);
  if (unit == nullptr) return std::nullopt;
  if (!unit->dimension.none() || unit->point) {
    out.add(Code::dimension_mismatch, text.part(quantity->unit_at, quantity->unit.size()),
            fmt::format("a ratio has no unit but `%`, and '{}' is {}", unit->text, dimension_words(*unit)))
        .with_help("write `1.1` or `110 %`; to add a quantity use `add`");
    return std::nullopt;
  }
  return quantity->number * unit->scale;
}

std::string written(const Setting& setting, double number) {
  std::string_view unit = setting.unit_text();
  return unit.empty() ? write_number(number) : fmt::format("{} {}", write_number(number), unit);
}

std::string written(const Setting& setting, const Value& value) {
  switch (value.tag()) {
    case Value::Tag::number: return written(setting, value.number());
    case Value::Tag::flag: return value.flag() ? "true" : "false";
    case Value::Tag::word: return std::string(value.word());
    case Value::Tag::list: {
      std::string out = "[";
      for (const Value& item : value.items()) out += (out.size() > 1 ? ", " : "") + written(setting, item);
      return out + "]";
    }
    case Value::Tag::poison: return "no value (an error reaches it)";
    default: return "unset";
  }
}

}  // namespace bindery
