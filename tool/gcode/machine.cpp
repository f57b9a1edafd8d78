#include "gcode/machine.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"

namespace bindery {

namespace {

constexpr std::array<std::size_t, 3> most_findings = {100, 20, 20};  // errors, warnings, refused codes
constexpr std::size_t extruder_motor = axis_count;

std::string degrees(double value) { return fmt::format("{} degC", write_number(value)); }

// The order in which rs274 executes what one line holds (NISTIR 6556, table 8, as far as it is followed).
int rank_of(Does does) {
  switch (does) {
    case Does::dwell: return 1;
    case Does::plane_xy:
    case Does::plane_xz:
    case Does::plane_yz: return 2;
    case Does::millimetres:
    case Does::inches: return 3;
    case Does::absolute:
    case Does::relative: return 4;
    case Does::home:
    case Does::set_position: return 5;
    case Does::move:
    case Does::arc_clockwise:
    case Does::arc_counterclockwise: return 6;
    case Does::pause:
    case Does::stop: return 7;
    default: return 0;
  }
}

bool is_motion(Does does) {
  return does == Does::move || does == Does::arc_clockwise || does == Does::arc_counterclockwise;
}

bool takes_axes(Does does) { return is_motion(does) || does == Does::home || does == Does::set_position; }

}  // namespace

std::string words_of(ScriptPlace place) {
  return fmt::format("line {} of the {} script", place.line + 1, name_of(place.slot));
}

const BlockWord* WordList::find(char letter) const {
  auto at = std::find_if(words_.begin(), words_.end(), [&](const BlockWord& word) { return word.letter == letter; });
  return at == words_.end() ? nullptr : &*at;
}

bool WordList::any(std::string_view letters) const {
  return std::any_of(words_.begin(), words_.end(),
                     [&](const BlockWord& word) { return letters.find(word.letter) != std::string_view::npos; });
}

Machine::Machine(const Controller& controller) : controller_(controller) {
  for (HeaterState& heater : state.heaters) heater.actual = Extent::point(0);
}

ScriptFinding* Machine::report(Code code, ScriptPlace place, std::string message, std::string help) {
  std::size_t sort = code == Code::script_refused ? 2 : describe(code).severity == Severity::warning ? 1 : 0;
  if (told_of_[sort] >= most_findings[sort] || !told_.emplace(code, place).second) return nullptr;
  ++told_of_[sort];
  ScriptFinding& finding = findings_.emplace_back();
  finding.code = code;
  finding.place = place;
  finding.message = std::move(message);
  finding.help = std::move(help);
  finding.warning = describe(code).severity == Severity::warning;
  return &finding;
}

bool Machine::gave_up() const {
  return told_of_[0] >= most_findings[0] || (controller_.overdone && controller_.overdone());
}

void Machine::run(ScriptSlot slot, std::string_view text) {
  stopped_ = fan_told_ = mode_told_ = feed_told_ = false;  // once a script
  unhomed_told_.clear();
  unawaited_told_.fill(false);
  std::size_t number = 0;
  for (std::size_t at = 0; at < text.size() && !gave_up(); ++number) {
    std::size_t end = std::min(text.find('\n', at), text.size());
    run_line({slot, number}, text.substr(at, end - at));
    at = end + 1;
  }
  let_cool();
}

void Machine::run_line(ScriptPlace place, std::string_view line) {
  place_ = place;
  arc_.reset();
  auto characters = static_cast<double>(
      std::count_if(line.begin(), line.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xc0) != 0x80; }));
  if (controller_.line_length && characters > *controller_.line_length) {
    report(Code::script_syntax, place_,
           fmt::format("{} has {} characters, and the controller reads {}", words_of(place_), write_number(characters),
                       write_number(*controller_.line_length)),
           "make it shorter");
  }
  auto takes_text = [&](char letter, int tenths) {
    const MachineCode* entry = controller_.code(letter, tenths);
    return entry != nullptr && entry->text;
  };
  ReadLine read =
      controller_.grammar == Grammar::rs274 ? read_rs274(line, state.parameters) : read_printer(line, takes_text);
  if (read.fault) {
    report(Code::script_syntax, place_, fmt::format("{}: {}", words_of(place_), read.fault->message), read.fault->help);
    return;
  }
  if (!stopped_) return execute(read.block);
  // Firmware that does not know the stop goes on: what follows is held against the list, and changes nothing.
  // Parameters are read with the line and stored last; they may be thousands, and are not copied.
  Parameters parameters = std::exchange(state.parameters, {});
  MachineState kept = state;
  execute(read.block);
  state = std::move(kept);
  state.parameters = std::move(parameters);
}

