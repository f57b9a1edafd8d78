// The state of the virtual machine, and the execution of a line.
#pragma once

#include <map>
#include <set>
#include <string>
#include <vector>

#include "gcode/controller.h"
#include "gcode/scripts.h"

namespace bindery {

struct HeaterState {
  bool on = false;       // a script set it above nothing
  bool cooling = false;  // it was set lower, and time has not passed since
  double target = 0;
  Extent actual;  // what its temperature may be
  bool awaited = true;
  std::optional<ScriptPlace> set_at;
};

enum class Plane : std::uint8_t { xy, xz, yz };

struct MachineState {
  std::array<Extent, axis_count> at{Extent::anything(), Extent::anything(), Extent::anything()};
  // Machine position less that of the program, by G92; nothing where it was set at an unknown place.
  std::array<std::optional<double>, axis_count> offset{0.0, 0.0, 0.0};
  std::array<bool, axis_count> homed{};
  std::array<bool, axis_count + 1> motors{};  // the last is the extruder's
  ScriptPlace motors_at;
  std::optional<double> extruder;  // its position in absolute extrusion
  double drawn_back = 0;           // filament, mm; pushing it forward again is no flow
  bool relative = false, inches = false;
  std::optional<bool> relative_extrusion;           // nothing until a script says
  ScriptPlace distance_at, units_at, extrusion_at;  // of the last change of these
  Plane plane = Plane::xy;
  std::optional<double> feed;           // mm/s
  bool fed = false;                     // some feed was given
  const MachineCode* motion = nullptr;  // rs274: what axis words alone do
  std::array<HeaterState, heater_count> heaters;
  std::map<int, std::optional<ScriptPlace>> fans;  // those that run, and where a script started them
  Parameters parameters;                           // of rs274
};

// Words of a code by letter, in working units where they are known.
class WordList {
 public:
  explicit WordList(const std::vector<BlockWord>& words) : words_(words) {}
  const BlockWord* find(char letter) const;
  bool any(std::string_view letters) const;
  const std::vector<BlockWord>& all() const { return words_; }

 private:
  const std::vector<BlockWord>& words_;
};

// An arc of a block in the plane it lies in (NISTIR 6556, 3.5.3).
struct Arc {
  std::array<double, 2> centre{};
  double radius = 0;
  bool helix = false;
};

class Machine {
 public:
  explicit Machine(const Controller& controller);

  // Executes the lines of a text from the state that it is in.
  void run(ScriptSlot slot, std::string_view text);
  // One line.
  void run_line(ScriptPlace place, std::string_view line);

  MachineState state;
  const std::vector<ScriptFinding>& findings() const { return findings_; }
  ScriptRun take_run() { return {std::move(findings_), hottest_}; }
  // The arc that the last line drew, if it drew one from a known place.
  const std::optional<Arc>& last_arc() const { return arc_; }

  // Reports at a line, once a code and line.
  ScriptFinding* report(Code code, ScriptPlace place, std::string message, std::string help);
  // Reports a hot end that heats while its fan, where scripts switch it, stands still.
  void need_hotend_fan();
  // Time passes: heaters that were set lower may have cooled.
  void let_cool();
  // Were so many errors found, or did the rest take so much, that it is not executed?
  bool gave_up() const;
  // Is the nozzle too cold to move filament, as far as is known?
  bool nozzle_cold() const;

 private:
  // machine.cpp
  void execute(const Block& block);
  void run_macro(const Block& block);
  void run_code(const MachineCode& entry, const std::vector<BlockWord>& words);
  void run_rs274(const Block& block);
  const MachineCode* admit(const BlockWord& code);
  void check_words(const MachineCode& entry, const std::vector<BlockWord>& words);
  void check_word(const MachineCode& entry, const CodeWord& rule, const BlockWord& word);
  void home(const WordList& words);
  void set_position(const WordList& words);
  void set_distance(bool relative);
  void set_extrusion(bool relative);
  void heat(const MachineCode& entry, const WordList& words, bool wait);
  void set_heater(Heater heater, double target, bool wait, bool both_ways);
  void fan(const WordList& words, bool off);
  void motors_off(const WordList& words);
  void stop_fan(int number);
  void check_heat(Heater heater, double target, std::string_view who);
  void leave_macro(const MacroEffects& effects, std::string_view name);
  void cut_motors(const std::array<bool, axis_count + 1>& which);
  void lose_position();
  void need_homed(std::string_view what);

  // motion.cpp
  void move(const WordList& words, Does does);
  void take_feed(const BlockWord& word);
  std::optional<double> length(const BlockWord& word) const;
  void move_axis(std::size_t axis, const BlockWord& word);
  bool check_reach(std::size_t axis, const Extent& before, const BlockWord& word);
  void check_flow(double fed, double forward);
  void check_radius();
  void check_bow(const Arc& arc, double from, double to);
  void follow_arc(const WordList& words, bool clockwise, const std::array<Extent, axis_count>& before);
  std::optional<double> feed_extruder(const BlockWord& word);
  void extrude();
  double arc_path(const std::array<Extent, axis_count>& before, bool clockwise) const;
  void check_speed(const WordList& words, const std::array<Extent, axis_count>& before, std::optional<bool> clockwise,
                   std::optional<double> extruded, bool extrudes);
  char extruder_letter() const { return controller_.grammar == Grammar::rs274 ? 'A' : 'E'; }

  const Controller& controller_;
  ScriptPlace place_;
  std::vector<ScriptFinding> findings_;
  std::array<std::optional<double>, heater_count> hottest_;
  std::set<std::pair<Code, ScriptPlace>> told_;
  std::array<std::size_t, 3> told_of_{};  // errors, warnings, refused codes
  std::set<std::size_t> unhomed_told_;
  std::array<bool, heater_count> unawaited_told_{};
  bool fan_told_ = false, mode_told_ = false, feed_told_ = false;
  bool stopped_ = false;  // the program ended: what follows is checked against the list alone
  std::optional<Arc> arc_;
};

// "line 7 of the start script".
std::string words_of(ScriptPlace place);

}  // namespace bindery
