// The publisher's policy held against a contribution.
#pragma once

#include "judge/judge.h"

namespace bindery {

// Reports every breach at the place in the proposal.
void check_policy(const Tree& base, const Tree& proposal, const Contribution& contribution, std::size_t reached,
                  Diagnostics& out);

}  // namespace bindery
