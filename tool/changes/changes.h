// Stage 6: what differs between two resolved sets, each with its own dictionary, told once a cause.
//
// find_changes() pairs the profiles of both sides, compares every value, script, tier and status, and traces each
// difference to the edits of fragments, dictionary and plan that made it. The result stands alone: it holds no view
// into either tree, so that it can be kept for another day.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "resolve/select.h"
#include "resolve/tree.h"

namespace bindery {

// What an edit is made to.
enum class Part : std::uint8_t {
  // of a fragment
  fragment,  // the whole of it came or went
  words,     // title, about, authors: nothing is resolved from them
  extends,
  abstract,
  tier,
  status,
  replaces,
  locked,
  fits,
  when,  // the condition of a block
  settings,
  adjust,
  limits,
  scripts,
  macros,
  // of the dictionary
  setting,  // the whole entry came or went
  unit,
  choices,
  standard,  // its default
  range,
  typical,
  kinds,
  required,
  fact,
  over_limit,
  extrudes,
  rule,
  role,
  job,
  code,
  // of the plan
  set,
  default_tier,
};
std::string_view name_of(Part part);

// One edit between the sides.
struct Edit {
  Part part = Part::settings;
  std::string fragment;       // "process/everyday", "dialect/ledger", "schema" or "plan"
  std::string old_fragment;   // its earlier name, where it had another
  std::string setting;        // key, pattern, script, header word, rule, role or set
  std::string condition;      // of the `when` block it stands in; empty outside
  std::string before, after;  // as written; empty where there is none
  std::string file;           // where it stands now, else where it stood
  std::string old_file;       // where it stood, if elsewhere
  bool traced = true;         // false: the other side is a published archive, so `before` is not known
  bool thermal = false;       // of a setting that is or shifts a temperature
  bool told = true;           // false: of a fragment that is in no profile of the audience

  bool operator==(const Edit&) const = default;
};

// A value as the JSON has it (150, "rear", [1,2], true, null), and its number if it is one.
struct PlainValue {
  std::string json = "null";
  std::optional<double> number;

  bool operator==(const PlainValue&) const = default;
};

struct SettingName {
  std::string key, title;
  std::string unit;      // of the new side, or of the old one where the new has no such setting; empty for none
  std::string old_unit;  // of the old side
  bool thermal = false;  // is or shifts a temperature
  bool points = false;   // a share in %, whose differences are told in points
  bool gone = false;     // the new dictionary has no such setting
};

// Names by kind, as indexes in Cast::names.
using Parts = std::array<std::uint32_t, kind_count>;

struct ProfileName {
  std::string id;
  Parts parts{};
  bool now = true;     // false: the new side has no such profile
  bool alias = false;  // an earlier name of another entry; it has no parts
};

// A fragment that groups others, and the names that extend it.
struct Family {
  std::string title;
  std::vector<std::uint32_t> members;  // indexes in Cast::names, ascending
};

// The machines, materials or processes of the profiles, for telling which of them a change reaches.
struct Cast {
  std::vector<std::string> names, titles;
  std::vector<std::string> nozzles;  // of machines: "0.4 mm", empty where no role tells it
  std::vector<Family> families;      // the smaller first
};

// Indexes in Changes::profiles, ::settings and ::values.
struct Effect {
  std::uint32_t profile = 0, setting = 0, before = 0, after = 0;
};

// A difference of values and the edits that made it, as indexes in Changes::edits, ascending.
struct Change {
  std::vector<std::uint32_t> causes;
  std::vector<Effect> effects;
};

struct ScriptEffect {
  std::uint32_t profile = 0;
  ScriptSlot slot = ScriptSlot::start;
  std::uint32_t before = 0, after = 0;  // indexes in Changes::texts, 0 for none
};

struct ScriptChange {
  std::vector<std::uint32_t> causes;
  std::vector<ScriptEffect> effects;
};

struct Move {
  std::uint32_t profile = 0;
  Tier old_tier = Tier::free, tier = Tier::free;
  Status old_status = Status::beta, status = Status::beta;
};

// Profiles that came, went or moved by the same edits.
struct SetChange {
  std::vector<std::uint32_t> causes, added, removed, moved;  // `moved` by index in Changes::moved
};

// The whole of a profile that was added.
struct Content {
  std::uint32_t profile = 0;
  Tier tier = Tier::free;
  Status status = Status::beta;
  std::vector<std::pair<std::uint32_t, std::uint32_t>> values;  // setting, value
  std::array<std::uint32_t, script_slots> scripts{};            // indexes in Changes::texts, 0 for none
};

struct Changes {
  std::vector<Edit> edits;  // those that the audience may know of
  std::vector<ProfileName> profiles;
  std::vector<SettingName> settings;
  std::vector<PlainValue> values;
  std::vector<std::string> texts;  // texts[0] is none
  std::array<Cast, kind_count> cast;

  std::vector<std::uint32_t> added, removed;                     // profiles, by id
  std::vector<std::pair<std::uint32_t, std::uint32_t>> renamed;  // old and new profile
  std::vector<Move> moved;
  std::vector<SetChange> sets;
  std::vector<Content> contents;
  std::vector<Change> changes;  // in the order of their causes
  std::vector<Change> caps;     // values that are now held back by a limit, or no longer, or by another
  std::vector<ScriptChange> scripts;
  std::vector<std::uint32_t> idle;  // edits that change nothing resolved

  // The edits that some difference has for a cause.
  std::set<std::uint32_t> causes() const;
  // Nothing at all, words included.
  bool empty() const;
};

// One side: a tree with its plan applied.
struct Side {
  const Tree* tree = nullptr;
  const Selection* selection = nullptr;
};

// How much is to be told.
struct View {
  Tier tier = Tier::supporter;  // the audience: what it may not have is left out as if it did not exist
  bool contents = false;        // with the values of profiles that were added
  bool partial = false;         // a profile with an error on one side is left out, instead of all
  bool checked = false;         // others look for the errors of the new side
  bool first = false;           // nothing came before: no edits are looked for
};

// Compares two sides on all cores, resolved as far as an edit can reach. Reports go to the side's sink; where one has
// an error, the result is empty.
Changes find_changes(const Side& from, const Side& to, const View& view, unsigned jobs, Diagnostics& of_from,
                     Diagnostics& of_to);

}  // namespace bindery
