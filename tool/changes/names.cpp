// The names of profiles and settings, and the groups by which a person speaks of them.
#include <algorithm>
#include <array>
#include <map>
#include <unordered_map>

#include <fmt/format.h>

#include "base/json.h"
#include "changes/pairs.h"
#include "changes/pool.h"
#include "changes/trace.h"

namespace bindery {

namespace {

// Numbers the names of one kind on either side, and finds what groups them.
class CastMaker {
 public:
  explicit CastMaker(Cast& cast) : cast_(cast) {}

  // `side` says which of the two trees it is.
  std::uint32_t add(std::size_t side, const Tree& tree, FragmentId id) {
    Numbers& numbers = numbers_[side];
    if (numbers.tree == nullptr) {
      numbers.tree = &tree;
      numbers.of.assign(tree.fragments.size(), none);
      numbers.heirs.resize(tree.fragments.size());
    }
    if (numbers.of[id] == none) numbers.of[id] = number(numbers, id);
    return numbers.of[id];
  }

  // Families: what extends one fragment, on either side, as long as its title is the same.
  void finish() {
    std::map<std::string, std::map<std::string_view, std::vector<std::uint32_t>>> families;
    for (const Numbers& numbers : numbers_) {
      for (FragmentId id = 0; id < numbers.heirs.size(); ++id) {
        const auto& heirs = numbers.heirs[id];
        if (heirs.empty()) continue;
        auto& members = families[(*numbers.tree)[id].id()][(*numbers.tree)[id].title];
        members.insert(members.end(), heirs.begin(), heirs.end());
      }
    }
    for (auto& [id, titled] : families) {
      for (auto& [title, members] : titled) {
        std::sort(members.begin(), members.end());
        members.erase(std::unique(members.begin(), members.end()), members.end());
        if (members.size() > 1) cast_.families.push_back({std::string(title), std::move(members)});
      }
    }
    std::stable_sort(cast_.families.begin(), cast_.families.end(),
                     [](const Family& a, const Family& b) { return a.members.size() < b.members.size(); });
  }

 private:
  static constexpr std::uint32_t none = 0xffffffffu;

  // Of one tree, by fragment.
  struct Numbers {
    const Tree* tree = nullptr;
    std::vector<std::uint32_t> of;
    std::vector<std::vector<std::uint32_t>> heirs;  // the numbers of what extends it
  };

  std::uint32_t number(Numbers& numbers, FragmentId id) {
    const Tree& tree = *numbers.tree;
    auto [at, fresh] = index_.emplace(std::string(tree[id].name()), static_cast<std::uint32_t>(cast_.names.size()));
    if (!fresh) return at->second;
    cast_.names.emplace_back(tree[id].name());
    cast_.titles.emplace_back(tree[id].title);
    cast_.nozzles.emplace_back();
    for (FragmentId each : tree[id].linear) {
      if (each != id) numbers.heirs[each].push_back(at->second);
    }
    return at->second;
  }

  Cast& cast_;
  std::array<Numbers, 2> numbers_;
  std::unordered_map<std::string, std::uint32_t> index_;
};

}  // namespace

PlainValue plain(const Value& value) {
  JsonWriter json(0);
  value_json(value, json);
  PlainValue out;
  out.json = json.finish();
  while (out.json.ends_with('\n')) out.json.pop_back();
  if (value.is(Value::Tag::number)) out.number = value.number();
  return out;
}

void name_profiles(const Side& from, const Side& to, const std::vector<Pair>& pairs, Changes& out) {
  std::vector<CastMaker> makers;
  for (Cast& cast : out.cast) makers.emplace_back(cast);
  for (const Pair& pair : pairs) {
    const Side& side = pair.now ? to : from;
    const Triple& triple = side.selection->profiles[pair.now ? *pair.now : *pair.old].triple;
    ProfileName& name = out.profiles.emplace_back();
    name.id = profile_id(*side.tree, triple);
    name.now = pair.now.has_value();
    for (std::size_t k = 0; k < kind_count; ++k)
      name.parts[k] = makers[k].add(pair.now ? 1 : 0, *side.tree, triple.of[k]);
  }
  for (CastMaker& maker : makers) maker.finish();
}

void name_settings(const Dictionary& from, const Dictionary& to, const CommonKeys& keys, Changes& out) {
  for (std::uint32_t i = 0; i < keys.size(); ++i) {
    KeyId old = keys.key[0][i], now = keys.key[1][i];
    const Setting& setting = now != no_key ? to.settings[now] : from.settings[old];
    SettingName name;
    name.key = setting.key;
    name.title = setting.title;
    name.unit = setting.unit_text();
    name.old_unit = old != no_key ? from.settings[old].unit_text() : setting.unit_text();
    name.thermal = concerns_heat(setting);
    name.points = name.unit == "%";
    name.gone = now == no_key;
    out.settings.push_back(std::move(name));
  }
}

}  // namespace bindery
