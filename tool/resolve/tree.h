// Stage 4, first half: fragments bound to the dictionary, linked by inheritance, each linearised.
//
// load_tree() does what needs no triple: it reads every fragment once, on all cores, turns keys into numbers and
// texts into values and formulas, links `extends`, and linearises with C3. profile.h resolves triples of it.
#pragma once

#include <array>
#include <cstdint>
#include <list>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "base/diagnostic.h"
#include "base/progress.h"
#include "base/value.h"
#include "formula/formula.h"
#include "resolve/names.h"
#include "schema/dictionary.h"
#include "source/source.h"
#include "syntax/fragment.h"
#include "syntax/plan.h"

namespace bindery {

inline constexpr FragmentId no_fragment = 0xffffffffu;

// One operation on one key.
struct Op {
  OpKind kind = OpKind::set;
  bool sound = true;  // false: what it holds was reported; its value is poison
  KeyId key = no_key;
  FragmentId fragment = no_fragment;
  Value literal;                     // set: the value; append, remove: a list
  double amount = 0;                 // add: in the setting's unit; scale: the ratio
  const Formula* formula = nullptr;  // calc
  Span key_span, value_span;

  // Does it hide all that lies below?
  bool hides() const {
    return kind == OpKind::set || kind == OpKind::unset ||
           (kind == OpKind::calc && (formula == nullptr || !formula->reads_inherited));
  }
};

// One bound of one pattern.
struct Bound {
  RawBound::Side side = RawBound::Side::at_most;
  bool refuse = false;
  bool drop = false;  // the pattern's earlier bound of this side goes
  std::string_view pattern;
  FragmentId fragment = no_fragment;
  double base = 0;                      // literal, in working units; a count as it is
  const Formula* formula = nullptr;     // instead of a literal
  std::vector<std::string_view> words;  // among
  std::vector<KeyId> keys;              // the settings it binds
  Span pattern_span, span;              // of the pattern, of the bound's value
};

struct ScriptOp {
  RawScript::Act act = RawScript::Act::replace;
  ScriptSlot slot = ScriptSlot::start;
  FragmentId fragment = no_fragment;
  std::optional<Template> text;  // absent for drop, and where it was reported
  const Text* source = nullptr;
  Span span;
};

struct BoundCondition {
  NameCondition names;
  std::optional<Formula> where;
  bool sound = true;
  Span span;
};

struct Layer {
  std::optional<BoundCondition> condition;  // absent: the fragment's own part
  std::vector<Op> settings, adjust;
  std::vector<Bound> bounds;
  std::vector<ScriptOp> scripts;
};

// A number that a macro leaves: a literal in working units, or a formula.
struct MacroValue {
  double base = 0;
  const Formula* formula = nullptr;
};

// A macro of a machine's firmware, bound.
struct Macro {
  std::string_view name;
  bool drop = false;
  bool needs_homed = false, needs_hot = false, fans_off = false, motors_off = false;
  std::vector<std::string_view> takes;
  std::array<bool, 3> homed{};                          // x, y, z
  std::array<std::optional<MacroValue>, 3> positioned;  // the same
  std::array<std::optional<MacroValue>, heater_count> hot;
  std::array<bool, heater_count> heaters_off{};
  std::optional<MacroValue> extruded;
  Span span;
};

struct Lock {
  KeyId key = no_key;
  FragmentId fragment = no_fragment;
  Span span;
};

struct BoundFragment {
  const Fragment* raw = nullptr;
  std::vector<FragmentId> extends;  // direct parents, first wins
  std::vector<FragmentId> linear;   // C3: itself first, root last; empty where it has none
  std::vector<Layer> layers;        // its own part first, then its `when` blocks
  std::vector<Lock> locks;
  std::vector<Macro> macros;
  std::optional<BoundCondition> fits;
  std::string_view title;        // its own, else its base's, else its name
  Tier tier = Tier::free;        // its own
  Tier chain_tier = Tier::free;  // the highest of its linearisation
  Status status = Status::beta;
  bool abstract = false;
  bool broken = false;  // an error in it or in what it extends: not whole
  // What the layers point into; lists, since most have none and an empty one takes no memory.
  std::list<Formula> formulas;
  std::list<std::vector<Value>> lists;

  Kind kind() const { return raw->kind; }
  std::string_view name() const { return raw->name; }
  bool linked() const { return !linear.empty(); }
  std::string id() const;  // "machine/heron-220+0.4"
};

struct Tree {
  const Sources* sources = nullptr;
  Dictionary dictionary;
  Plan plan;
  std::map<FileId, std::shared_ptr<const FragmentFile>> files;  // shared by trees that hold the same text
  std::vector<BoundFragment> fragments;                         // sorted by kind, then name
  std::array<std::vector<FragmentId>, kind_count> of_kind;      // sorted by name
  std::array<std::unordered_map<std::string_view, FragmentId>, kind_count> index;

  std::array<std::map<std::string, FragmentId, std::less<>>, kind_count> successors;  // of old names, by `replaces`

  // By kind: did a file not parse, and is there a folder or file of another form that could not be read?
  std::array<bool, kind_count> unparsed{}, unread{};

  const BoundFragment& operator[](FragmentId id) const { return fragments[id]; }
  FragmentId find(Kind kind, std::string_view name) const;
  // Could there be a fragment of that name (or glob) in a file or folder that was reported as unreadable? Then its
  // absence says nothing.
  bool may_be_unread(Kind kind, std::string_view name) const;
};

struct LoadForm {
  // What it has read of an equal text is shared, not read again, unless that had an error: its sources were aligned
  // with these and outlive the tree as well.
  const Tree* like = nullptr;
  // Has a stage at hand that counts files, and gets one for linking.
  Progress* progress = nullptr;
  // The sources are a part of a tree, so names in conditions may match what is not here.
  bool part = false;
};

// `sources` must outlive the tree. Reports everything that is wrong without looking at any triple.
Tree load_tree(const Sources& sources, unsigned jobs, Diagnostics& out, const LoadForm& form = {});

// The steps of `extends` from a fragment to one of its ancestors, both included: the shortest, by the order of listing.
std::vector<FragmentId> extends_path(const Tree& tree, FragmentId from, FragmentId to);

// Links and linearises; called by load_tree().
void link_fragments(Tree& tree, Diagnostics& out);

// Binds the macros of one fragment; called by bind_fragment().
void bind_macros(const Tree& tree, BoundFragment& target, Diagnostics& out);

// Binds one fragment's values to the dictionary; called by load_tree().
void bind_fragment(const Tree& tree, FragmentId id, BoundFragment& target, Diagnostics& out);

}  // namespace bindery
