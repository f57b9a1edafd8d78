// Stage 5: judges resolved profiles: required settings, ranges, rules.
#pragma once

#include <functional>

#include "base/diagnostic.h"
#include "base/progress.h"
#include "check/scripts.h"
#include "resolve/profile.h"
#include "resolve/select.h"

namespace bindery {

// Reports what a profile lacks, what leaves its typical range, the rules that it breaks, and what its scripts would do
// wrong. `axes` are the tables that it was resolved with. Gives what the scripts set each heater to at most. `work`, if
// given, grows by the operations of formulas that it took.
Hottest check_profile(const Tree& tree, const Profile& profile, const Resolver::Axes& axes, Diagnostics& out,
                      std::uint64_t* work = nullptr);

// Marks the reports since the first `from` as those of a profile of that tier.
void mark_tier(Diagnostics& reports, std::size_t from, Tier tier);

// Gets a profile of the selection that is without errors, by its number there, as it is resolved.
using TakeProfile = std::function<void(std::size_t index, const Profile& profile)>;
// Gets what is said of one triple, by its number: the profiles of the selection, then its drafts.
using TakeReports = std::function<void(std::size_t index, const Diagnostics& reports)>;

// Is a profile, by its number, known to be such that nothing would be said of it? Then it is not resolved.
using IsKnown = std::function<bool(std::size_t index)>;

// These are called from several threads, each time for another number.
struct CheckForm {
  bool by_tier = false;  // mark the reports on what is for supporters alone
  IsKnown is_known;
  TakeProfile take;
  TakeReports take_reports;      // where there are any
  Progress* progress = nullptr;  // counts profiles
};

// Resolves and checks every profile of the selection, and its drafts, on so many threads.
void check_selection(const Tree& tree, const Selection& selection, unsigned jobs, Diagnostics& out,
                     const CheckForm& form = {});

}  // namespace bindery
