// The edits that could give one setting a value, the most fitting first.
#pragma once

#include <vector>

#include "edit/propose.h"

namespace bindery {

struct Candidate {
  FragmentEdit edit;
  FragmentId fragment = no_fragment;
  std::string note;
};

// Of the profile `profile` of `tree`, resolved whole. Where the value stands already is preferred, with the same
// operation and in the unit that it has there; then a line in the triple's own fragment of the same kind; then one of a
// later kind; then a correction under `adjust`. `into`, if given, is the only fragment.
std::vector<Candidate> candidates(const Tree& tree, const Profile& profile, const Wish& wish,
                                  const std::optional<FragmentId>& into);

}  // namespace bindery
