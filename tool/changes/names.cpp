// The names of profiles and settings, and the groups by which a person speaks of them.
#include <algorithm>
#include <set>

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
    auto& known = numbers_[side];
    if (known.empty()) known.assign(tree.fragments.size(), none);
    if (known[id] == none) known[id] = find(tree, id);
    return known[id];
  }

  void finish() {
    for (auto& [id, titled] : families_) {
      for (auto& [title, members] : titled) {
        if (members.size() > 1) cast_.families.push_back({std::string(title), {members.begin(), members.end()}});
      }
    }
    std::stable_sort(cast_.families.begin(), cast_.families.end(),
                     [](const Family& a, const Family& b) { return a.members.size() < b.members.size(); });
  }

 private:
  static constexpr std::uint32_t none = 0xffffffffu;

  std::uint32_t find(const Tree& tree, FragmentId id) {
    auto [at, fresh] = index_.emplace(std::string(tree[id].name()), static_cast<std::uint32_t>(cast_.names.size()));
    if (!fresh) return at->second;
    cast_.names.emplace_back(tree[id].name());
    cast_.titles.emplace_back(tree[id].title);
    cast_.nozzles.emplace_back();
    for (FragmentId each : tree[id].linear) {
      if (each != id)
        families_[tree[each].id()]
            .emplace(tree[each].title, std::set<std::uint32_t>())
            .first->second.insert(at->second);
    }
    return at->second;
  }

  Cast& cast_;
  std::array<std::vector<std::uint32_t>, 2> numbers_;  // by fragment of either tree
  std::map<std::string, std::uint32_t> index_;
  std::map<std::string, std::map<std::string_view, std::set<std::uint32_t>>> families_;
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