void Machine::execute(const Block& block) {
  if (!block.macro.empty()) {
    run_macro(block);
  } else if (controller_.grammar == Grammar::rs274) {
    run_rs274(block);
  } else if (!block.words.empty()) {
    const MachineCode* entry = admit(block.words.front());
    std::vector<BlockWord> words(block.words.begin() + 1, block.words.end());
    if (entry == nullptr) return;
    check_words(*entry, words);
    run_code(*entry, words);
  }
  for (const auto& [number, value] : block.stores) state.parameters[number] = value;
}

// The entry of a code on this machine; reports one that is not in the list, and one that is refused.
const MachineCode* Machine::admit(const BlockWord& code) {
  auto tenths = code_tenths(code.value.number);
  const MachineCode* entry = tenths ? controller_.code(code.letter, *tenths) : nullptr;
  if (entry == nullptr) {
    report(Code::script_unlisted, place_,
           fmt::format("{} holds {}{}, which the dictionary does not list for this machine", words_of(place_),
                       code.letter, write_number(code.value.number)),
           "use a code of the list, or add it to `codes:` with the reason");
    return nullptr;
  }
  if (entry->trust == Trust::refused)
    report(Code::script_refused, place_,
           fmt::format("{} holds {} ({}), which is refused: {}", words_of(place_), entry->name, entry->title,
                       entry->reason),
           "take it out");
  return entry;
}

void Machine::check_words(const MachineCode& entry, const std::vector<BlockWord>& words) {
  for (const BlockWord& word : words) {
    const CodeWord* rule = entry.word(word.letter);
    if (rule == nullptr) {
      report(Code::script_unlisted, place_,
             fmt::format("{} gives {} the word {}, which the dictionary does not list", words_of(place_), entry.name,
                         word.letter),
             "take the word out, or add it to the code's `words:`");
      continue;
    }
    check_word(entry, *rule, word);
  }
}

void Machine::check_word(const MachineCode& entry, const CodeWord& rule, const BlockWord& word) {
  if (rule.refused)
    report(Code::script_refused, place_,
           fmt::format("{} gives {} the word {}, which is refused: {}", words_of(place_), entry.name, word.letter,
                       rule.reason),
           "take the word out");
  auto binds = [&](const std::optional<CodeBound>& bound) { return bound && controller_.bound(*bound); };
  if (word.value.of == WordValue::Of::job && (binds(rule.least) || binds(rule.most))) {
    report(Code::script_value, place_,
           fmt::format("{} gives {} a {} that only the running job knows, and it is bounded", words_of(place_),
                       entry.name, word.letter),
           "write a number");
  }
  if (!word.value.known()) return;
  double value = rule.unit == nullptr ? word.value.number : rule.unit->to_base(word.value.number);
  auto breaks = [&](const std::optional<CodeBound>& bound, bool upper) {
    if (!bound) return;
    auto limit = controller_.bound(*bound);
    if (!limit || same_value(value, *limit) || (upper ? value < *limit : value > *limit)) return;
    double told = rule.unit == nullptr ? *limit : rule.unit->from_base(*limit);
    report(Code::script_value, place_,
           fmt::format("{} gives {} {}{}, and at {} {} is admitted here", words_of(place_), entry.name, word.letter,
                       write_number(word.value.number), upper ? "most" : "least", write_number(told)),
           upper ? "write a lower number" : "write a higher number");
  };
  breaks(rule.most, true);
  breaks(rule.least, false);
}

