// From the texts of a machine's macros to numbers and formulas.
#include <fmt/format.h>

#include "resolve/tree.h"

namespace bindery {

namespace {

class MacroBinder {
 public:
  MacroBinder(const Dictionary& dictionary, BoundFragment& target, Diagnostics& out)
      : dictionary_(dictionary), target_(target), out_(out) {}

  Macro bind(const RawMacro& raw) {
    Macro out;
    out.name = raw.name.text;
    out.span = raw.name.span;
    out.drop = raw.drop;
    for (const Text& word : raw.takes) out.takes.push_back(word.text);
    for (const Text& word : raw.needs) (word.text == "hot" ? out.needs_hot : out.needs_homed) = true;
    for (const Text& word : raw.homed) out.homed[axis_of(word.text)] = true;
    for (const Text& word : raw.off) {
      if (word.text == "fans") out.fans_off = true;
      else if (word.text == "motors") out.motors_off = true;
      else if (auto heater = heater_named(word.text)) out.heaters_off[static_cast<std::size_t>(*heater)] = true;
    }
    for (const auto& [word, value] : raw.hot) {
      if (auto heater = heater_named(word.text))
        out.hot[static_cast<std::size_t>(*heater)] = number(word, value, "degC");
    }
    for (const auto& [word, value] : raw.positioned) out.positioned[axis_of(word.text)] = number(word, value, "mm");
    if (raw.extruded) out.extruded = number(raw.extruded_name, *raw.extruded, "mm");
    return out;
  }

 private:
  static std::size_t axis_of(std::string_view word) { return word == "y" ? 1 : word == "z" ? 2 : 0; }

  // A value in that unit.
  std::optional<MacroValue> number(const Text& name, const RawValue& raw, std::string_view unit) {
    Setting shape;
    shape.key = name.text;
    shape.unit = dictionary_.units->find(unit);
    if (raw.op != OpKind::calc) {
      auto value = read_literal(shape, raw.scalar, *dictionary_.units, out_);
      if (!value) return std::nullopt;
      return MacroValue{shape.unit->to_base(value->number()), nullptr};
    }
    auto formula = parse_formula(raw.scalar, dictionary_.scope(false), *dictionary_.units, out_);
    if (!formula || !check_formula_type(*formula, shape.formula_type(), fmt::format("'{}'", name.text), out_))
      return std::nullopt;
    return MacroValue{0, &target_.formulas.emplace_back(std::move(*formula))};
  }

  const Dictionary& dictionary_;
  BoundFragment& target_;
  Diagnostics& out_;
};

}  // namespace

void bind_macros(const Tree& tree, BoundFragment& target, Diagnostics& out) {
  MacroBinder binder(tree.dictionary, target, out);
  for (const RawMacro& raw : target.raw->macros) target.macros.push_back(binder.bind(raw));
}

}  // namespace bindery
