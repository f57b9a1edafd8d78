// The dictionary's list of machine codes: which a script may hold, how far they are trusted, what they do.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "base/span.h"
#include "formula/formula.h"

namespace bindery {

enum class Trust : std::uint8_t {
  ordinary,
  checked,  // within the bounds of its words
  refused,  // in a contribution; the publisher may write it, and is warned
};
std::string_view name_of(Trust trust);

enum class Heater : std::uint8_t { nozzle, bed, chamber };
inline constexpr std::size_t heater_count = 3;
std::string_view name_of(Heater heater);
std::optional<Heater> heater_named(std::string_view word);

// What a code does to a machine, as far as it is followed.
enum class Does : std::uint8_t {
  nothing,
  move,
  arc_clockwise,
  arc_counterclockwise,
  dwell,
  home,
  set_position,
  absolute,
  relative,
  extruder_absolute,
  extruder_relative,
  millimetres,
  inches,
  plane_xy,
  plane_xz,
  plane_yz,
  heat,
  heat_and_wait,
  fan,
  fan_off,
  motors_on,
  motors_off,
  retract,
  unretract,
  level,  // drives over the bed and leaves the head somewhere
  pause,
  stop,
};

std::string_view name_of(Does does);

struct CodeBound {
  double base = 0;                 // a literal, in working units
  std::optional<Formula> formula;  // instead of a literal
  std::string_view text;           // as written
  Span span;
};

// A letter that a code takes.
struct CodeWord {
  char letter = 'X';
  const Unit* unit = nullptr;  // of its number; nullptr: a bare one
  std::optional<CodeBound> least, most;
  bool refused = false;
  std::string_view reason;
  Span span;
};

struct MachineCode {
  char letter = 'G';
  int tenths = -1;  // of its number: 10 for G1, 382 for G38.2; -1: any number (T)
  std::string_view name;
  Span span;
  std::string_view title, reason, source;
  Trust trust = Trust::ordinary;
  Does does = Does::nothing;
  Heater heater = Heater::nozzle;
  bool text = false;             // the rest of its line is text
  std::optional<Formula> where;  // on which machines, by their facts
  std::vector<CodeWord> words;

  const CodeWord* word(char wanted) const;
};

class CodeList {
 public:
  bool empty() const { return entries_.empty(); }
  std::span<const MachineCode> all() const { return entries_; }
  // The alternatives of a code in their order; none where it is not in the list.
  std::span<const MachineCode> find(char letter, int tenths) const;

  // Entries must come in the order of letter and number; alternatives in the order of the file.
  void fill(std::vector<MachineCode> entries);

 private:
  std::vector<MachineCode> entries_;
};

}  // namespace bindery
