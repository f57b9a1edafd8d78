// Which profile of the one side is which of the other, for one audience.
#pragma once

#include <optional>
#include <vector>

#include "changes/edits.h"

namespace bindery {

// A profile of either side or of both, as indexes in their selections. Renames are followed by `replaces`.
struct Pair {
  std::optional<std::uint32_t> old, now;
};

// Those of the new side in their order, then those that only the old one has.
std::vector<Pair> pair_profiles(const Side& from, const Side& to, const FragmentMap& map, Tier audience);

}  // namespace bindery