// All codes of a line in their order; axis words without a code do what the last motion did.
void Machine::run_rs274(const Block& block) {
  std::vector<BlockWord> words;
  std::vector<const MachineCode*> codes;
  for (const BlockWord& word : block.words) {
    bool code = word.letter == 'G' || word.letter == 'M' || word.letter == 'T';
    if (code && !word.value.known()) {
      report(Code::script_syntax, place_, fmt::format("{} holds a code without a number", words_of(place_)),
             "write the number of the code");
      return;
    }
    if (!code) {
      words.push_back(word);
    } else if (const MachineCode* entry = admit(word)) {
      codes.push_back(entry);
    } else {
      return;
    }
  }
  bool axes = WordList(words).any("XYZABC");
  auto takers =
      std::count_if(codes.begin(), codes.end(), [](const MachineCode* each) { return takes_axes(each->does); });
  if (axes && takers > 1) {  // NISTIR 6556, 3.4
    report(Code::script_syntax, place_,
           fmt::format("{} has axis words, and two codes that take them", words_of(place_)),
           "put each code on a line of its own");
    return;
  }
  if (axes && takers == 0) {
    if (state.motion == nullptr) {
      report(Code::script_syntax, place_, fmt::format("{} moves axes, and no motion is in force", words_of(place_)),
             "write G0 or G1 before them");
      return;
    }
    codes.push_back(state.motion);
  }
  for (const BlockWord& word : words) {
    bool known = codes.empty() && (word.letter == 'F' || word.letter == 'S');
    for (const MachineCode* each : codes) {
      const CodeWord* rule = each->word(word.letter);
      if (rule != nullptr) check_word(*each, *rule, word);
      known |= rule != nullptr;
    }
    if (!known)
      report(Code::script_unlisted, place_,
             fmt::format("{} holds the word {}, which none of its codes takes", words_of(place_), word.letter),
             "take the word out");
    if (word.letter == 'F') take_feed(word);
  }
  std::stable_sort(codes.begin(), codes.end(),
                   [](const MachineCode* a, const MachineCode* b) { return rank_of(a->does) < rank_of(b->does); });
  for (const MachineCode* each : codes) run_code(*each, words);
}

void Machine::run_code(const MachineCode& entry, const std::vector<BlockWord>& all) {
  WordList words(all);
  bool rs274 = controller_.grammar == Grammar::rs274;
  bool bare = !words.any(rs274 ? "XYZABC" : "XYZE");
  if ((rs274 && is_motion(entry.does) && bare) || (entry.does == Does::set_position && bare)) {
    report(Code::script_syntax, place_, fmt::format("{} gives {} no axis", words_of(place_), entry.name),
           "name the axes, or take the code out");
    return;
  }
  switch (entry.does) {
    case Does::move:
    case Does::arc_clockwise:
    case Does::arc_counterclockwise: state.motion = &entry; return move(words, entry.does);
    case Does::home: return home(words);
    case Does::set_position: return set_position(words);
    case Does::absolute: return set_distance(false);
    case Does::relative: return set_distance(true);
    case Does::extruder_absolute: return set_extrusion(false);
    case Does::extruder_relative: return set_extrusion(true);
    case Does::millimetres:
    case Does::inches:
      state.inches = entry.does == Does::inches;
      state.units_at = place_;
      return;
    case Does::plane_xy: state.plane = Plane::xy; return;
    case Does::plane_xz: state.plane = Plane::xz; return;
    case Does::plane_yz: state.plane = Plane::yz; return;
    case Does::heat: return heat(entry, words, false);
    case Does::heat_and_wait: return heat(entry, words, true);
    case Does::dwell:
    case Does::pause: return let_cool();
    case Does::stop: stopped_ = true; return;
    case Does::fan: return fan(words, false);
    case Does::fan_off: return fan(words, true);
    case Does::motors_on:
      state.motors.fill(true);
      state.motors_at = place_;
      return;
    case Does::motors_off: return motors_off(words);
    case Does::retract:
    case Does::unretract: return extrude();
    case Does::level:
      need_homed("probes the bed");
      let_cool();
      return lose_position();
    default: return;
  }
}

