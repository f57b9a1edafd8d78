#include "check/scripts.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <unordered_map>
#include <utility>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"
#include "check/finished.h"
#include "gcode/scripts.h"
#include "syntax/document.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

constexpr std::array<Role, heater_count> temperature_roles = {Role::nozzle_temperature, Role::bed_temperature,
                                                              Role::chamber_temperature};

// Makes a controller of a profile's facts, and diagnostics of what it finds.
class ScriptChecker {
 public:
  ScriptChecker(const Tree& tree, const Profile& profile, const Resolver::Axes& axes, Diagnostics& out)
      : tree_(tree), dictionary_(tree.dictionary), profile_(profile), axes_(axes), out_(out), values_(profile) {}

  Hottest check(std::uint64_t* work) {
    gather_macros();
    Controller controller = make_controller();
    ScriptTexts texts;
    for (std::size_t slot = 0; slot < script_slots; ++slot) {
      if (profile_.scripts[slot]) texts[slot] = *profile_.scripts[slot];
    }
    ScriptRun run = run_scripts(controller, texts);
    for (const ScriptFinding& finding : run.findings) tell(finding);
    if (overdone()) tell_overdone();
    if (work != nullptr) *work += this->work();
    return run.hottest;
  }

 private:
  // --- the controller ---
  const Value& value_of(Role role) const {
    static const Value unset;
    KeyId key = dictionary_.role(role);
    return key == no_key ? unset : profile_.cells[key].value;
  }

  // In working units.
  std::optional<double> number_of(Role role) const {
    const Value& value = value_of(role);
    if (!value.is(Value::Tag::number)) return std::nullopt;
    const Unit* unit = dictionary_.settings[dictionary_.role(role)].unit;
    return unit == nullptr ? value.number() : unit->to_base(value.number());
  }

  Extent reach_of(Role least, Role most, Role build) const {
    Extent out = Extent::anything();
    if (auto size = number_of(build)) out = {0, *size};
    if (auto low = number_of(least)) out.low = *low;
    if (auto high = number_of(most)) out.high = *high;
    return out;
  }

  Controller make_controller() {
    Controller out;
    if (value_of(Role::code_form).word() == "rs274") out.grammar = Grammar::rs274;
    out.line_length = number_of(Role::line_length);
    out.reach = {reach_of(Role::reach_x_least, Role::reach_x_most, Role::build_x),
                 reach_of(Role::reach_y_least, Role::reach_y_most, Role::build_y),
                 reach_of(Role::build_z, Role::reach_z_most, Role::build_z)};
    out.reach[2].low = std::isfinite(out.reach[2].high) ? 0 : out.reach[2].low;
    out.radius = number_of(Role::reach_radius);
    out.home = {number_of(Role::home_x), number_of(Role::home_y), number_of(Role::home_z)};
    out.axis_speed = number_of(Role::axis_speed);
    out.z_speed = number_of(Role::z_speed);
    out.extruder_speed = number_of(Role::extruder_speed);
    if (const Value& way = value_of(Role::extrusion); way.is(Value::Tag::word))
      out.relative_extrusion = way.word() == "relative";
    out.least_extrusion = number_of(Role::least_extrusion_temperature);
    for (const Value& axis : value_of(Role::held_axes).items()) {
      std::size_t index = std::string_view("xyz").find(axis.word());
      if (index < axis_count) out.held[index] = true;
    }
    if (auto fan = number_of(Role::hotend_fan)) out.hotend_fan = static_cast<int>(std::clamp(*fan, 0.0, 1e6));
    out.hotend_fan_until = number_of(Role::hotend_fan_until);
    out.joined_modes = value_of(Role::joined_modes).flag();
    if (auto diameter = number_of(Role::filament_diameter)) out.filament_area = M_PI * *diameter * *diameter / 4;
    out.flow_limit = number_of(Role::flow_limit);
    for (std::size_t i = 0; i < heater_count; ++i) out.print_temperature[i] = number_of(temperature_roles[i]);
    for (const MachineCode& code : dictionary_.codes.all())
      out.switches_fans |= code.does == Does::fan || code.does == Does::fan_off;
    out.code = [this](char letter, int tenths) { return find_code(letter, tenths); };
    out.bound = [this](const CodeBound& bound) { return value_of(bound); };
    out.macro = [this](std::string_view name) {
      auto at = macros_.find(name);
      return at == macros_.end() ? nullptr : &at->second;
    };
    out.too_hot = [this](Heater heater, double target) { return too_hot(heater, target); };
    out.overdone = [this] { return overdone(); };
    out.near_macro = [this](std::string_view name) {
      std::vector<std::string_view> names;
      for (const auto& [each, effects] : macros_) names.push_back(each);
      return nearest(name, names);
    };
    return out;
  }

