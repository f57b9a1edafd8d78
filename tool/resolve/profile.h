// Stage 4, second half: triples of a tree resolved to profiles, with the provenance of every value.
#pragma once

#include <array>
#include <compare>
#include <cstdint>
#include <list>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "resolve/axis.h"
#include "resolve/tree.h"

namespace bindery {

struct Triple {
  std::array<FragmentId, kind_count> of{no_fragment, no_fragment, no_fragment};
  auto operator<=>(const Triple&) const = default;
};

// "heron-220+0.4/pla-plain/everyday".
std::string profile_id(const Tree& tree, const Triple& triple);

// "Heron 220 with a 0.4 mm nozzle / Plain PLA / Everyday".
std::string profile_title(const Tree& tree, const Triple& triple);

// What held a value back.
struct Cap {
  const Bound* bound = nullptr;  // null: the flow limit
  bool upper = true;
  double limit = 0;  // in the setting's unit
  double uncapped = 0;
};

// One step of a value's story, lowest first: an operation (null: the dictionary's default) and the value after it.
struct Step {
  const Op* op = nullptr;
  bool adjust = false;
  Value after;
};

// A final value, and where its story lies in Profile::steps and Profile::caps.
struct Cell {
  Value value;
  std::uint32_t first_step = 0, steps = 0;
  std::int32_t cap = -1;  // index in Profile::caps
};

// Where a line of a script comes from: a text of the gathered ones, and an offset in it.
struct ScriptLine {
  const ScriptOp* op = nullptr;
  std::uint32_t offset = 0;
};

// The longest script of a profile, in bytes.
inline constexpr std::size_t largest_script = 64 * 1024;
// To execute a byte of a script takes as long as so many operations of formulas.
inline constexpr std::uint64_t work_a_byte = 2;

struct Profile {
  Triple triple;
  std::vector<Cell> cells;  // by key
  std::vector<Step> steps;
  std::vector<Cap> caps;
  std::array<std::optional<std::string>, script_slots> scripts;
  std::array<std::vector<ScriptLine>, script_slots> script_lines;  // by line of each script
  std::list<std::vector<Value>> lists;                             // own the lists that operations made
  bool whole = true;                                               // no error reached it
  std::uint64_t work = 0;  // operations of formulas and on lists, tests of names, its scripts

  // The operation on top; null for a default.
  const Op* top(KeyId key) const {
    const Cell& cell = cells[key];
    return cell.steps == 0 ? nullptr : steps[cell.first_step + cell.steps - 1].op;
  }
  // How the value came about: the topmost operation's word, `default` for none or `unset`.
  std::string_view how(KeyId key) const;
};

// The first fragment whose `fits` refuses a triple, and the place.
struct Refusal {
  FragmentId fragment = no_fragment;
  Span span;
  std::string reason;
};

// Bead area in mm2: a rectangle with semicircular ends, (w - h) h + pi h^2 / 4 for w >= h, the two exchanged otherwise.
double bead_area(double width, double height);

// Resolves triples; holds the axis tables that it has built, so one per thread.
class Resolver {
 public:
  explicit Resolver(const Tree& tree) : tree_(tree) {}

  // Does every `fits` of the three linearisations hold? Gives the first that does not. One that cannot be tested,
  // because a fact fails, refuses nothing: resolve() reports it.
  // `names_hold`: the names were looked at already, and no list of them refuses.
  std::optional<Refusal> refused(const Triple& triple, bool names_hold = false);
  // All of them.
  std::vector<Refusal> refusals(const Triple& triple) { return find_refusals(triple, true, false); }

  // The tables of machine, material and process with the `when` blocks that match; they live as long as the resolver.
  using Axes = std::array<const AxisTable*, kind_count>;

  // Resolves every setting and script. Reports under the profile's id; a profile that an error reached is not whole.
  // `tables`, if given, gets the tables.
  Profile resolve(const Triple& triple, Diagnostics& out, Axes* tables = nullptr);
  // Resolves some settings and what they read, and the scripts if they are wanted; the other cells stay empty.
  Profile resolve_some(const Triple& triple, const std::vector<KeyId>& keys, bool scripts, Diagnostics& out,
                       Axes* tables = nullptr);

  // The operations and tests of names that conditions have taken so far.
  std::uint64_t work() const { return work_; }

  // Conditions that fail are reported to `out`, if it is given.
  Axes axes_of(const Triple& triple, Diagnostics* out = nullptr);

 private:
  std::vector<Refusal> find_refusals(const Triple& triple, bool all, bool names_hold);
  Axes plain_axes(const Triple& triple);
  const AxisTable& table(FragmentId fragment, const ActiveBlocks& active);

  const Tree& tree_;
  std::uint64_t work_ = 0;
  std::map<std::pair<FragmentId, ActiveBlocks>, std::unique_ptr<AxisTable>> tables_;
};

// The texts of each script in order, after `before`, `after` and `none`.
using GatheredScripts = std::array<std::vector<const ScriptOp*>, script_slots>;
GatheredScripts gather_scripts(const Resolver::Axes& axes);

// What stands for a placeholder of a script: the formula's value (in working units) bare, that of a setting alone in
// the setting's unit.
std::string placeholder_text(const Dictionary& dictionary, const Formula& formula, const Value& value);

}  // namespace bindery
