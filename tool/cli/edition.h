// What a build is called and tells of its past: its commit, version and changelogs.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <future>
#include <optional>
#include <string>
#include <vector>

#include "base/semver.h"
#include "chronicle/chapter.h"
#include "cli/options.h"
#include "release/release.h"
#include "release/story.h"
#include "source/git.h"
#include "syntax/ledger.h"

namespace bindery {

// What is asked for.
struct ReleaseWish {
  std::optional<Version> version;    // absent: a snapshot
  bool any_version = false;          // whatever the change asks for, and whether it exists
  std::optional<std::int64_t> time;  // of the entries; absent: SOURCE_DATE_EPOCH, else the commit's
  std::optional<std::string> since;  // the release that the changelog is told from, or "" for a first one
  bool from_stock = false;           // take over the files of profiles that the last build packed
};

// Names the edition and tells its story. To be used in this order; options and wish outlive it.
class EditionTeller {
 public:
  EditionTeller(const Options& options, const ReleaseWish& wish, const std::filesystem::path& root);

  // Is there no release before it, as far as can be known? Then the names of the profiles are all that it tells.
  bool is_first() const;

  // Asks git how the tree stands, meanwhile; once. Files of which it is known that they were `edited` are looked at
  // first: they are changed, for the most part.
  void ask_git(std::vector<std::string> edited);

  // All of the edition but for a snapshot's name; reports what keeps the tree from being the version that is asked for.
  // `commit` is that of --at, where it is given.
  void describe(const std::optional<Commit>& commit, Diagnostics& out);

  // The changelogs and, of a snapshot, the name. `side` is needed unless it is the first.
  void tell(const std::optional<Side>& side, const StoryTeller::Profiles& profiles, Diagnostics& out);

  const Edition& edition() const { return edition_; }
  const std::array<std::string, 2>& changelogs() const { return changelogs_; }
  // What the ledger is to say of the release.
  LedgerEntry entry(const Release& release) const;

 private:
  void refuse_changes(Diagnostics& out) const;
  bool has_changes() const;
  std::optional<SideSource> previous(const StoryTeller& teller, Diagnostics& out) const;
  void name_snapshot(const StoryTeller::Latest& latest);
  void name_edition(const Version& version);
  void refuse_low(const StoryTeller::Latest& latest, Diagnostics& out) const;

  const Options& options_;
  const ReleaseWish& wish_;
  const std::filesystem::path root_;
  bool git_asked_ = false;
  std::future<std::optional<GitState>> git_later_;
  std::optional<GitState> git_;
  Chronicle chronicle_;
  Edition edition_;
  SideSource to_;
  std::optional<SideSource> from_;  // the release before; nothing for a first one
  std::array<std::string, 2> changelogs_;
};

// SOURCE_DATE_EPOCH (reproducible-builds.org): whole seconds since 1970 UTC. Throws UsageError where it is malformed.
std::optional<std::int64_t> epoch_from_environment();

}  // namespace bindery
