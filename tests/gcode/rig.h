// A machine made by hand for the tests: a list of codes, its facts as plain numbers, and scripts to run on it.
#pragma once

#include <cmath>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "base/number.h"
#include "gcode/machine.h"
#include "gcode/scripts.h"

#include "../support.h"

namespace bindery::test {

// "script-cold start:3", warnings with a `?`, joined by "; ": what was found, in the order of running. Without slots the line alone.
inline std::string told(const std::vector<ScriptFinding>& findings, bool slots = true) {
  std::string out;
  for (const ScriptFinding& each : findings) {
    if (!out.empty()) out += "; ";
    out += fmt::format("{}{} ", describe(each.code).name, each.warning ? "?" : "");
    if (slots) out += fmt::format("{}:", name_of(each.place.slot));
    out += fmt::format("{}", each.place.line + 1);
  }
  return out;
}

struct Rig {
  Units units;
  CodeList list;
  Controller controller;
  std::map<std::string, MacroEffects, std::less<>> macros;
  std::vector<MachineCode> entries;

  // A reach of 220 x 220 x 250 mm, homed to somewhere; 300, 20 and 60 mm/s; 280 degC at most; filament of 1.75 mm that is
  // extruded from 170 degC on, relatively, at most 12 mm^3/s.
  explicit Rig(Grammar grammar = Grammar::printer) {
    controller.grammar = grammar;
    controller.reach = {Extent{0, 220}, Extent{0, 220}, Extent{0, 250}};
    controller.axis_speed = 300;
    controller.z_speed = 20;
    controller.extruder_speed = 60;
    controller.relative_extrusion = true;
    controller.least_extrusion = 170;
    controller.switches_fans = true;
    controller.filament_area = M_PI * 1.75 * 1.75 / 4;
    controller.flow_limit = 12;
    controller.print_temperature = {210.0, 60.0, std::nullopt};
    controller.code = [this](char letter, int tenths) {
      auto found = list.find(letter, tenths);
      return found.empty() ? nullptr : &found.front();
    };
    controller.bound = [](const CodeBound& bound) { return bound.text == "unset" ? std::nullopt : std::optional(bound.base); };
    controller.macro = [this](std::string_view name) -> const MacroEffects* {
      auto at = macros.find(name);
      return at == macros.end() ? nullptr : &at->second;
    };
    controller.too_hot = [](Heater heater, double target) -> std::optional<std::string> {
      double most = heater == Heater::nozzle ? 280 : 120;
      return target > most ? std::optional(fmt::format("it bears {}", write_number(most))) : std::nullopt;
    };
    controller.near_macro = [](std::string_view) { return std::string(); };
    std::string_view axes = grammar == Grammar::rs274 ? "XYZAF" : "XYZEF";
    std::string_view arcs = grammar == Grammar::rs274 ? "XYZAFIJKR" : "XYZEFIJKR";
    add("G0", Does::move, axes);
    add("G1", Does::move, axes);
    add("G2", Does::arc_clockwise, arcs);
    add("G3", Does::arc_counterclockwise, arcs);
    add("G4", Does::dwell, "PS");
    add("G10", Does::retract, "");
    add("G11", Does::unretract, "");
    add("G17", Does::plane_xy, "");
    add("G18", Does::plane_xz, "");
    add("G19", Does::plane_yz, "");
    add("G20", Does::inches, "");
    add("G21", Does::millimetres, "");
    add("G28", Does::home, "XYZ");
    add("G29", Does::level, "");
    add("G90", Does::absolute, "");
    add("G91", Does::relative, "");
    add("G92", Does::set_position, axes.substr(0, 4));
    add("M0", Does::pause, "");
    add("M2", Does::stop, "");
    add("M17", Does::motors_on, "");
    add("M82", Does::extruder_absolute, "");
    add("M83", Does::extruder_relative, "");
    add("M84", Does::motors_off, "XYZES");
    add("M104", Does::heat, "SR", Heater::nozzle);
    add("M109", Does::heat_and_wait, "SR", Heater::nozzle);
    add("M140", Does::heat, "SR", Heater::bed);
    add("M190", Does::heat_and_wait, "SR", Heater::bed);
    add("M141", Does::heat, "SR", Heater::chamber);
    add("M191", Does::heat_and_wait, "SR", Heater::chamber);
    add("M106", Does::fan, "PS");
    add("M107", Does::fan_off, "P");
    add("M117", Does::nothing, "").text = true;
    MachineCode& cold = add("M302", Does::nothing, "PS");
    cold.trust = Trust::refused;
    cold.reason = "it lets the drive grind cold filament";
    list.fill(entries);
  }
  Rig(const Rig&) = delete;
  Rig& operator=(const Rig&) = delete;

