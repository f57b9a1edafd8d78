// ZIP archives whose bytes depend on their contents alone.
//
// libzip writes them of entries that are deflated already: sorted by path, one time, mode 0100644, no extra fields.
// Those that an earlier archive lends are copied from there with what libzip wrote of them.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "archive/packed_entry.h"
#include "base/followers.h"

namespace bindery {

// Writes an archive of at least one entry. The process must run with TZ=UTC0.
class ArchiveWriter {
 public:
  // The entries by path, sorted; no more of them than their paths, and who lends them, is looked at until finish(),
  // which they outlive. `time` in seconds since 1970 UTC, held to what ZIP can tell (1980 to 2107, whole pairs of
  // seconds).
  ArchiveWriter(PackedEntries entries, std::int64_t time);
  ~ArchiveWriter();
  ArchiveWriter(const ArchiveWriter&) = delete;
  ArchiveWriter& operator=(const ArchiveWriter&) = delete;

  // Hands the archive to each taker while it comes about; see Followers. Gives where the stored bytes of each entry
  // begin in it; nothing where that is not certain.
  std::vector<std::uint64_t> finish(std::vector<TakeBytes> takers);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

// The whole archive at once.
std::string write_archive(const PackedEntries& entries, std::int64_t time);

// Is it a plain path below where one stands: no `..`, no empty or absolute part, no colon, backslash or control
// character?
bool is_safe_path(std::string_view path);

// One entry as an archive has it; what is a folder, irregular or encrypted has no bytes.
struct UnpackedEntry {
  std::string path;  // as it stands there, not yet to be trusted
  std::string bytes;
  bool folder = false;
  bool irregular = false;  // a link or a device
  bool encrypted = false;
};

// Why no archive can be read.
struct ArchiveFault : std::runtime_error {
  enum class Kind { damaged, large, twice, name } kind;
  ArchiveFault(Kind which, const std::string& reason) : std::runtime_error(reason), kind(which) {}
};

struct UnpackLimits {
  std::uint64_t entry = 64ull << 20, all = 2ull << 30;  // bytes
  std::uint64_t entries = 1'000'000;
};

// Hands over each entry in the order of the archive. Throws ArchiveFault where it is damaged, larger than the limits,
// has two entries of one name, or a name that is no UTF-8.
void unpack(std::string_view bytes, const UnpackLimits& limits, const std::function<void(UnpackedEntry&&)>& take);

// The files of an archive by path. Throws std::runtime_error with the reason where it is no sound archive, has
// an unsafe path, two entries of one name, or is larger than any release.
std::map<std::string, std::string> read_archive(std::string_view bytes);

}  // namespace bindery
