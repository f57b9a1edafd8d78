// The edits between two trees, found by comparing what their files say, piece by piece; no triple is looked at.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <tuple>
#include <vector>

#include "changes/changes.h"

namespace bindery {

// A piece of a fragment that its two versions write differently.
struct PieceEdit {
  Part part = Part::settings;
  std::string name;                      // key, pattern, script or header word
  std::string condition;                 // of the block it stands in
  std::array<std::uint32_t, 2> layer{};  // where it stands on each side
  std::string before, after;             // empty where there is none
};

// The edits of one fragment, at most one of which is missing; and the blocks of both that are each other's versions.
struct FragmentEdits {
  std::vector<PieceEdit> pieces;
  std::vector<std::pair<std::uint32_t, std::uint32_t>> blocks;  // old and new layer
};
FragmentEdits compare_fragments(const Fragment* old, const Fragment* now);

// Which fragment of the one tree is which of the other: by name, or by `replaces` of the new one.
struct FragmentMap {
  std::array<std::vector<FragmentId>, 2> other;  // by side: of each fragment its counterpart, or no_fragment

  FragmentId of(std::size_t side, FragmentId id) const { return other[side][id]; }
};
FragmentMap map_fragments(const Tree& from, const Tree& to);

// Where a piece stands on one side.
struct Address {
  FragmentId fragment = no_fragment;  // no_fragment for dictionary and plan
  std::uint32_t layer = 0;
  Part part = Part::settings;
  std::string name;  // key, pattern, script, setting, set
  auto operator<=>(const Address&) const = default;
};

struct EditTable {
  static constexpr std::uint32_t none = 0xffffffffu;

  std::vector<Edit> edits;
  std::vector<std::array<std::optional<Address>, 2>> places;  // of each edit on each side
  std::array<std::map<Address, std::uint32_t>, 2> index;
  std::array<std::map<LayerRef, std::uint32_t>, 2> blocks;  // of `when` blocks: the counterpart's index, or none

  std::array<std::vector<bool>, 2> touched;  // by fragment: is anything of it edited?

  bool touches(std::size_t side, FragmentId fragment) const {
    return fragment < touched[side].size() && touched[side][fragment];
  }
  // The edit of that piece, or none.
  std::uint32_t find(std::size_t side, const Address& address) const;
  void add(Edit edit, std::optional<Address> from, std::optional<Address> to);
};

// All edits that the audience may know of.
EditTable find_edits(const Tree& from, const Tree& to, const FragmentMap& map, Tier audience);

// Adds those of the dictionary, and of the plan.
void add_schema_edits(const Tree& from, const Tree& to, EditTable& table);
void add_plan_edits(const Tree& from, const Tree& to, Tier audience, EditTable& table);

// Adds which dialects of the audience came, went or have another table.
void add_dialect_edits(const Tree& from, const Tree& to, Tier audience, EditTable& table);

// The edits of `extends` because of which `own`, on one side, has `fragment` in its chain, and on the other has not.
std::vector<std::uint32_t> inheritance_edits(const std::array<const Tree*, 2>& trees, const FragmentMap& map,
                                             const EditTable& edits, std::size_t side, FragmentId own,
                                             FragmentId fragment);

// A text with its lists of names left out: "material: [...]".
std::string without_names(const std::string& text);

// A value, a condition, a script as the language writes it, on one line where it is one.
std::string as_written(const RawValue& value);
// A word in quotes where it would be read as something else without.
std::string word_as_written(std::string_view text);
std::string as_written(const Condition& condition);
std::string joined(const std::vector<Text>& words);

}  // namespace bindery
