// What the last build packed, kept in .bindery/packed/: the files of profiles that need not be made again, since
// nothing that they are made of changed.
//
// Two files: the last archive with all profiles, as a further name of the one that was written where the file system
// can do that; and an index, which tells where in it each profile's file lies, and what the profile was made of.
#pragma once

#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "recall/snapshot.h"
#include "release/release.h"

namespace bindery {

struct StockIndex;

class Stock {
 public:
  explicit Stock(const std::filesystem::path& root);
  ~Stock();
  Stock(Stock&&) noexcept;
  Stock& operator=(Stock&&) noexcept;

  // Reads what was kept; stays empty where there is nothing, or its bytes are not what was kept.
  void open();

  // Finds which of a tree's published profiles are there: those of the same fragments, which are what they were, with
  // all that they extend, below the same dictionary, plan and policy. The snapshot must outlive the use of take().
  void match(const Snapshot& now, unsigned jobs);

  // Is that profile there, by its number in the matched snapshot? `silent`: and nothing was to be said of it.
  bool holds(std::size_t index, bool silent) const;
  // It, its bytes lent until replace(); false where it is not held. From several threads.
  bool take(std::size_t index, bool silent, PackedProfile& out) const;

  // Appends the section of a long text with that digest, deflated; false where it is not held. From several threads.
  bool append(const std::string& digest, std::string& out) const;

  // Notes all profiles of the matched snapshot, with those of which anything is `said`, and lets go of what was kept
  // before.
  void replace(const std::vector<PackedProfile>& packed, const std::vector<char>& said);

  // Throws SystemError where somebody wrote to what is lent.
  void require_unchanged() const;

  // Keeps where their files lie in the archive of `whole`, the tier that has all profiles; false where that is not
  // known or cannot be written. It is of use once the archive is kept.
  bool keep_index(const TierRelease& whole);
  // Keeps the archive, which stands at `path`, in place of the one before; where it cannot be written, none is there.
  void keep_archive(const std::filesystem::path& path) const;

 private:
  struct Matched;
  std::filesystem::path folder_;
  std::unique_ptr<StockIndex> index_;
  std::unique_ptr<Matched> matched_;
  std::unique_ptr<StoredFile> archive_;
};

}  // namespace bindery
