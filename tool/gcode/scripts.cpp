#include "gcode/scripts.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"
#include "gcode/machine.h"

namespace bindery {

namespace {

std::size_t last_line(std::string_view text) {
  while (!text.empty() && (text.back() == '\n' || text.back() == ' ')) text.remove_suffix(1);
  return static_cast<std::size_t>(std::count(text.begin(), text.end(), '\n'));
}

class Scenes {
 public:
  Scenes(const Controller& controller, const ScriptTexts& texts)
      : controller_(controller), texts_(texts), machine_(controller) {}

  ScriptRun run() {
    if (const auto& text = text_of(ScriptSlot::start)) {
      machine_.run(ScriptSlot::start, *text);
      if (machine_.gave_up()) return machine_.take_run();
      judge_start(*text);
    }
    const MachineState print = print_state();
    MachineState whole = print;  // with what layer and pause leave on
    for (ScriptSlot slot : {ScriptSlot::layer, ScriptSlot::pause}) {
      const auto& text = text_of(slot);
      if (!text) continue;
      machine_.state = print;
      machine_.run(slot, *text);
      if (machine_.gave_up()) return machine_.take_run();
      judge_return(slot, *text);
      add_running(machine_.state, whole);
    }
    machine_.state = whole;
    if (const auto& text = text_of(ScriptSlot::end)) machine_.run(ScriptSlot::end, *text);
    if (machine_.gave_up()) return machine_.take_run();
    if (text_of(ScriptSlot::start) || text_of(ScriptSlot::end)) judge_end();
    return machine_.take_run();
  }

 private:
  const std::optional<std::string_view>& text_of(ScriptSlot slot) const {
    return texts_[static_cast<std::size_t>(slot)];
  }

  static std::string_view words_of_mode(bool relative) { return relative ? "relative" : "absolute"; }

  // The print relies on these.
  void judge_start(std::string_view text) {
    const MachineState& state = machine_.state;
    ScriptPlace end{ScriptSlot::start, last_line(text)};
    if (state.relative)
      machine_.report(Code::script_mode, state.distance_at, "the start script leaves positions relative",
                      "write G90 at its end");
    if (state.inches)
      machine_.report(Code::script_mode, state.units_at, "the start script leaves inches", "write G21 at its end");
    if (state.plane != Plane::xy)
      machine_.report(Code::script_mode, end, "the start script leaves another plane than XY", "write G17 at its end");
    if (controller_.relative_extrusion && state.relative_extrusion != controller_.relative_extrusion) {
      bool relative = *controller_.relative_extrusion;
      bool said = state.relative_extrusion.has_value();
      machine_.report(Code::script_mode, said ? state.extrusion_at : end,
                      said ? fmt::format("the start script leaves extrusion {}, and this machine's prints give it {}",
                                         words_of_mode(!relative), words_of_mode(relative))
                           : fmt::format("the start script does not say how extrusion is given; this machine's prints "
                                         "give it {}",
                                         words_of_mode(relative)),
                      relative ? "write M83" : "write M82");
    }
    const HeaterState& nozzle = state.heaters[static_cast<std::size_t>(Heater::nozzle)];
    bool heats = nozzle.set_at.has_value();
    if (heats && (!nozzle.on || !nozzle.awaited || machine_.nozzle_cold()))
      machine_.report(Code::script_cold, *nozzle.set_at,
                      !nozzle.on       ? "the start script leaves the nozzle's heater off"
                      : nozzle.awaited ? "the start script leaves the nozzle colder than this filament is extruded at"
                                       : "the start script heats the nozzle and does not wait for it",
                      "wait for the nozzle, with M109");
    for (Heater each : {Heater::bed, Heater::chamber}) {
      const HeaterState& heater = state.heaters[static_cast<std::size_t>(each)];
      if (!heater.on || heater.awaited) continue;
      if (ScriptFinding* finding =
              machine_.report(Code::script_cold, *heater.set_at,
                              fmt::format("the start script heats the {} and does not wait for it", name_of(each)),
                              "wait for it before the print begins"))
        finding->warning = true;
    }
    judge_homed(ScriptSlot::start, end);
    machine_.need_hotend_fan();
  }

  // Between the scripts: hot, homed, somewhere in the reach, cooled by its first fan.
  MachineState print_state() const {
    MachineState state = machine_.state;
    bool started = text_of(ScriptSlot::start).has_value();
    state.homed.fill(true);
    state.at = controller_.reach;
    state.offset.fill(0.0);
    state.drawn_back = 0;
    state.relative = false;
    state.inches = false;
    state.relative_extrusion =
        controller_.relative_extrusion ? controller_.relative_extrusion : state.relative_extrusion;
    state.extruder.reset();
    state.fed = true;
    state.feed.reset();
    if (started) state.motors.fill(true);
    for (std::size_t i = 0; i < heater_count; ++i) {
      HeaterState& heater = state.heaters[i];
      heater.awaited = true;
      const auto& print = controller_.print_temperature[i];
      // Without a number for it, a nozzle between the scripts is hot enough.
      double at = print ? *print : std::max(heater.target, controller_.least_extrusion.value_or(1));
      if (print || heater.on || i == static_cast<std::size_t>(Heater::nozzle))
        heater.actual = {std::max(at, i == 0 ? controller_.least_extrusion.value_or(0) : 0),
                         std::max(at, heater.actual.high)};
    }
    state.fans.emplace(0, std::nullopt);
    return state;
  }

  static void add_running(const MachineState& after, MachineState& whole) {
    for (const auto& fan : after.fans) whole.fans.insert(fan);
    for (std::size_t i = 0; i < heater_count; ++i) {
      if (after.heaters[i].on && !whole.heaters[i].on) whole.heaters[i] = after.heaters[i];
    }
  }

