// Versions after Semantic Versioning 2.0.0.
#pragma once

#include <compare>
#include <optional>
#include <string>
#include <string_view>
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

}  // namespace bindery
