// Machine code, second half: a virtual machine that executes the scripts of a profile and tells what would go wrong.
//
// It follows what is known and keeps an interval for what is not: after homing on a machine that does not say where,
// or after the print, the head is somewhere in its reach. What is reported is certain, but for moves towards the bed
// from an unknown height, which are reported where they may meet it.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/codes.h"
#include "gcode/controller.h"
#include "syntax/fragment.h"

namespace bindery {

// A line of a script, from 0.
struct ScriptPlace {
  ScriptSlot slot = ScriptSlot::start;
  std::size_t line = 0;
  auto operator<=>(const ScriptPlace&) const = default;
};

struct ScriptFinding {
  Code code{};
  ScriptPlace place;
  std::string message, help;
  bool warning = false;
  std::optional<ScriptPlace> related;
  std::string related_message;
};

// The text of each script; absent where the profile has none.
using ScriptTexts = std::array<std::optional<std::string_view>, script_slots>;

// What running the scripts gave.
struct ScriptRun {
  std::vector<ScriptFinding> findings;  // at most a hundred, in the order of running, one of a sort a line
  std::array<std::optional<double>, heater_count> hottest;  // what each heater was set to at most, degC
};

// Runs start, then from the state of the print layer, pause and end.
ScriptRun run_scripts(const Controller& controller, const ScriptTexts& texts);

}  // namespace bindery
