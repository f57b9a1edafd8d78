// A first dialect from files that the publisher exported: each row says why it was guessed, and what nothing matches is
// kept word for word.
#pragma once

#include <string>
#include <vector>

#include "dialect/guess.h"

namespace bindery {

// The dialect as YAML: a file each, the layout that was seen, and a row for each key with its reason.
std::string draft_text(const Tree& tree, const Profile* like, const std::vector<DraftFile>& files,
                       const std::vector<std::vector<Guess>>& guesses);

}  // namespace bindery
