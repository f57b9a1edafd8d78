// The manifests of a release: what an archive holds, what stands beside it, and their digests.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/followers.h"
#include "release/for_programs.h"
#include "release/release.h"

namespace bindery {

// A profile of a tier, with its own file and those of the dialects.
struct Listed {
  const PackedProfile* profile = nullptr;
  std::vector<ProgramFiles::Made> made;
};

// contents.json, handed over in parts.
void write_contents(const Tree& tree, Tier tier, const Edition& edition, const std::vector<Listed>& profiles,
                    const HandPart& hand);

// release.json, which tells of `files` beside it; `contents` is the digest of contents.json.
std::string release_json(const Tree& tree, Tier tier, const Edition& edition, std::size_t profiles,
                         const std::vector<ReleaseFile>& files, const std::string& contents);

// Paths, sorted, with their digests.
using Sums = std::vector<std::pair<std::string_view, std::string_view>>;

// SHA256SUMS as `sha256sum` writes it; handed over in parts, or at once.
void write_sums(const Sums& sums, const HandPart& hand);
std::string sums_text(const Sums& sums);

}  // namespace bindery
