#include "changes/edits.h"

#include <algorithm>
#include <set>

#include <fmt/format.h>

namespace bindery {

namespace {

constexpr std::string_view part_names[] = {
    "fragment",   "words",    "extends",  "abstract", "tier",    "status",  "replaces", "locked",
    "fits",       "when",     "settings", "adjust",   "limits",  "scripts", "macros",   "setting",
    "unit",       "choices",  "default",  "range",    "typical", "kinds",   "required", "fact",
    "over_limit", "extrudes", "rule",     "role",     "job",     "code",    "set",      "default_tier"};

bool is_thermal(const Tree& tree, std::string_view key) {
  KeyId id = tree.dictionary.find(key);
  return id != no_key && concerns_heat(tree.dictionary.settings[id]);
}

// A pattern of `limits` is thermal where it binds a thermal setting.
bool binds_thermal(const BoundFragment& fragment, std::string_view pattern, const Dictionary& dictionary) {
  for (const Layer& layer : fragment.layers) {
    for (const Bound& bound : layer.bounds) {
      if (bound.pattern != pattern) continue;
      for (KeyId key : bound.keys) {
        if (concerns_heat(dictionary.settings[key])) return true;
      }
    }
  }
  return false;
}

class Finder {
 public:
  Finder(const Tree& from, const Tree& to, const FragmentMap& map, Tier audience)
      : trees_{&from, &to}, map_(map), audience_(audience) {}

  EditTable find() {
    for (FragmentId id = 0; id < trees_[1]->fragments.size(); ++id) compare(map_.of(1, id), id);
    for (FragmentId id = 0; id < trees_[0]->fragments.size(); ++id) {
      if (map_.of(0, id) == no_fragment) compare(id, no_fragment);
    }
    add_schema_edits(*trees_[0], *trees_[1], table_);
    add_plan_edits(*trees_[0], *trees_[1], audience_, table_);
    add_dialect_edits(*trees_[0], *trees_[1], audience_, table_);
    return std::move(table_);
  }

 private:
  // What the audience may not have is not there for it.
  const BoundFragment* visible(std::size_t side, FragmentId id) const {
    if (id == no_fragment) return nullptr;
    const BoundFragment& fragment = (*trees_[side])[id];
    return fragment.chain_tier > audience_ ? nullptr : &fragment;
  }

  void compare(FragmentId old_id, FragmentId new_id) {
    const BoundFragment *old = visible(0, old_id), *now = visible(1, new_id);
    if (old == nullptr && now == nullptr) return;
    for (const BoundFragment* each : {old, now}) {
      if (each != nullptr && !each->raw->parsed) return;  // its file says nothing
    }
    // Shared by both trees: the text is the same.
    if (old != nullptr && now != nullptr && old->raw == now->raw) return pair_equal_blocks(*old, old_id, new_id);
    FragmentEdits found = compare_fragments(old == nullptr ? nullptr : old->raw, now == nullptr ? nullptr : now->raw);
    for (const auto& [left, right] : found.blocks) pair(old_id, left, new_id, right);
    for (PieceEdit& piece : found.pieces) add(std::move(piece), old, old_id, now, new_id);
  }

  void pair_equal_blocks(const BoundFragment& fragment, FragmentId old_id, FragmentId new_id) {
    for (std::uint32_t i = 1; i < fragment.raw->layers.size(); ++i) pair(old_id, i, new_id, i);
  }

  void pair(FragmentId old_id, std::uint32_t left, FragmentId new_id, std::uint32_t right) {
    table_.blocks[0].emplace(LayerRef{old_id, left}, right);
    table_.blocks[1].emplace(LayerRef{new_id, right}, left);
  }