  // An entry of the list, kept in its order; call `list.fill(entries)` after the last change.
  MachineCode& add(std::string_view name, Does does, std::string_view letters, Heater heater = Heater::nozzle) {
    MachineCode code;
    code.letter = name[0];
    code.tenths = name.size() == 1 ? -1 : static_cast<int>(std::lround(std::stod(std::string(name.substr(1))) * 10));
    code.name = name;
    code.title = name;
    code.reason = "a test";
    code.does = does;
    code.heater = heater;
    for (char letter : letters) code.words.emplace_back().letter = letter;
    auto order = [](const MachineCode& each) { return std::pair(each.letter, each.tenths); };
    auto at = std::upper_bound(entries.begin(), entries.end(), code, [&](const MachineCode& a, const MachineCode& b) { return order(a) < order(b); });
    return *entries.insert(at, std::move(code));
  }
  CodeWord& word(std::string_view code, char letter) {
    for (MachineCode& each : entries) {
      if (each.name != code) continue;
      for (CodeWord& found : each.words) {
        if (found.letter == letter) return found;
      }
    }
    FAIL("no word ", letter, " of ", code);
    return entries.front().words.front();
  }

  // What is found when a machine that was only just switched on runs a text.
  std::string cold(std::string_view text) {
    Machine machine(controller);
    machine.run(ScriptSlot::start, text);
    return told(machine.findings());
  }
  // The same for one that is homed, hot and at (100, 100, 50), with a feed of 20 mm/s; nothing is found on the way there.
  std::string ready(std::string_view text) {
    Machine machine(controller);
    make_ready(machine);
    machine.run(ScriptSlot::end, text);
    return told(machine.findings(), false);
  }
  void make_ready(Machine& machine) const {
    machine.run(ScriptSlot::start, "G28\nG21\nG90\nM83\nM109 S200\nG1 X100 Y100 Z50 F1200\n");
    REQUIRE_MESSAGE(machine.findings().empty(), told(machine.findings()));
  }

  struct Scripts {
    std::optional<std::string> start = {}, layer = {}, pause = {}, end = {};
  };
  std::vector<ScriptFinding> findings(const Scripts& scripts) {
    ScriptTexts texts;
    auto put = [&](ScriptSlot slot, const std::optional<std::string>& text) {
      if (text) texts[static_cast<std::size_t>(slot)] = *text;
    };
    put(ScriptSlot::start, scripts.start);
    put(ScriptSlot::layer, scripts.layer);
    put(ScriptSlot::pause, scripts.pause);
    put(ScriptSlot::end, scripts.end);
    return run_scripts(controller, texts).findings;
  }
  std::string says(const Scripts& scripts) { return told(findings(scripts)); }
};

// What a careful publisher writes.
inline const std::string sound_start = "G28\nG90\nM83\nM140 S60\nM104 S150\nM190 S60\nM109 S210\nG1 X5 Y5 Z0.3 F6000\nG1 X100 E8 F1200\n";
inline const std::string sound_end = "G1 E-2 F1800\nM104 S0\nM140 S0\nM107\nG91\nG1 Z5 F600\nG90\nG1 X0 Y200 F6000\nM84\n";

}  // namespace bindery::test
