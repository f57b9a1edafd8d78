// `for/<dialect>/` of an archive: the profiles in the words of other programs.
#pragma once

#include <deque>
#include <map>
#include <string>
#include <vector>

#include "archive/archive.h"
#include "dialect/press.h"
#include "release/release.h"

namespace bindery {

class ProgramFiles {
 public:
  // Sound dialects, and a selection that was checked with them; all outlive this.
  ProgramFiles(const Tree& tree, const std::vector<Dialect>& dialects, const Selection& selection,
               const Edition& edition);

  // Presses the profile of that number; from several threads, each another one, with its own memory. `digest` is that
  // of the profile's own file.
  void press(std::size_t index, const Profile& profile, const Resolver::Axes& axes, const std::string& digest,
             RowMemory& memory);

  // What belongs into the archive of a tier: of the dialects that it holds, the files of its profiles.
  std::vector<const PackedEntry*> entries(Tier tier);

  // The paths in the archive of what a profile makes on its own or shares with others, by dialect.
  struct Made {
    const Dialect* dialect = nullptr;
    std::vector<std::string> paths;
  };
  std::vector<Made> made(std::size_t index) const;

 private:
  struct File {
    std::string path;
    std::optional<PackedEntry> entry;  // absent: of a file for all, whose part follows
    PressedPart part;
  };

  const Selection& selection_;
  const Edition& edition_;
  std::deque<Press> presses_;
  std::vector<std::vector<std::vector<File>>> files_;  // by profile, dialect and file
  std::deque<PackedEntry> for_all_;
};

}  // namespace bindery
