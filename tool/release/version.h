// The next version of a tree, and the versions of the program and its libraries.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "base/semver.h"

namespace bindery {

// The version after the highest one among the tags (`v` in front allowed): its pre-release's own version, or the
// next patch; 0.1.0 where no tag is a version.
Version version_after(const std::vector<std::string>& tags);

// The program's version, and those of the libraries that shape the bytes of a release, by name. Others are left out,
// so that a security update of one does not change a manifest.
std::string tool_version();
std::vector<std::pair<std::string, std::string>> library_versions();

}  // namespace bindery
