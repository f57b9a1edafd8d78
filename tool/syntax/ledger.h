// release/ledger.yaml: what was released, written by the program and read again for later changelogs.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <vector>

#include "base/diagnostic.h"
#include "source/source.h"
#include "syntax/fragment.h"

namespace bindery {

// What one tier got: SHA-256 of the archive and of the contents.json in it.
struct LedgerDigests {
  std::string archive, contents;
  bool operator==(const LedgerDigests&) const = default;
};

struct LedgerEntry {
  std::string version, date;  // "1.1.0", "2026-11-25"
  std::int64_t time = 0;      // of the archive's entries, seconds since 1970 UTC
  std::string commit;         // empty outside git
  std::string since;          // the release that its changelog was told from; empty for a first one
  std::string tool;           // the version of the program
  std::array<std::optional<LedgerDigests>, 2> tiers;  // by tier; absent where it had no release
  bool operator==(const LedgerEntry&) const = default;
};

// The entries in the order of the file; none where the tree has no ledger.
std::vector<LedgerEntry> read_ledger(const Sources& sources, Diagnostics& out);

// The file's text, the highest version first.
std::string ledger_text(std::vector<LedgerEntry> entries);

}  // namespace bindery