void Machine::home(const WordList& words) {
  bool all = !words.any("XYZ");
  for (std::size_t axis = 0; axis < axis_count; ++axis) {
    if (!all && words.find(axis_letters[axis]) == nullptr) continue;
    state.homed[axis] = true;
    state.offset[axis] = 0;
    state.at[axis] = controller_.home[axis] ? Extent::point(*controller_.home[axis]) : controller_.reach[axis];
    state.motors[axis] = true;
  }
  state.motors_at = place_;
  let_cool();
}

// NISTIR 6556, 3.5.18: the point where the machine stands gets these numbers, whatever offsets were in force.
void Machine::set_position(const WordList& words) {
  for (std::size_t axis = 0; axis < axis_count; ++axis) {
    const BlockWord* word = words.find(axis_letters[axis]);
    if (word == nullptr) continue;
    auto value = length(*word);
    state.offset[axis] = value && state.at[axis].is_point() ? std::optional(state.at[axis].low - *value) : std::nullopt;
  }
  if (const BlockWord* word = words.find(extruder_letter())) state.extruder = length(*word);
}

void Machine::set_distance(bool relative) {
  state.relative = relative;
  state.distance_at = place_;
  if (controller_.joined_modes) set_extrusion(relative);
}

void Machine::set_extrusion(bool relative) {
  state.relative_extrusion = relative;
  state.extrusion_at = place_;
  if (relative) state.extruder.reset();
}

// S waits only while heating, R both ways; where both stand, firmware takes either.
void Machine::heat(const MachineCode& entry, const WordList& words, bool wait) {
  const BlockWord* soft = words.find('S');
  const BlockWord* hard = words.find('R');
  if (wait) let_cool();
  Extent either{std::numeric_limits<double>::infinity(), 0};
  for (const BlockWord* word : {soft, hard}) {
    if (word == nullptr) continue;
    if (word->value.of == WordValue::Of::job) {
      report(Code::script_hot, place_,
             fmt::format("{} sets the {} to a number that only the running job knows", words_of(place_),
                         name_of(entry.heater)),
             "write a temperature, or the setting for it as in `${...}`");
      set_heater(entry.heater, controller_.least_extrusion.value_or(1), wait, false);
      return;
    }
    if (!word->value.known()) continue;
    check_heat(entry.heater, word->value.number, {});
    either = {std::min(either.low, word->value.number), std::max(either.high, word->value.number)};
  }
  if (either.low > either.high) {
    report(Code::script_syntax, place_, fmt::format("{} gives {} no temperature", words_of(place_), entry.name),
           "write S and the temperature in degC");
    return;
  }
  set_heater(entry.heater, either.high, wait, hard != nullptr);
  HeaterState& heater = state.heaters[static_cast<std::size_t>(entry.heater)];
  if (either.low < either.high) heater.actual.low = std::min(heater.actual.low, either.low);
}

// `who` sets it, if not the line itself.
void Machine::check_heat(Heater heater, double target, std::string_view who) {
  if (target <= 0) return;
  auto why = controller_.too_hot(heater, target);
  if (!why) return;
  report(Code::script_hot, place_,
         who.empty()
             ? fmt::format("{} sets the {} to {}, and {}", words_of(place_), name_of(heater), degrees(target), *why)
             : fmt::format("{} calls {}, which sets the {} to {}, and {}", words_of(place_), who, name_of(heater),
                           degrees(target), *why),
         "write a lower temperature, or the setting for it as in `${...}`");
}

