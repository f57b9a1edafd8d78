// Is a release what was published: complete, and unchanged by its checksums?
#pragma once

#include <filesystem>

#include "base/diagnostic.h"

namespace bindery {

struct Verified {
  std::size_t archives = 0, files = 0, profiles = 0;
};

// Checks an archive, a tier's folder (archive, changelog, release.json, SHA256SUMS) or a version's folder (of
// tiers). Reports what differs, is missing or is not listed. Throws UsageError where `path` is none of these, and
// SystemError where it cannot be read.
Verified verify_release(const std::filesystem::path& path, Diagnostics& out);

}  // namespace bindery
