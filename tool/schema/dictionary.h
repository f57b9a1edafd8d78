// Stage 3: the dictionary of a tree, from its schema/*.yaml: settings, roles, what the running job knows, rules.
//
// The program knows no setting by name. Settings are numbered in the order of the files (sorted by path) and of
// the lines in them; that number indexes every row of values.
#pragma once

#include <array>
#include <deque>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "base/diagnostic.h"
#include "base/span.h"
#include "base/value.h"
#include "formula/formula.h"
#include "schema/machine_code.h"
#include "schema/roles.h"
#include "source/source.h"
#include "syntax/document.h"
#include "syntax/fragment.h"
#include "units/units.h"

namespace bindery {

struct Interval {
  double low = 0, high = 0;  // in the setting's unit
  Span span;
};

// What a speed extrudes: a bead of width x height, or a thread of a given area.
struct Extrusion {
  KeyId width = no_key, height = no_key, area = no_key;
  Span span;
};

struct Setting {
  std::string_view key;
  Span span;  // of the key
  std::string_view title, about, source, reason;
  std::array<bool, kind_count> written_by{}, adjusted_by{};
  Type type = Type::quantity;
  bool list = false;
  const Unit* unit = nullptr;  // of a quantity
  std::vector<std::string_view> choices;
  std::optional<Interval> range, typical;
  bool required = false, fact = false, refuse = false;  // refuse: over_limit
  std::optional<Extrusion> extrudes;
  bool broken = false;  // its entry was reported; whoever uses it stays silent

  // The default: unset, a literal, or a formula.
  Value literal_default;
  std::optional<Formula> formula_default;
  std::string_view default_text;  // as written; empty for none

  std::string_view unit_text() const;  // as it stands behind a number; empty for a count or a bare one
  FormulaType formula_type() const;    // of the whole value
  FormulaType item_type() const;       // of an item of a list; the same where it is none
};

// Text with placeholders `${formula}` and `@{job name}`, cut into pieces.
struct TemplatePiece {
  enum class Of : std::uint8_t { literal, formula, job } of = Of::literal;
  std::string_view literal;  // for job: the whole placeholder, kept as it is
  std::optional<Formula> formula;
};
struct Template {
  std::vector<TemplatePiece> pieces;
};

struct Rule {
  std::string_view name;
  Span span;
  Formula assertion;
  Severity severity = Severity::error;
  Template say;
  std::string_view say_text, help, source;
};

class Dictionary {
 public:
  std::vector<Setting> settings;
  std::array<KeyId, role_count> roles;  // no_key: the tree gives that role to no setting
  std::vector<std::string_view> job;
  std::vector<Rule> rules;  // sorted by name
  CodeList codes;           // of scripts; empty where the tree has no list, and then no script is checked
  bool broken = false;      // some entry was reported
  bool incomplete = false;  // a file of it is missing or unreadable, so that an unknown key proves nothing

  KeyId find(std::string_view key) const;
  KeyId role(Role role) const { return roles[static_cast<std::size_t>(role)]; }
  std::string nearest_key(std::string_view key) const;
  // Does `key` begin longer keys ("wall" of "wall.outer.speed")?
  bool is_group(std::string_view key) const;

  // The scope of a formula that may name any setting, or facts alone.
  FormulaScope scope(bool facts_only) const;
  // The same for a value of `setting`, in which `inherited` may stand.
  FormulaScope scope_for(const Setting& setting, bool may_inherit) const;

  std::unordered_map<std::string_view, KeyId> index;
  std::deque<Document> documents;        // own the texts that are not bytes of the files
  std::deque<std::vector<Value>> lists;  // own the lists of defaults
  std::deque<std::string> joined;        // own their texts
  std::shared_ptr<Units> units;
};

// Reads the dictionary, on so many threads; `units` serves the later stages too.
Dictionary read_dictionary(const Sources& sources, std::shared_ptr<Units> units, unsigned jobs, Diagnostics& out);

// A literal read as a value of `setting` (an item of it, for a list). Gives nothing after one report.
std::optional<Value> read_literal(const Setting& setting, const Text& text, Units& units, Diagnostics& out);

// Is it a temperature, or does it shift or scale one? What it says can burn.
bool concerns_heat(const Setting& setting);

// A value as the language writes it, with its unit where it has one; "unset" where there is none. The second is for
// a number in the setting's unit.
std::string written(const Setting& setting, const Value& value);
std::string written(const Setting& setting, double number);

// A difference to add to a value of `setting`, in its unit: degrees in K, points of a percentage in %.
std::optional<double> read_difference(const Setting& setting, const Text& text, Units& units, Diagnostics& out);

// A ratio: `1.2` or `110 %`.
std::optional<double> read_ratio(const Text& text, Units& units, Diagnostics& out);

// Cuts a text with placeholders. `bare` asks that each formula give a bare number, a word or a flag, unless it is
// a key alone. `place` finds the place of text[offset, offset + length).
std::optional<Template> read_template(const Text& text, const Dictionary& dictionary, bool bare,
                                      const std::function<Span(std::size_t, std::size_t)>& place, Diagnostics& out);

}  // namespace bindery
