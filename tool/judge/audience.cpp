#include "judge/audience.h"

#include <algorithm>

#include "dialect/dialect.h"

namespace bindery {

Audience::Audience(Tier tier, const std::vector<Side>& sides) : tier_(tier) {
  if (tier == Tier::supporter) return;
  for (const Side& side : sides) {
    const Tree& tree = *side.tree;
    for (const BoundFragment& fragment : tree.fragments) {
      if (fragment.chain_tier > tier) hidden_.insert(fragment.raw->file);
    }
    // The plan and the notes speak of both tiers.
    for (FileId id = 0; id < tree.sources->files.size(); ++id) {
      if ((*tree.sources)[id].path.starts_with("release/")) hidden_.insert(id);
    }
    Diagnostics silent;
    for (const Dialect& each : read_dialects(tree, silent)) {
      if (each.tier > tier) hidden_.insert(each.file);
    }
  }
}

bool Audience::may_be_told(const Diagnostic& item) const {
  if (item.supporters && tier_ == Tier::free) return false;
  return !is_hidden(item.span.file) && std::none_of(item.related.begin(), item.related.end(),
                                                    [&](const Related& each) { return is_hidden(each.span.file); });
}

}  // namespace bindery