void Machine::set_heater(Heater which, double target, bool wait, bool both_ways) {
  HeaterState& heater = state.heaters[static_cast<std::size_t>(which)];
  auto& hottest = hottest_[static_cast<std::size_t>(which)];
  hottest = std::max(hottest.value_or(0), target);
  heater.target = target;
  heater.on = target > 0;
  heater.set_at = place_;
  heater.awaited = wait || target <= heater.actual.low;
  heater.cooling = target < heater.actual.low;
  heater.actual.high = std::max(heater.actual.high, target);
  if (!wait || target <= 0) return;
  heater.actual.low = both_ways ? target : std::max(heater.actual.low, target);
  if (!both_ways) return;
  heater.actual.high = target;
  heater.cooling = false;
}

void Machine::let_cool() {
  for (HeaterState& heater : state.heaters) {
    if (heater.cooling) heater.actual.low = std::min(heater.actual.low, heater.target);
    heater.cooling = false;
  }
}

bool Machine::nozzle_cold() const {
  const HeaterState& nozzle = state.heaters[static_cast<std::size_t>(Heater::nozzle)];
  if (controller_.least_extrusion) return nozzle.actual.low < *controller_.least_extrusion - 0.0005;
  return nozzle.actual.low <= 0;
}

void Machine::fan(const WordList& words, bool off) {
  const BlockWord* index = words.find('P');
  const BlockWord* duty = words.find('S');
  int number = 0;
  if (index != nullptr && index->value.known()) number = static_cast<int>(std::clamp(index->value.number, 0.0, 1e6));
  if (duty != nullptr && duty->value.of == WordValue::Of::absent) {
    report(Code::script_syntax, place_, fmt::format("{} gives a fan no number behind S", words_of(place_)),
           "write the duty");
    return;
  }
  if (off || (duty != nullptr && duty->value.known() && duty->value.number <= 0)) stop_fan(number);
  else state.fans.emplace(number, place_);
}

void Machine::stop_fan(int number) {
  state.fans.erase(number);
  if (!controller_.hotend_fan || *controller_.hotend_fan != number) return;
  const HeaterState& nozzle = state.heaters[static_cast<std::size_t>(Heater::nozzle)];
  double until = controller_.hotend_fan_until.value_or(0);
  if (nozzle.actual.high > until + 0.0005)
    report(Code::script_dropped, place_,
           fmt::format("{} stops the fan of the hot end, whose nozzle may still have {}{}", words_of(place_),
                       degrees(nozzle.actual.high),
                       controller_.hotend_fan_until ? fmt::format("; below {} it may stop", degrees(until)) : ""),
           "wait until it has cooled, or leave the fan running");
}

void Machine::motors_off(const WordList& words) {
  bool named = words.any("XYZE");
  const BlockWord* idle = words.find('S');
  if (!named && idle != nullptr) {
    // Sets the time of idleness after which they stop; never, with 0.
    bool never = idle->value.known() && idle->value.number == 0;
    for (std::size_t i = 0; i < axis_count && !never; ++i) {
      if (controller_.held[i])
        report(Code::script_dropped, place_,
               fmt::format("{} lets the motor of {} stop after some idleness, and it would drop", words_of(place_),
                           axis_letters[i]),
               "write `M84 S0`, or leave it out");
    }
    return;
  }
  std::array<bool, axis_count + 1> which{};
  for (std::size_t i = 0; i < which.size(); ++i) which[i] = !named || words.find("XYZE"[i]) != nullptr;
  cut_motors(which);
}