  std::uint64_t work() const { return values_.work + supposed_work_; }
  bool overdone() const { return work() > most::script_work; }

  const MachineCode* find_code(char letter, int tenths) {
    auto [known, fresh] = codes_.try_emplace({letter, tenths}, nullptr);
    if (!fresh) return known->second;
    for (const MachineCode& code : dictionary_.codes.find(letter, tenths)) {
      if (code.where) {
        FormulaResult result = evaluate(*code.where, values_);
        if (result.stop != FormulaStop::none || !result.value.flag()) continue;
      }
      known->second = &code;
      break;
    }
    return known->second;
  }

  std::optional<double> value_of(const CodeBound& bound) {
    if (!bound.formula) return bound.base;
    return computed(*bound.formula);
  }

  // The profile is finished, so a formula has one value.
  std::optional<double> computed(const Formula& formula) {
    auto [known, fresh] = computed_.try_emplace(&formula);
    if (!fresh) return known->second;
    FormulaResult result = evaluate(formula, values_);
    if (result.stop == FormulaStop::none) known->second = result.value.number();
    return known->second;
  }

  // The nearest declaration along the machine's linearisation holds.
  void gather_macros() {
    const auto& linear = tree_[profile_.triple.of[static_cast<std::size_t>(Kind::machine)]].linear;
    std::map<std::string_view, bool> met;
    for (FragmentId each : linear) {
      for (const Macro& macro : tree_[each].macros) {
        if (!met.emplace(macro.name, true).second || macro.drop) continue;
        macros_.emplace(macro.name, effects_of(macro));
      }
    }
  }

  MacroEffects effects_of(const Macro& macro) {
    auto number = [&](const std::optional<MacroValue>& value) -> std::optional<double> {
      if (!value) return std::nullopt;
      return value->formula == nullptr ? std::optional(value->base) : computed(*value->formula);
    };
    MacroEffects out;
    out.takes = macro.takes;
    out.needs_homed = macro.needs_homed;
    out.needs_hot = macro.needs_hot;
    out.homed = macro.homed;
    for (std::size_t i = 0; i < heater_count; ++i) out.hot[i] = number(macro.hot[i]);
    for (std::size_t i = 0; i < axis_count; ++i) out.positioned[i] = number(macro.positioned[i]);
    out.extruded = number(macro.extruded);
    out.heaters_off = macro.heaters_off;
    out.fans_off = macro.fans_off;
    out.motors_off = macro.motors_off;
    return out;
  }

