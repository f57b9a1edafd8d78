// What git knows of a tree: the commit it stands at, its tags, and the texts of any revision, read from the
// object store with nothing checked out.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
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
  bool changed = false;  // files under profiles-src, schema or release, but for the ledger, differ from the commit or
                         // are new to it, ignored ones that would be read included
  bool shallow = false;  // the clone was cut: older commits are not here
};

// Nothing outside git, or where the commit does not hold the tree. A repository without a commit gives no head and
// counts as changed. `suspects` are paths of the tree to be looked at first: where one of them is changed, that is all
// there is to know.
// Throws SystemError where git fails.
std::optional<GitState> git_state(const std::filesystem::path& root, const std::vector<std::string>& suspects = {});

// The commit that a tree stands at, whatever was changed since: with no digits where the repository has none yet.
// Nothing outside git, as above.
std::optional<Commit> head_commit(const std::filesystem::path& root);

// Those of the commits, by their forty digits, that the repository does not hold; outside git all of them.
std::vector<std::string> missing_commits(const std::filesystem::path& root, const std::vector<std::string>& ids);

// Is it a clone that was cut, so that older commits are not here?
bool is_shallow(const std::filesystem::path& root);

// The commits that tags name, by the tag's name without refs/tags/; annotated tags are followed, and those of other
// things left out. None outside git.
std::map<std::string, Commit> list_tags(const std::filesystem::path& root);

// A file of a revision, not yet read.
struct RevisionFile {
  std::string path;  // from the tree's root
  std::string blob;  // empty where `oddity` says why it will not be read
  std::optional<Oddity> oddity;
};

struct Revision {
  Commit commit;
  std::vector<RevisionFile> files;  // sorted by path
};

// What a tag, branch or commit holds of the tree. Throws UsageError where the revision names no commit that does.
Revision find_revision(const std::filesystem::path& root, const std::string& name);

// The texts of a revision. A file that `like` holds with the same bytes is taken from there.
Sources read_revision(const std::filesystem::path& root, const Revision& revision, Diagnostics& out,
                      const Sources* like = nullptr, unsigned jobs = 1);

// The same digest as content_digest() of its texts, none of which is read.
std::string content_digest(const Revision& revision);

}  // namespace bindery
