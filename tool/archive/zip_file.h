// Archives as libzip writes them.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "archive/packed_entry.h"
#include "archive/records.h"
#include "base/followers.h"

namespace bindery {

// To be closed once. The process must run with TZ=UTC0.
class ZipFile {
 public:
  // No more than the entries' paths is looked at until close(); they outlive it.
  ZipFile(const PackedEntries& entries, DosTime time);
  ~ZipFile();
  ZipFile(const ZipFile&) = delete;
  ZipFile& operator=(const ZipFile&) = delete;

  // Hands the archive over in parts. Gives where the head of each entry is; nothing where that is not certain.
  std::vector<std::uint64_t> close(HandPart hand);
  // The same, all of it at once.
  std::vector<std::uint64_t> close(std::string& out);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace bindery
