// The releases that a tree knows of: those of its ledger, and tags that are versions.
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/semver.h"
#include "source/git.h"
#include "syntax/ledger.h"

namespace bindery {

struct PastRelease {
  Version version;
  std::string tag;        // empty where the ledger alone knows it
  std::string commit;     // of the tag, else of the ledger; empty outside git
  std::int64_t time = 0;  // of its date, seconds since 1970 UTC
  std::string date;       // "2026-11-25"
  std::string since;      // by the ledger
  bool readable = true;   // false: its commit is not here
};

// The lowest first, each version once. A tag may have a `v` in front.
std::vector<PastRelease> past_releases(const std::map<std::string, Commit>& tags,
                                       const std::vector<LedgerEntry>& ledger);

// The release before a version, or before the next one: the highest below it, pre-releases skipped unless the version
// is one. Null for a first release. `readable`: of those alone whose commit is here.
const PastRelease* release_before(const std::vector<PastRelease>& releases, const std::optional<Version>& version,
                                  bool readable);

// That of a version; null where there is none.
const PastRelease* find_release(const std::vector<PastRelease>& releases, const Version& version);

// "1.0.0" of a tag "v1.0.0"; nothing where it is no version.
std::optional<Version> version_of_tag(std::string_view tag);

}  // namespace bindery
