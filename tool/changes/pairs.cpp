#include "changes/pairs.h"

#include <map>

namespace bindery {

std::vector<Pair> pair_profiles(const Side& from, const Side& to, const FragmentMap& map, Tier audience) {
  std::map<Triple, std::uint32_t> old;
  for (std::uint32_t i = 0; i < from.selection->profiles.size(); ++i) {
    if (from.selection->profiles[i].tier <= audience) old.emplace(from.selection->profiles[i].triple, i);
  }
  std::vector<Pair> out;
  for (std::uint32_t i = 0; i < to.selection->profiles.size(); ++i) {
    const Selected& now = to.selection->profiles[i];
    if (now.tier > audience) continue;
    Triple twin;
    for (std::size_t k = 0; k < kind_count; ++k) twin.of[k] = map.of(1, now.triple.of[k]);
    auto at = old.find(twin);
    if (at == old.end()) {
      out.push_back({std::nullopt, i});
      continue;
    }
    out.push_back({at->second, i});
    old.erase(at);
  }
  for (const auto& [triple, index] : old) out.push_back({index, std::nullopt});
  return out;
}

}  // namespace bindery
