// What an audience may be told of problems: nothing of fragments and profiles that it does not get.
#pragma once

#include <set>
#include <vector>

#include "changes/changes.h"

namespace bindery {

class Audience {
 public:
  // The sides' files have the same numbers; reports were marked by tier.
  Audience(Tier tier, const std::vector<Side>& sides);

  bool may_be_told(const Diagnostic& item) const;
  // Does the file hold something that the audience does not get?
  bool is_hidden(FileId file) const { return hidden_.contains(file); }

 private:
  Tier tier_;
  std::set<FileId> hidden_;
};

}  // namespace bindery
