// A side of a comparison as the command line names it: a revision, a published release, or the tree as it stands.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "changes/published.h"
#include "chronicle/past.h"
#include "source/git.h"

namespace bindery {

// The side as it was asked for; nothing of it is resolved yet.
struct SideSource {
  enum class Of { revision, published, folder } of = Of::folder;
  std::string name;                // "1.0.0", "main", "working tree"
  std::optional<Version> version;  // where it is a release
  std::string date;                // of that release, "2026-11-25"
  std::optional<Commit> commit;    // of a revision; of a folder the commit that it stands at
  std::optional<Revision> revision;
  std::optional<Published> published;
};

// What the word means: "" or "." is the tree, a file that was published is read, all else is a version or a revision.
// Throws UsageError where it is none of these.
SideSource find_side(const std::filesystem::path& root, const std::string& word,
                     const std::vector<PastRelease>& releases);

// A tree that was read and to which its plan was applied.
struct OpenSide {
  std::unique_ptr<Sources> sources = std::make_unique<Sources>();
  Diagnostics diagnostics;
  Tree tree;
  Selection selection;

  Side side() const { return {&tree, &selection}; }
};

// Reads the texts of a revision or of the folder.
void read_side(const std::filesystem::path& root, const SideSource& source, const Sources* like, unsigned jobs,
               OpenSide& out);

// The releases that a tree knows of: by git's tags and by the ledger of the folder.
std::vector<PastRelease> known_releases(const std::filesystem::path& root);

}  // namespace bindery
