// Stage 7: what one version says of itself: the difference from the release before it, found or remembered, with the
// notes that were written for it and the people who made it.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "changes/changes.h"
#include "changes/level.h"
#include "chronicle/side.h"
#include "syntax/plan.h"

namespace bindery {

struct ChapterNote {
  std::string section, text, path;  // path of its file
  std::string version;              // as the note says; empty for none
  Tier tier = Tier::supporter;
};

struct Chapter {
  bool first = false;    // there is no release before it
  std::string from, to;  // as they are called; `from` is empty for a first release
  std::optional<Version> from_version, to_version;
  std::string date;  // of `to`, "2026-11-25"; empty where it is not released
  Tier audience = Tier::supporter;
  Changes changes;
  bool untold = false;                            // its tree has errors, so that its notes are all that is left
  std::vector<ChapterNote> notes;                 // those that the audience may read, by section and path
  std::vector<std::string> contributors;          // sorted
  std::vector<std::vector<std::string>> commits;  // by edit, the older first
  bool cut = false;                               // a shallow clone lacks commits between the two
  Level level = Level::none;
  std::string suggested, reason;  // the next version after `from`, and why
};

// A side whose tree has errors, so that nothing can be told of it.
struct BrokenSide {
  std::string name;
  OpenSide side;
};

class Chronicle {
 public:
  // `remember`: keep what is found in .bindery/ and look there first.
  Chronicle(std::filesystem::path root, unsigned jobs, bool remember);
  ~Chronicle();

  // Lets go of the trees that were read to be compared.
  void close();

  const std::vector<PastRelease>& releases() const { return releases_; }
  // A side by name; see find_side().
  SideSource side(const std::string& word) const { return find_side(root_, word, releases_); }
  // The release before a version, or before the next one, of those whose commits are here; nothing for a first release.
  std::optional<SideSource> before(const std::optional<Version>& version) const;
  // One that comes between, and whose commit is not here; null where there is none.
  const PastRelease* passed_over(const std::optional<Version>& version) const;
  // Was the clone cut, so that earlier releases may be unknown?
  bool shallow() const { return shallow_; }

  // The notes of a side's tree, whatever their version and tier; an archive has none.
  std::vector<ChapterNote> notes_of(const SideSource& side) const;

  // What `to` changes for an audience. `open` is `to`, where it was read already; whoever read it looks for its errors,
  // perhaps meanwhile, and drops what is told here if there are any. `today` holds the notes by which earlier ones are
  // corrected. Nothing where a side has errors: then `broken` tells which.
  std::optional<Chapter> tell(const SideSource* from, const SideSource& to, const Side* open,
                              const std::vector<ChapterNote>& today, const View& view,
                              std::optional<BrokenSide>& broken) const;

  // The same of a tree before which nothing was released, or nothing that can be read: all of its profiles came, by
  // their ids.
  Chapter tell_first(const SideSource& to, std::vector<std::string> profiles, const std::vector<ChapterNote>& today,
                     Tier audience) const;

 private:
  Chapter begin(const SideSource* from, const SideSource& to, Tier audience) const;
  void finish(const SideSource* from, const SideSource& to, const std::vector<ChapterNote>& today,
              Chapter& chapter) const;
  Changes differences(const SideSource* from, const SideSource& to, const Side* open, const View& view,
                      std::optional<BrokenSide>& broken) const;
  Changes of_trees(const SideSource* from, const SideSource& to, const Side* open, const View& view,
                   std::optional<BrokenSide>& broken) const;
  Changes of_published(const SideSource& from, const SideSource& to, const Side* open, const View& view,
                       std::optional<BrokenSide>& broken) const;

  std::filesystem::path root_;
  unsigned jobs_;
  bool remember_, shallow_;
  std::vector<PastRelease> releases_;
  struct Pair;
  mutable std::unique_ptr<Pair> pair_;  // the last two trees that were compared
};

// The notes of a version, absent for what is not released, since the version `from`: `own` are those of its tree,
// `before` those of the release before, `today` those of the tree as it stands, by which earlier ones are corrected. A
// note without a version belongs to the first release that holds its file.
std::vector<ChapterNote> notes_for(const std::optional<Version>& version, const std::optional<Version>& from,
                                   const std::vector<ChapterNote>& own, const std::vector<ChapterNote>& before,
                                   const std::vector<ChapterNote>& today, Tier audience);

// Fills in which commits made each edit, and who they are by.
void credit(const std::filesystem::path& root, const Commit* from, const Commit& to, Chapter& chapter);

}  // namespace bindery
