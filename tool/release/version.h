// The versions of the program and of its libraries.
#pragma once

#include <string>
#include <utility>
#include <vector>

namespace bindery {

// The program's version, and those of the libraries that shape the bytes of a release, by name. Others are left out,
// so that a security update of one does not change a manifest.
std::string tool_version();
std::vector<std::pair<std::string, std::string>> library_versions();

}  // namespace bindery
