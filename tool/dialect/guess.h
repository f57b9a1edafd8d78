// Which setting each key of an exported file most likely holds, by value, unit and words: a guess, for a person to
// read.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "dialect/family.h"
#include "resolve/profile.h"

namespace bindery {

// A file as it was read.
struct DraftFile {
  std::string path;
  FileFamily family = FileFamily::ini;
  Layout layout;
  FileContent content;
};

enum class Confidence : std::uint8_t { none, low, fair, high };
std::string_view name_of(Confidence confidence);

// What a key is taken for.
struct Guess {
  enum class Of : std::uint8_t { constant, setting, told, script } of = Of::constant;
  KeyId key = no_key;
  std::string told;  // of a told row
  ScriptSlot slot = ScriptSlot::start;
  std::string format;  // ", in: mm/min, decimals: 0": what stands behind the feed
  std::string reason;
  Confidence confidence = Confidence::none;
};

// The guess for each entry of a file. `like` is the profile whose values the files hold, if it is known.
std::vector<Guess> guess(const Tree& tree, const Profile* like, const DraftFile& file);

}  // namespace bindery
