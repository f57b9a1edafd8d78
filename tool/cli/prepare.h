// A release from the sources to its bytes in memory, for `build` and for `verify --rebuild`.
#pragma once

#include <optional>
#include <string>

#include "base/semver.h"
#include "cli/session.h"
#include "release/release.h"
#include "release/stock.h"
#include "release/write.h"
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

struct PreparedRelease {
  Session session;  // without its tree where that was remembered
  std::string name;
  std::size_t fragments = 0, profiles = 0, settings = 0;
  Edition edition;
  Release release;  // empty where there are errors
  LedgerEntry entry;
  std::optional<Stock> stock;  // to be kept, where it was asked for
};

// Reads, checks and binds; what is wrong is in the session's diagnostics, settled. `writer`, if given, is begun and
// gets the archives where nothing is wrong.
PreparedRelease prepare_release(const Options& options, const ReleaseWish& wish, ReleaseWriter* writer = nullptr);

// SOURCE_DATE_EPOCH (reproducible-builds.org): whole seconds since 1970 UTC. Throws UsageError where it is malformed.
std::optional<std::int64_t> epoch_from_environment();

}  // namespace bindery