  // Layer and pause go back to the print.
  void judge_return(ScriptSlot slot, std::string_view text) {
    const MachineState& state = machine_.state;
    std::string script = fmt::format("the {} script", name_of(slot));
    ScriptPlace end{slot, last_line(text)};
    if (state.relative)
      machine_.report(Code::script_mode, state.distance_at, fmt::format("{} leaves positions relative", script),
                      "write G90 after the relative moves");
    if (state.inches)
      machine_.report(Code::script_mode, state.units_at, fmt::format("{} leaves inches", script),
                      "write G21 after them");
    if (controller_.relative_extrusion && state.relative_extrusion != controller_.relative_extrusion)
      machine_.report(
          Code::script_mode, state.extrusion_at,
          fmt::format("{} leaves extrusion {}, and the print gives it {}", script,
                      words_of_mode(!*controller_.relative_extrusion), words_of_mode(*controller_.relative_extrusion)),
          *controller_.relative_extrusion ? "write M83 at its end" : "write M82 at its end");
    if (state.plane != Plane::xy)
      machine_.report(Code::script_mode, end, fmt::format("{} leaves another plane than XY", script),
                      "write G17 at its end");
    if (machine_.nozzle_cold())
      machine_.report(Code::script_cold, end, fmt::format("{} leaves the nozzle too cold to go on printing", script),
                      "heat it again and wait, with M109");
    judge_homed(slot, end);
    judge_heat(slot);
  }

  void judge_homed(ScriptSlot slot, ScriptPlace end) {
    for (std::size_t axis = 0; axis < axis_count; ++axis) {
      if (machine_.state.homed[axis]) continue;
      machine_.report(
          Code::script_unhomed, end,
          fmt::format("the {} script leaves {} without a known position", name_of(slot), axis_letters[axis]),
          "home it, with G28, and keep its motor");
      return;
    }
  }

  // A layer or a pause goes back to the heat of the print.
  void judge_heat(ScriptSlot slot) {
    for (std::size_t i = 0; i < heater_count; ++i) {
      const HeaterState& heater = machine_.state.heaters[i];
      const auto& print = controller_.print_temperature[i];
      bool set_here = heater.set_at && heater.set_at->slot == slot;
      if (!set_here || !print || std::fabs(heater.target - *print) < 0.0005) continue;
      machine_.report(Code::script_mode, *heater.set_at,
                      fmt::format("the {} script leaves the {} set to {} degC, and the print has {}", name_of(slot),
                                  name_of(static_cast<Heater>(i)), write_number(heater.target), write_number(*print)),
                      "set it back");
    }
  }

  // What is still on, in one report: at the end script, or where the first of it was switched on if there is none.
  void judge_end() {
    const MachineState& state = machine_.state;
    std::vector<Left> left;
    for (std::size_t i = 0; i < heater_count; ++i) {
      const HeaterState& heater = state.heaters[i];
      if (heater.on)
        left.push_back({fmt::format("the heater of the {} on", name_of(static_cast<Heater>(i))),
                        std::string(heater_stops[i]), heater.set_at});
    }
    for (const auto& [number, since] : state.fans) {
      bool stays = controller_.hotend_fan && *controller_.hotend_fan == number;
      if (stays || !controller_.switches_fans) continue;
      left.push_back({number == 0 ? "the part fan running" : fmt::format("fan {} running", number),
                      number == 0 ? "M107" : fmt::format("M106 P{} S0", number), since});
    }
    add_motors(left);
    if (left.empty()) return;

    const auto& text = text_of(ScriptSlot::end);
    ScriptPlace place{ScriptSlot::start, last_line(text_of(ScriptSlot::start).value_or(""))};
    if (text) place = {ScriptSlot::end, last_line(*text)};
    else if (left.front().since) place = *left.front().since;
    std::vector<std::string> whats, cures;
    for (const Left& each : left) {
      whats.push_back(each.what);
      cures.push_back(fmt::format("`{}`", each.cure));
    }
    ScriptFinding* finding = machine_.report(
        Code::script_left, place,
        fmt::format("{} {}", text ? "the end script leaves" : "there is no end script, so the end leaves",
                    join_words(whats)),
        fmt::format("write {} at the end", join_words(cures)));
    if (finding == nullptr || !left.front().since || *left.front().since == place) return;
    finding->related = left.front().since;
    finding->related_message = "switched on here";
  }

  struct Left {
    std::string what, cure;
    std::optional<ScriptPlace> since;
  };
  static constexpr std::array<std::string_view, heater_count> heater_stops = {"M104 S0", "M140 S0", "M141 S0"};

  // The motors that may go and run: one cure for all.
  void add_motors(std::vector<Left>& left) const {
    const MachineState& state = machine_.state;
    std::vector<std::string> running, free;
    for (std::size_t i = 0; i < state.motors.size(); ++i) {
      if (i < axis_count && controller_.held[i]) continue;
      free.emplace_back(1, "XYZE"[i]);
      if (state.motors[i]) running.emplace_back(1, "XYZE"[i]);
    }
    if (running.empty()) return;
    left.push_back({fmt::format("the motor{} of {} on", running.size() > 1 ? "s" : "", join_words(running)),
                    free.size() == state.motors.size() ? "M84" : fmt::format("M84 {}", fmt::join(free, " ")),
                    state.motors_at});
  }

  const Controller& controller_;
  const ScriptTexts& texts_;
  Machine machine_;
};

}  // namespace

ScriptRun run_scripts(const Controller& controller, const ScriptTexts& texts) {
  return Scenes(controller, texts).run();
}

}  // namespace bindery
