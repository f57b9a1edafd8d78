// What a branch brings: where it left, its commits, and the files that it changes.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "source/git.h"

namespace bindery {

struct BranchCommit {
  std::string id;           // forty hexadecimal digits
  std::string subject;      // its first line
  std::string author;       // "Name <address>"
  bool signed_off = false;  // a trailer Signed-off-by has the author's address
};

struct Branch {
  Commit base;                        // the merge base of the revision and the commit at hand
  std::vector<BranchCommit> commits;  // that the revision has not; merges left out; the older first
  std::vector<std::string> touched;   // paths from the tree's root that the folder has otherwise than the base, sorted;
                                      // "../x" for what stands outside the tree
};

// Throws UsageError where the revision names no commit, or has none in common with the one at hand.
Branch read_branch(const std::filesystem::path& root, const std::string& revision);

}  // namespace bindery
