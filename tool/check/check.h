// Stage 5: judges resolved profiles: required settings, ranges, rules.
#pragma once

#include "base/diagnostic.h"
#include "resolve/profile.h"
#include "resolve/select.h"

namespace bindery {

// Reports what a profile lacks, what leaves its range or typical range, and the rules that it breaks.
void check_profile(const Tree& tree, const Profile& profile, Diagnostics& out);

// Resolves and checks every profile of the selection, and its drafts, on all cores.
void check_selection(const Tree& tree, const Selection& selection, unsigned jobs, Diagnostics& out);

}  // namespace bindery
