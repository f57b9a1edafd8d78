// Which files a profile is made of, so that one profile is told without reading the tree.
#pragma once

#include <functional>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "source/source.h"

namespace bindery {

// Adds to `needed` the paths of the fragments that a profile ("machine/material/process") is made of, with all that
// they extend, out of the paths of a tree. False where that does not tell all that the whole tree would: a name that no
// file or more than one has, an old name, a file with an error.
bool add_needed_files(const std::vector<std::string>& paths, std::string_view profile,
                      const std::function<SourceFile(const std::string&)>& read, std::set<std::string>& needed);

// Is it, of the paths of a tree, one that every profile depends on: the dictionary, the publisher, the plan?
bool is_for_all_profiles(std::string_view path);

}  // namespace bindery