  // What the setting of the heater's role may not be, a script may not ask for: limits, range, and the rules that are
  // errors.
  std::optional<std::string> too_hot(Heater heater, double target) {
    KeyId key = dictionary_.role(temperature_roles[static_cast<std::size_t>(heater)]);
    if (key == no_key) return std::nullopt;
    const Setting& setting = dictionary_.settings[key];
    double value = setting.unit->from_base(target);
    for (const AxisTable* table : axes_) {
      for (std::uint32_t i = table->bound_start[key]; i < table->bound_start[key + 1]; ++i) {
        const Bound& bound = *table->bound_of[i];
        if (bound.side != RawBound::Side::at_most) continue;
        auto base = bound.formula == nullptr ? std::optional(bound.base) : computed(*bound.formula);
        if (!base) continue;
        double limit = setting.unit->from_base(*base);
        if (value > limit && !same_value(value, limit))
          return fmt::format("{} admits at most {}", tree_[bound.fragment].id(), written(setting, limit));
      }
    }
    if (setting.range && value > setting.range->high && !same_value(value, setting.range->high))
      return fmt::format("the range of '{}' ends at {}", setting.key, written(setting, setting.range->high));
    const Value& own = profile_.cells[key].value;
    if (own.is(Value::Tag::number) && value <= own.number()) return std::nullopt;
    Finished supposed(profile_);
    supposed.suppose(key, Value::of_number(value));
    for (const Rule& rule : dictionary_.rules) {
      bool reads = std::find(rule.assertion.keys.begin(), rule.assertion.keys.end(), key) != rule.assertion.keys.end();
      if (rule.severity != Severity::error || !reads) continue;
      supposed.work = 0;
      FormulaResult result = evaluate(rule.assertion, supposed);
      supposed_work_ += supposed.work;
      if (result.stop == FormulaStop::none && !result.value.flag())
        return fmt::format("with '{}' so high the rule '{}' would be broken", setting.key, rule.name);
    }
    return std::nullopt;
  }

  // --- what it found ---
  void tell(const ScriptFinding& finding) {
    auto [span, fragment] = place_of(finding.place);
    Diagnostic& item =
        out_.add(finding.code, finding.warning ? Severity::warning : Severity::error, span, finding.message);
    item.help = finding.help;
    item.profile = profile_id(tree_, profile_.triple);
    item.profiles = 1;
    if (!fragment.empty()) item.message += fmt::format(" (from {})", fragment);
    if (finding.related) item.with_related(place_of(*finding.related).span, finding.related_message);
  }

  void tell_overdone() {
    const BoundFragment& machine = tree_[profile_.triple.of[static_cast<std::size_t>(Kind::machine)]];
    Diagnostic& item = out_.add(Code::too_heavy, machine.raw->span,
                                "to execute its scripts takes more computation than is done for a profile");
    item.help = "write shorter scripts, or shorter formulas for the bounds of codes and in rules";
    item.profile = profile_id(tree_, profile_.triple);
    item.profiles = 1;
  }

  struct Place {
    Span span;
    std::string fragment;
  };

  // The line in the fragment that it comes from.
  Place place_of(const ScriptPlace& place) const {
    const auto& lines = profile_.script_lines[static_cast<std::size_t>(place.slot)];
    if (lines.empty()) return {};
    const ScriptLine& line = lines[std::min(place.line, lines.size() - 1)];
    const Text& source = *line.op->source;
    std::size_t end = std::min(source.text.find('\n', line.offset), source.text.size());
    std::size_t begin = line.offset;
    while (begin < end && source.text[begin] == ' ') ++begin;
    return {place_within((*tree_.sources)[source.span.file], source, begin, end - begin),
            tree_[line.op->fragment].id()};
  }

  const Tree& tree_;
  const Dictionary& dictionary_;
  const Profile& profile_;
  const Resolver::Axes& axes_;
  Diagnostics& out_;
  Finished values_;
  std::uint64_t supposed_work_ = 0;
  std::map<std::string_view, MacroEffects> macros_;
  std::map<std::pair<char, int>, const MachineCode*> codes_;
  std::unordered_map<const Formula*, std::optional<double>> computed_;
};

}  // namespace

Hottest check_scripts(const Tree& tree, const Profile& profile, const Resolver::Axes& axes, Diagnostics& out,
                      std::uint64_t* work) {
  bool any =
      std::any_of(profile.scripts.begin(), profile.scripts.end(), [](const auto& text) { return text.has_value(); });
  if (!any || !profile.whole || tree.dictionary.codes.empty()) return {};
  return ScriptChecker(tree, profile, axes, out).check(work);
}

}  // namespace bindery