  void add(PieceEdit&& piece, const BoundFragment* old, FragmentId old_id, const BoundFragment* now,
           FragmentId new_id) {
    Edit edit;
    edit.part = piece.part;
    edit.fragment = now != nullptr ? now->id() : old->id();
    if (now != nullptr && old != nullptr && old->id() != edit.fragment) edit.old_fragment = old->id();
    edit.condition = std::move(piece.condition);
    edit.before = std::move(piece.before);
    edit.after = std::move(piece.after);
    if (now != nullptr) edit.file = (*trees_[1]->sources)[now->raw->file].path;
    if (old != nullptr) {
      const std::string& path = (*trees_[0]->sources)[old->raw->file].path;
      (edit.file.empty() ? edit.file : edit.old_file) = path;
      if (edit.old_file == edit.file) edit.old_file.clear();
    }
    bool values = piece.part == Part::settings || piece.part == Part::adjust;
    bool limits = piece.part == Part::limits;
    for (std::size_t side : {0u, 1u}) {
      const BoundFragment* fragment = side == 0 ? old : now;
      if (fragment == nullptr) continue;
      edit.thermal |= values && is_thermal(*trees_[side], piece.name);
      edit.thermal |= limits && binds_thermal(*fragment, piece.name, trees_[side]->dictionary);
    }
    std::optional<Address> places[2];
    if (old != nullptr && (!edit.before.empty() || piece.part < Part::settings))
      places[0] = Address{old_id, piece.layer[0], piece.part, piece.name};
    if (now != nullptr && (!edit.after.empty() || piece.part < Part::settings))
      places[1] = Address{new_id, piece.layer[1], piece.part, piece.name};
    edit.setting = std::move(piece.name);
    // Names in conditions may be those of what the free audience does not have.
    if (audience_ == Tier::free) {
      edit.condition = without_names(edit.condition);
      if (piece.part == Part::fits || piece.part == Part::when || piece.part == Part::replaces) {
        edit.before = without_names(edit.before);
        edit.after = without_names(edit.after);
      }
    }
    table_.add(std::move(edit), std::move(places[0]), std::move(places[1]));
  }

  std::array<const Tree*, 2> trees_;
  const FragmentMap& map_;
  Tier audience_;
  EditTable table_;
};

}  // namespace

std::string without_names(const std::string& text) {
  std::string out;
  bool inside = false;
  for (char c : text) {
    inside &= c != ']';
    if (!inside) out += c;
    if (c != '[') continue;
    inside = true;
    out += "...";
  }
  return out;
}

std::string_view name_of(Part part) { return part_names[static_cast<std::size_t>(part)]; }

FragmentMap map_fragments(const Tree& from, const Tree& to) {
  FragmentMap map;
  map.other[0].assign(from.fragments.size(), no_fragment);
  map.other[1].assign(to.fragments.size(), no_fragment);
  auto join = [&](FragmentId old_id, FragmentId new_id) {
    if (new_id == no_fragment || map.other[0][old_id] != no_fragment || map.other[1][new_id] != no_fragment) return;
    map.other[0][old_id] = new_id;
    map.other[1][new_id] = old_id;
  };
  for (FragmentId id = 0; id < from.fragments.size(); ++id) join(id, to.find(from[id].kind(), from[id].name()));
  for (FragmentId id = 0; id < from.fragments.size(); ++id) {
    const auto& successors = to.successors[static_cast<std::size_t>(from[id].kind())];
    auto now = successors.find(from[id].name());
    if (now != successors.end()) join(id, now->second);
  }
  return map;
}

std::uint32_t EditTable::find(std::size_t side, const Address& address) const {
  auto at = index[side].find(address);
  return at == index[side].end() ? none : at->second;
}

void EditTable::add(Edit edit, std::optional<Address> from, std::optional<Address> to) {
  auto id = static_cast<std::uint32_t>(edits.size());
  auto enter = [&](std::size_t side, const std::optional<Address>& place) {
    if (!place) return;
    index[side].emplace(*place, id);
    if (place->fragment == no_fragment) return;
    if (touched[side].size() <= place->fragment) touched[side].resize(place->fragment + 1, false);
    touched[side][place->fragment] = true;
  };
  enter(0, from);
  enter(1, to);
  edits.push_back(std::move(edit));
  places.push_back({std::move(from), std::move(to)});
}

EditTable find_edits(const Tree& from, const Tree& to, const FragmentMap& map, Tier audience) {
  return Finder(from, to, map, audience).find();
}

std::vector<std::uint32_t> inheritance_edits(const std::array<const Tree*, 2>& trees, const FragmentMap& map,
                                             const EditTable& edits, std::size_t side, FragmentId own,
                                             FragmentId fragment) {
  const Tree &tree = *trees[side], &opposite = *trees[1 - side];
  FragmentId twin = map.of(side, fragment);
  auto reaches = [](const Tree& t, FragmentId from, FragmentId to) {
    return to != no_fragment && std::find(t[from].linear.begin(), t[from].linear.end(), to) != t[from].linear.end();
  };
  std::vector<std::uint32_t> out;
  for (FragmentId each : tree[own].linear) {
    std::uint32_t edit = edits.find(side, {each, 0, Part::extends, "extends"});
    if (edit == EditTable::none || !reaches(tree, each, fragment)) continue;
    FragmentId counterpart = map.of(side, each);
    if (counterpart == no_fragment || !reaches(opposite, counterpart, twin)) out.push_back(edit);
  }
  return out;
}

}  // namespace bindery
