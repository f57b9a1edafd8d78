// The records of ZIP archives (APPNOTE.TXT, 4.3), which are copied from archive to archive: what libzip wrote once, it
// need not write again.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace bindery {

class Followers;

// The lengths of an entry's head, which its path and then its bytes follow, and of that of its record in the list,
// which its path follows.
constexpr std::size_t entry_head = 30, listed_head = 46;

// The time of an entry as ZIP tells it.
struct DosTime {
  std::uint16_t time = 0, date = 0;
};

// Appends bytes of an archive to a text; false where there are not so many.
using ReadAt = std::function<bool(std::uint64_t at, std::size_t length, std::string& out)>;

// The list at an archive's end, with a record for each entry.
class RecordList {
 public:
  // Of an archive of `size` bytes; nothing where that has none, or one with a comment or in the form ZIP64.
  static std::optional<RecordList> read(std::uint64_t size, const ReadAt& read);

  // The record of the entry whose head is there, among those after the one that was found last; empty where there is
  // none. As long as the list stands where it is.
  std::string_view find(std::uint64_t head);
  // The record that ends the archive.
  std::string_view end() const { return end_; }

 private:
  std::string bytes_, end_;
  std::size_t next_ = 0;
};

// What a record of the list tells of its entry.
std::string_view listed_path(std::string_view record);
std::uint32_t listed_crc(std::string_view record);
std::uint32_t listed_length(std::string_view record);  // of the bytes as they are stored

// Puts an archive together of entries with their records.
class ArchiveJoiner {
 public:
  // `list`: how long the list will be.
  ArchiveJoiner(Followers& followers, std::size_t list);

  // The next entry: its record in another archive's list, and how that archive is read. Gives where its stored bytes
  // begin here; nothing where they cannot be read.
  std::optional<std::uint64_t> add(std::string_view record, const ReadAt& read, DosTime time);
  // The list, and the record at the end made of that of another archive. The archive must be no larger than can be told
  // without ZIP64.
  void finish(std::string_view end);

  static constexpr std::size_t most_entries = 0xfffe;
  static constexpr std::uint64_t most_bytes = 0xfffffffe;

 private:
  Followers& followers_;
  std::string open_, list_;
  std::uint64_t at_ = 0;
  std::size_t entries_ = 0;
};

}  // namespace bindery
