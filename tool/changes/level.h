// What a difference asks of the version that publishes it (SemVer 2.0.0, sections 6 to 8).
#pragma once

#include <string>

#include "base/semver.h"
#include "changes/changes.h"

namespace bindery {

enum class Level : std::uint8_t { none, patch, minor, major };
std::string_view name_of(Level level);

// A profile gone: major. One added or moved, or any value or script changed: minor. Words alone: patch.
Level level_of(const Changes& changes);

// The reason in a line: "minor: 12 profiles added; nothing removed".
std::string reason_of(Level level, const Changes& changes);

// The lowest version after `from` that has room for the level. A pre-release whose own version has it becomes that.
Version next_version(const Version& from, Level level);

}  // namespace bindery
