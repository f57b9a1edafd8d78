// Versions after Semantic Versioning 2.0.0, and the program's own.
#pragma once

#include <compare>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace bindery {

struct Version {
  std::string major, minor, patch;  // digits, of any length
  std::vector<std::string> pre_release, build;

  std::string text() const;
  bool is_pre_release() const { return !pre_release.empty(); }
};

// Nothing where the text is no version (a leading `v` is none).
std::optional<Version> parse_version(std::string_view text);

// Precedence, section 11 of the specification; build metadata does not count.
std::weak_ordering precedence(const Version& a, const Version& b);

// The version after the highest one among the tags (`v` in front allowed): its pre-release's own version, or the
// next patch; 0.1.0 where no tag is a version.
Version version_after(const std::vector<std::string>& tags);

// The program's version, and those of the libraries that shape its output, by name.
std::string tool_version();
std::vector<std::pair<std::string, std::string>> library_versions();

}  // namespace bindery
