// Stage 5, again: a tree that was sound when it was last checked whole, and of which a few values were edited since, is
// checked as far as these reach. The answer is what a check of the whole tree would say, or none.
#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>

#include "base/progress.h"
#include "recall/snapshot.h"

namespace bindery {

// How large a sound tree is.
struct Sound {
  std::size_t fragments = 0, profiles = 0;
};

// Is the folder's tree as sound as it was? Nothing where there is no snapshot, where more than values was edited (a
// file came or went, names, parents, conditions, the dictionary, the plan), where an edit changes what fits, where much
// is to be checked again, and where anything is to be reported: then the whole tree is to be read. What it finds, it
// keeps.
std::optional<Sound> recheck(const std::filesystem::path& root, unsigned jobs, Progress& progress);

// Now, in nanoseconds since 1970, for take_snapshot().
std::int64_t now_in_nanoseconds();

}  // namespace bindery
