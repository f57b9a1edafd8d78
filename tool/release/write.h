// A release to the file system: beside the target while it is bound, then by one exchange.
#pragma once

#include <filesystem>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <string_view>
#include <utility>

#include "release/release.h"

namespace bindery {

// Writes a release below `out`/<version>, in place of what an earlier build of that version left there. Until finish()
// what stood there stands there still, and what was begun beside it goes with the writer. Throws SystemError.
class ReleaseWriter {
 public:
  // Where `ignored`, the folder gets a .gitignore that covers it, as a folder does that is made here.
  ReleaseWriter(std::filesystem::path out, bool ignored);
  ~ReleaseWriter();
  ReleaseWriter(const ReleaseWriter&) = delete;
  ReleaseWriter& operator=(const ReleaseWriter&) = delete;

  // Refuses a target that is something else than a release.
  void begin(const Edition& edition);
  // More bytes of a file; see TakeArchive.
  void take(Tier tier, const std::string& name, std::string_view bytes);
  // Writes the files that were not taken, waits for the disk, and puts the release in its place.
  void finish(const Release& release);

 private:
  class NewFile;
  NewFile& file(Tier tier, const std::string& name);

  std::filesystem::path out_, scratch_, target_;
  bool ignored_;
  std::mutex guard_;
  std::map<std::pair<Tier, std::string>, std::unique_ptr<NewFile>> files_;
};

}  // namespace bindery
