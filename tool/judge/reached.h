// The profiles that a contribution can reach.
#pragma once

#include <optional>
#include <vector>

#include "changes/changes.h"

namespace bindery {

// A profile or draft of either side or of both, by its triples; the tier is the new side's, else the old one's.
struct ReachedProfile {
  std::optional<Triple> before, after;
  Tier tier = Tier::free;
};

// Those whose fragments, in any of the three linearisations, or whose dictionary have another text; and those that one
// side alone selects. Renamed ones count as gone and come.
std::vector<ReachedProfile> reached_profiles(const Side& base, const Side& proposal);

}  // namespace bindery
