// ZIP archives whose bytes depend on their contents alone.
//
// Entries are compressed by libdeflate and inserted into libzip as they are: sorted by path, one time, mode
// 0100644, no extra fields.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "base/followers.h"
#include "base/stored_file.h"

namespace bindery {

// One file of an archive, compressed.
struct PackedEntry {
  // Bytes that lie in a file which outlives the entry.
  struct Place {
    const StoredFile* file = nullptr;
    std::uint64_t at = 0, length = 0;
  };

  std::string path;
  std::string data;  // deflated, or the bytes themselves where that is not smaller
  Place lent;        // the same, instead of `data`, where it names a file
  bool deflated = true;
  std::uint64_t size = 0;  // of the bytes
  std::uint32_t crc = 0;
  std::string digest;  // SHA-256 of the bytes, where it was asked for

  std::uint64_t stored_size() const { return lent.file != nullptr ? lent.length : data.size(); }
};

PackedEntry pack(std::string path, std::string_view bytes);
// The same without the digest.
PackedEntry compress(std::string path, std::string_view bytes);

// Writes an archive of at least one entry. The process must run with TZ=UTC0.
class ArchiveWriter {
 public:
  // The entries by path, sorted, and no more of them than their paths is looked at until finish(), which they outlive.
  // `time` in seconds since 1970 UTC, held to what ZIP can tell (1980 to 2107, whole pairs of seconds).
  ArchiveWriter(std::vector<const PackedEntry*> entries, std::int64_t time);
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
std::string write_archive(const std::vector<const PackedEntry*>& entries, std::int64_t time);

// CRC-32 of bytes, as archives have it, that follow others.
std::uint32_t checksum(std::string_view bytes, std::uint32_t before = 0);

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
