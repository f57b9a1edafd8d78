// From a difference to the edits that made it, along the provenance of the value on both sides.
//
// A value differs because an operation on it was edited, came or went with an inheritance or a condition, because the
// dictionary's entry was edited, because a limit was, or because a setting that it reads differs; the last is traced in
// turn. Where several of these meet in one value, those without which it comes out the same are left out again: an
// edit that another one covers, or that a limit swallows, is no cause.
#pragma once

#include <array>
#include <map>
#include <set>
#include <vector>

#include "changes/edits.h"
#include "resolve/profile.h"

namespace bindery {

// The settings of both dictionaries under common numbers: those of the new one, then what only the old one has.
struct CommonKeys {
  static constexpr std::uint32_t none = 0xffffffffu;
  std::array<std::vector<KeyId>, 2> key;             // by common number; no_key where that side lacks it
  std::array<std::vector<std::uint32_t>, 2> number;  // by key

  std::size_t size() const { return key[1].size(); }
};
CommonKeys common_keys(const Dictionary& from, const Dictionary& to);

// Are two values written equal, their units included?
bool written_equal(const Setting& left, const Value& a, const Setting& right, const Value& b);

// A profile on one side.
struct Half {
  const Tree* tree = nullptr;
  Triple triple;
  Resolver::Axes axes{};
  const Profile* profile = nullptr;
};

using EditSet = std::set<std::uint32_t>;

// Traces differences of one pair of profiles; both must have resolved whatever is asked for.
class Tracer {
 public:
  Tracer(const std::array<Half, 2>& halves, const EditTable& edits, const FragmentMap& map, const CommonKeys& keys)
      : halves_(halves), edits_(edits), map_(map), keys_(keys) {}

  // The edits because of which a setting differs; or, where `of_limit`, because of which a limit holds it back on one
  // side alone.
  EditSet causes_of(std::uint32_t setting, bool of_limit);
  // The same for a script.
  EditSet causes_of(ScriptSlot slot);
  // Is its value another?
  bool differs(std::uint32_t setting) const;

 private:
  // What may have made a value differ, directly.
  struct Suspects {
    EditSet edits;  // operations, limits and the default of this setting: each can be left out on trial
    EditSet fixed;  // inheritance, conditions, the dictionary: taken as they are
    std::set<std::uint32_t> inputs;  // settings it reads that differ: each can be left as it was on trial
    std::set<std::uint32_t> facts;   // those that conditions read
    std::set<std::size_t> by_facts;  // the kinds whose blocks they decide on
  };

  const Cell& cell(std::size_t side, KeyId key) const { return halves_[side].profile->cells[key]; }
  const Setting& setting(std::size_t side, KeyId key) const { return halves_[side].tree->dictionary.settings[key]; }

  Suspects suspects_of(std::uint32_t number) const;
  void add_story(std::size_t side, std::uint32_t number, Suspects& out) const;
  void add_default(std::size_t side, std::uint32_t number, Suspects& out) const;
  void add_operation(std::size_t side, FragmentId fragment, std::uint32_t layer, const Address& address,
                     Suspects& out) const;
  void add_limit(std::size_t side, std::uint32_t number, Suspects& out) const;
  void add_hidden(std::uint32_t number, Suspects& out) const;
  void add_limits_beside(std::uint32_t number, Suspects& out) const;
  void add_reads(std::size_t side, const Formula& formula, const Value& inherited, Suspects& out) const;
  void add_input(std::size_t side, KeyId key, Suspects& out) const;
  void add_schema(Part part, std::string_view name, EditSet& out) const;
  void add_inheritance(std::size_t side, FragmentId fragment, Suspects& out) const;
  void add_condition(std::size_t side, FragmentId fragment, std::uint32_t layer, Suspects& out) const;
  bool in_force(std::size_t side, FragmentId fragment, std::uint32_t layer) const;
  bool in_chain(std::size_t side, FragmentId fragment) const;

  // trial.cpp
  std::optional<std::size_t> axis_of(std::uint32_t edit) const;
  // Takes out of the suspects what makes no difference.
  void prune(std::uint32_t number, bool of_limit, Suspects& suspects) const;
  void prune_scripts(ScriptSlot slot, Suspects& suspects) const;
  std::string script_texts(ScriptSlot slot, const EditSet& undone) const;

  const std::array<Half, 2>& halves_;
  const EditTable& edits_;
  const FragmentMap& map_;
  const CommonKeys& keys_;
  std::map<std::pair<std::uint32_t, bool>, EditSet> known_;
};

// The layer that holds an operation, a bound or a script's text.
std::uint32_t layer_of(const BoundFragment& fragment, const Op& op);
std::uint32_t layer_of(const BoundFragment& fragment, const Bound& bound);
std::uint32_t layer_of(const BoundFragment& fragment, const ScriptOp& op);

}  // namespace bindery
