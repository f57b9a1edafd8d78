#include "judge/reached.h"

#include <algorithm>
#include <map>

namespace bindery {

namespace {

bool same_dictionary(const Tree& base, const Tree& proposal) {
  const Sources &old = *base.sources, &now = *proposal.sources;
  for (FileId id = 0; id < now.files.size(); ++id) {
    if (!now[id].path.starts_with("schema/")) continue;
    if (old[id].present != now[id].present || old[id].text != now[id].text) return false;
  }
  return true;
}

class Reach {
 public:
  Reach(const Side& base, const Side& proposal)
      : base_(base), proposal_(proposal), all_(!same_dictionary(*base.tree, *proposal.tree)) {
    const Tree& tree = *proposal.tree;
    same_.assign(tree.fragments.size(), false);
    for (FragmentId id = 0; id < tree.fragments.size(); ++id) same_[id] = same_chain(id);
  }

  std::vector<ReachedProfile> find() {
    std::map<Triple, Tier> old;  // those that no profile of the proposal has met
    for (const Selected& each : base_.selection->profiles) old.emplace(each.triple, each.tier);
    for (const Triple& each : base_.selection->drafts) old.emplace(each, fragment_tier(*base_.tree, each));
    std::vector<ReachedProfile> out;
    auto look = [&](const Triple& triple, Tier tier) {
      Triple twin;
      for (std::size_t k = 0; k < kind_count; ++k) {
        const BoundFragment& fragment = (*proposal_.tree)[triple.of[k]];
        twin.of[k] = base_.tree->find(fragment.kind(), fragment.name());
      }
      auto at = old.find(twin);
      bool met = at != old.end();
      if (met) old.erase(at);
      bool same =
          met && !all_ && std::all_of(triple.of.begin(), triple.of.end(), [&](FragmentId id) { return same_[id]; });
      if (!same) out.push_back({met ? std::optional(twin) : std::nullopt, triple, tier});
    };
    for (const Selected& each : proposal_.selection->profiles) look(each.triple, each.tier);
    for (const Triple& each : proposal_.selection->drafts) look(each, fragment_tier(*proposal_.tree, each));
    for (const auto& [triple, tier] : old) out.push_back({triple, std::nullopt, tier});
    return out;
  }

 private:
  // Has the base the same fragment with the same ancestors? Equal texts are shared, so they are one object.
  bool same_chain(FragmentId id) const {
    const BoundFragment& now = (*proposal_.tree)[id];
    FragmentId twin = base_.tree->find(now.kind(), now.name());
    if (twin == no_fragment) return false;
    const BoundFragment& old = (*base_.tree)[twin];
    if (old.linear.size() != now.linear.size() || old.broken != now.broken || !now.linked()) return false;
    for (std::size_t i = 0; i < now.linear.size(); ++i) {
      if ((*base_.tree)[old.linear[i]].raw != (*proposal_.tree)[now.linear[i]].raw) return false;
    }
    return true;
  }

  const Side& base_;
  const Side& proposal_;
  bool all_;
  std::vector<bool> same_;
};

}  // namespace

std::vector<ReachedProfile> reached_profiles(const Side& base, const Side& proposal) {
  return Reach(base, proposal).find();
}

}  // namespace bindery