void Machine::cut_motors(const std::array<bool, axis_count + 1>& which) {
  for (std::size_t i = 0; i < which.size(); ++i) {
    if (!which[i]) continue;
    state.motors[i] = false;
    if (i == extruder_motor) continue;
    state.homed[i] = false;
    state.at[i] = Extent::anything();
    if (controller_.held[i])
      report(Code::script_dropped, place_,
             fmt::format("{} cuts the motor of {}, which would drop", words_of(place_), axis_letters[i]),
             "name the axes that may go, as in `M84 X Y E`");
  }
}

void Machine::lose_position() {
  for (std::size_t axis = 0; axis < axis_count; ++axis) state.at[axis] = controller_.reach[axis];
}

void Machine::need_homed(std::string_view what) {
  for (std::size_t axis = 0; axis < axis_count; ++axis) {
    if (state.homed[axis]) continue;
    report(Code::script_unhomed, place_,
           fmt::format("{} {} before {} is homed", words_of(place_), what, axis_letters[axis]), "home first, with G28");
    return;
  }
}

void Machine::run_macro(const Block& block) {
  const MacroEffects* effects = controller_.macro(block.macro);
  if (effects == nullptr) {
    std::string near = controller_.near_macro(block.macro);
    report(Code::script_unlisted, place_,
           fmt::format("{} calls {}, which the machine does not declare", words_of(place_), block.macro),
           near.empty() ? "declare it under `macros:` of the machine, with what it leaves"
                        : fmt::format("did you mean {}", near));
    return;
  }
  for (const MacroArgument& argument : block.arguments) {
    if (std::find(effects->takes.begin(), effects->takes.end(), argument.key) != effects->takes.end()) continue;
    report(Code::script_unlisted, place_,
           fmt::format("{} gives {} the key {}, which its declaration does not name", words_of(place_), block.macro,
                       argument.key),
           "take it out, or add it to the macro's `takes:`");
  }
  if (effects->needs_homed) need_homed(fmt::format("calls {}", block.macro));
  leave_macro(*effects, block.macro);
}

// What a macro leaves, as its machine declares.
void Machine::leave_macro(const MacroEffects& effects, std::string_view name) {
  let_cool();
  for (std::size_t i = 0; i < heater_count; ++i) {
    if (!effects.hot[i]) continue;
    check_heat(static_cast<Heater>(i), *effects.hot[i], name);
    set_heater(static_cast<Heater>(i), *effects.hot[i], true, false);
  }
  if (effects.needs_hot && nozzle_cold())
    report(Code::script_cold, place_, fmt::format("{} calls {} with a cold nozzle", words_of(place_), name),
           "wait for the nozzle first, with M109");
  if (effects.extruded) extrude();
  bool placed =
      std::any_of(effects.positioned.begin(), effects.positioned.end(), [](const auto& p) { return p.has_value(); });
  if (effects.extruded && !placed) lose_position();
  for (std::size_t axis = 0; axis < axis_count; ++axis) {
    if (effects.homed[axis]) {
      state.homed[axis] = true;
      state.motors[axis] = true;
      state.motors_at = place_;
      state.offset[axis] = 0;
      state.at[axis] = controller_.reach[axis];
    }
    if (!effects.positioned[axis]) continue;
    double where = *effects.positioned[axis];
    const Extent& reach = controller_.reach[axis];
    if (where < reach.low - 0.001 || where > reach.high + 0.001)
      report(Code::script_outside, place_,
             fmt::format("{} calls {}, which leaves {} at {} mm, outside its reach", words_of(place_), name,
                         axis_letters[axis], write_number(where)),
             "mend `positioned:` of the macro");
    state.at[axis] = Extent::point(where);
  }
  for (std::size_t i = 0; i < heater_count; ++i) {
    if (effects.heaters_off[i]) set_heater(static_cast<Heater>(i), 0, false, false);
  }
  if (effects.fans_off) {
    auto running = state.fans;
    for (const auto& [number, since] : running) stop_fan(number);
  }
  if (effects.motors_off) cut_motors({true, true, true, true});
}

}  // namespace bindery
