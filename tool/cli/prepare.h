// A release from the sources to its bytes in memory, for `build` and for `verify --rebuild`.
#pragma once

#include <optional>
#include <string>

#include "cli/edition.h"
#include "cli/session.h"
#include "release/release.h"
#include "release/stock.h"
#include "release/write.h"

namespace bindery {

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

}  // namespace bindery
