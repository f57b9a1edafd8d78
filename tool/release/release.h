// Last stage: a checked tree bound into a release, one archive a tier.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "archive/archive.h"
#include "dialect/dialect.h"
#include "resolve/profile.h"
#include "resolve/select.h"
#include "resolve/tree.h"

namespace bindery {

// What both tiers have in common.
struct Edition {
  std::string version;
  std::string channel;    // "stable", or "beta" where the version is a pre-release
  std::string commit;     // empty outside git
  bool changed = false;   // the tree differs from the commit
  std::int64_t time = 0;  // seconds since 1970 UTC
};

// A file of a tier's folder.
struct ReleaseFile {
  std::string name;
  std::string bytes;   // of an archive that was taken while it came about, none
  std::string digest;  // SHA-256 of the bytes
  std::uint64_t size = 0;
};

// A section of a text that an archive holds, and where in it that begins.
struct PlacedSection {
  Section section;
  std::uint64_t at = 0;
};

struct TierRelease {
  Tier tier = Tier::free;
  std::size_t profiles = 0, capped = 0;  // capped: values held back by a limit, over all profiles
  std::string contents;                  // SHA-256 of contents.json
  std::vector<ReleaseFile> files;        // the archive first
  std::uint32_t checksum = 0;            // CRC-32 of the archive
  // Where in the archive the file of each packed profile lies, 0 for none; empty where that is not known.
  std::vector<std::uint64_t> places;
  std::vector<PlacedSection> sections;  // of the long texts
};

struct Release {
  std::vector<TierRelease> tiers;  // free first; a tier without a profile of its own has no release
};

// Where a profile's file stands in an archive, by the profile's id; and the id by that path.
std::string profile_path(std::string_view profile);
std::string_view profile_of_path(std::string_view path);

// A profile of a release: its file, ready for the archives, and what is told of it there.
struct PackedProfile {
  PackedEntry entry;
  std::string title;
  Tier tier = Tier::free;
  Status status = Status::beta;
  std::size_t capped = 0;  // values that a limit holds back
};

class ProfileWriter;

// Packs the profiles of a tree; from several threads.
class ProfilePacker {
 public:
  explicit ProfilePacker(const Tree& tree);
  ~ProfilePacker();

  PackedProfile pack(const Selected& selected, const Profile& profile);

 private:
  const Tree& tree_;
  std::mutex guard_;
  std::vector<std::unique_ptr<ProfileWriter>> idle_;
};

// Gets the bytes of a tier's archive while they come about, in order; from several threads, of each tier by one at a
// time.
using TakeArchive = std::function<void(Tier tier, const std::string& name, std::string_view bytes)>;

// How a release is bound. The bytes are the same whatever it is.
struct BindForm {
  unsigned jobs = 1;
  TakeArchive take = {};  // where there is none, the release holds its archives
  FindSection find = {};  // of the last archive; from several threads
};

// Binds the archives out of the packed profiles of a selection, with the changelog of each tier; on all cores. Neither
// the tree nor the dialects have errors. Where there are dialects, every profile of the selection is resolved again;
// where there are none, neither it nor the tree's fragments are looked at.
Release bind_release(const Tree& tree, const std::vector<Dialect>& dialects, const Selection& selection,
                     const std::vector<PackedProfile>& packed, const Edition& edition,
                     const std::array<std::string, 2>& changelogs, const BindForm& form);

}  // namespace bindery
