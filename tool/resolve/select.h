// Which triples the plan's sets take, and for whom.
#pragma once

#include <vector>

#include "resolve/profile.h"
#include "resolve/tree.h"
#include "syntax/limits.h"

namespace bindery {

// A triple that some set takes.
struct Selected {
  Triple triple;
  Tier tier = Tier::free;
  Status status = Status::beta;
  std::vector<std::uint32_t> sets;  // indexes in Plan::sets, ascending
};

struct Selection {
  std::vector<Selected> profiles;  // sorted by the names of machine, material, process
  std::vector<Triple> drafts;      // drafts with the partners that the sets would give them; checked, not published
  std::vector<Triple> refused;     // those that a `where` alone keeps out, though the names in `fits` admit them
};

// The tier of a triple by its fragments alone, and its status.
Tier fragment_tier(const Tree& tree, const Triple& triple);
Status triple_status(const Tree& tree, const Triple& triple);

// A draft is taken by its literal name only: does an entry of `take` name those of a triple?
bool drafts_named(const Tree& tree, const Condition& entry, const Triple& triple);

// The same for one triple that fits, in a set or not: its sets, tier and status.
Selected place_in_plan(const Tree& tree, const Triple& triple);

// Applies the plan. Triples are found through the names that `fits` admit, never by listing the product of all.
// A tree without sets gives every triple that fits, so that it can be checked; reports go to `out`. Where more than
// `most` triples come up, or to test them takes too much, it takes none and reports that (Code::too_heavy).
Selection select_profiles(const Tree& tree, Diagnostics& out, std::size_t most = most::triples, unsigned jobs = 1);

}  // namespace bindery
