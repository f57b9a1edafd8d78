// Stage 5, again: a tree that was without errors when it was last checked whole, and of which a few values were edited
// since, is checked as far as these reach. The answer is what a check of the whole tree would say, or none.
#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>

#include "base/progress.h"
#include "recall/snapshot.h"

namespace bindery {

struct Recalled {
  std::size_t fragments = 0, profiles = 0;
  Diagnostics reports;  // warnings and notes, settled
  Sources sources;      // all paths of the tree, and the texts of the files that the reports speak of
};

// What is to be said of the folder's tree. Nothing where there is no snapshot, where more than values was edited (a
// file came or went, names, parents, conditions, the dictionary, the plan), where an edit changes what fits or brings
// an error, and where much is to be checked again: then the whole tree is to be read. What it finds, it keeps.
std::optional<Recalled> recheck(const std::filesystem::path& root, unsigned jobs, Progress& progress);

// Now, in nanoseconds since 1970, for take_snapshot().
std::int64_t now_in_nanoseconds();

}  // namespace bindery
