// Differences between two contents, kept in .bindery/ so that they are found once. It may be deleted at any time.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "changes/changes.h"

namespace bindery {

// The folder .bindery/changes of a tree's root.
class ChangeStore {
 public:
  explicit ChangeStore(const std::filesystem::path& root) : folder_(root / ".bindery" / "changes") {}

  // What was kept under a name; nothing where there is none, or where its bytes are not what was written.
  std::optional<Changes> find(const std::string& name) const;
  // Keeps it, and drops the oldest beyond a few dozen. What cannot be written is not kept.
  void keep(const std::string& name, const Changes& changes) const;

 private:
  std::filesystem::path folder_;
};

// The bytes of a difference, and back; nothing for bytes that are none.
std::string packed(const Changes& changes);
std::optional<Changes> unpacked(std::string_view bytes);

}  // namespace bindery
