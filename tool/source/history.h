// Who changed which files between two commits.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "source/source.h"

namespace bindery {

// A file that a commit wrote otherwise than every one of its parents.
struct TouchedFile {
  std::string path;               // from the tree's root
  std::vector<std::string> olds;  // git's names of its bytes in each parent, empty where it is missing; one empty name
                                  // where the commit has no parent
  std::string now;                // the same in the commit
};

struct HistoryCommit {
  std::string id;                    // forty hexadecimal digits
  std::vector<std::string> people;   // the author, then those of Co-authored-by trailers, by .mailmap
  std::vector<TouchedFile> touched;  // files that shape profiles, by path
};

struct History {
  std::vector<HistoryCommit> commits;  // the older first
  bool cut = false;                    // a shallow clone lacks some of it
};

// The commits that `to` holds and `from` does not, less those that touch no file of `wanted`. An empty `from` asks for
// all. Throws SystemError where git fails.
History read_history(const std::filesystem::path& root, const std::string& from, const std::string& to,
                     const std::vector<std::string>& wanted);

// The bytes that git knows by that name; empty for an empty name.
std::string read_blob(const std::filesystem::path& root, const std::string& name);

}  // namespace bindery
