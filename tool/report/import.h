// What `import` tells.
#pragma once

#include <string>
#include <vector>

#include "dialect/read_back.h"
#include "edit/propose.h"

namespace bindery {

struct ImportOutcome {
  std::string dialect, profile, fresh;  // fresh: the process that is new; empty for none
  struct File {
    std::string path, before, after;
    bool is_new = false;
  };
  std::vector<File> files;
  struct Followed {
    std::string key, before, after;
  };
  std::vector<Followed> followed;  // settings that change besides, by their formulas
  std::size_t others = 0;          // profiles of the sets, besides this one, that the edited fragments reach
  bool wrote = false;
};

// What was read, what differs, the edit as a diff, what follows from it, and what was not brought back. Without a
// proposal nothing differs.
std::string import_report(const Tree& tree, const ReadBack& read, const Proposal* proposal,
                          const ImportOutcome& outcome, bool json);

}  // namespace bindery
