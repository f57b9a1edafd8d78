// What git knows of a tree: the commit it stands at, its tags, and the texts of any revision, read from the
// object store with nothing checked out.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "source/source.h"

namespace bindery {

struct Commit {
  std::string id;         // forty hexadecimal digits
  std::int64_t time = 0;  // of the committer, seconds since 1970 UTC
};

struct GitState {
  Commit head;
  bool changed = false;  // files under profiles-src, schema or release differ from the commit or are new to it, ignored
                         // ones that would be read included
  std::vector<std::string> tags;  // names without refs/tags/
};

// Nothing outside git, or where the commit does not hold the tree. A repository without a commit gives no head and
// counts as changed.
// Throws SystemError where git fails.
std::optional<GitState> git_state(const std::filesystem::path& root);

// The texts of the tree at a revision. Throws UsageError where the revision names no commit that holds the tree.
Sources read_revision(const std::filesystem::path& root, const std::string& revision, Commit& commit, Diagnostics& out);

}  // namespace bindery
