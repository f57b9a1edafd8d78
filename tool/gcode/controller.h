// What a machine is, as far as its scripts are checked against it: the facts and limits of one profile as plain
// numbers. Lengths in mm, times in s, temperatures in degC.
#pragma once

#include <array>
#include <functional>
#include <limits>
#include <optional>
#include <string>
#include <string_view>

#include "gcode/block.h"
#include "schema/machine_code.h"

namespace bindery {

// All that a number may be.
struct Extent {
  double low = 0, high = 0;

  static Extent point(double value) { return {value, value}; }
  static Extent anything() {
    return {-std::numeric_limits<double>::infinity(), std::numeric_limits<double>::infinity()};
  }
  bool is_point() const { return low == high; }
  bool operator==(const Extent&) const = default;
};

inline constexpr std::size_t axis_count = 3;  // X, Y, Z
inline constexpr std::string_view axis_letters = "XYZ";

// What a macro of the firmware leaves, its values computed for the profile.
struct MacroEffects {
  std::vector<std::string_view> takes;
  bool needs_homed = false, needs_hot = false;
  std::array<bool, axis_count> homed{};
  std::array<std::optional<double>, heater_count> hot;
  std::array<std::optional<double>, axis_count> positioned;
  std::optional<double> extruded;
  std::array<bool, heater_count> heaters_off{};
  bool fans_off = false, motors_off = false;
};

// Each that is absent is not checked.
struct Controller {
  Grammar grammar = Grammar::printer;
  std::optional<double> line_length;
  std::array<Extent, axis_count> reach{Extent::anything(), Extent::anything(), Extent::anything()};
  std::optional<double> radius;  // of the reach about its middle, in X and Y
  std::array<std::optional<double>, axis_count> home;
  std::optional<double> axis_speed, z_speed, extruder_speed;  // mm/s
  std::optional<bool> relative_extrusion;                     // of the print between the scripts
  std::optional<double> least_extrusion;
  std::array<bool, axis_count> held{};  // would drop without current
  std::optional<int> hotend_fan;        // its number, where scripts switch it
  std::optional<double> hotend_fan_until;
  bool switches_fans = false;                       // the list has a code for it
  bool joined_modes = false;                        // G90 and G91 switch the extruder too
  std::optional<double> filament_area, flow_limit;  // mm^2, mm^3/s
  std::array<std::optional<double>, heater_count> print_temperature;

  // The entry of the dictionary's list that holds on this machine; null where there is none.
  std::function<const MachineCode*(char letter, int tenths)> code;
  // A bound in working units; nothing where it reads an unset setting.
  std::function<std::optional<double>(const CodeBound&)> bound;
  // Null where the machine declares none of that name.
  std::function<const MacroEffects*(std::string_view)> macro;
  // Why a heater may not be set so hot; nothing where it may.
  std::function<std::optional<std::string>(Heater, double)> too_hot;
  // Did asking these take more computation than is done? Then the rest is not executed. May be absent.
  std::function<bool()> overdone;
  // A declared name near to an unknown one, for the cure; empty where none is.
  std::function<std::string(std::string_view)> near_macro;
};

}  // namespace bindery
