#include "archive/records.h"

#include "base/followers.h"

namespace bindery {

namespace {

// Where what stands in heads and in the record at the end (4.3.7, 4.3.12, 4.3.16). Numbers have their lowest byte
// first.
constexpr std::size_t end_length = 22;
namespace in_entry {
constexpr std::size_t time = 10, date = 12, path = 26, extra = 28;
}
namespace in_list {
constexpr std::size_t time = 12, date = 14, crc = 16, stored = 20, path = 28, extra = 30, comment = 32, at = 42;
}
namespace in_end {
constexpr std::size_t entries_here = 8, entries = 10, list_length = 12, list_at = 16, comment = 20;
}
constexpr std::string_view entry_mark = "PK\x03\x04", list_mark = "PK\x01\x02", end_mark = "PK\x05\x06";

std::uint32_t number(std::string_view bytes, std::size_t at, std::size_t length) {
  std::uint32_t out = 0;
  for (std::size_t i = length; i-- > 0;) out = out << 8 | static_cast<unsigned char>(bytes[at + i]);
  return out;
}

void put(char* target, std::uint64_t number, std::size_t length) {
  for (std::size_t i = 0; i < length; ++i, number >>= 8) target[i] = static_cast<char>(number & 0xff);
}

// The first record of the list; empty where it is none without extra field and comment.
std::string_view first_record(std::string_view list) {
  if (!list.starts_with(list_mark) || list.size() < listed_head) return {};
  if (number(list, in_list::extra, 2) != 0 || number(list, in_list::comment, 2) != 0) return {};
  std::size_t length = listed_head + number(list, in_list::path, 2);
  return list.size() < length ? std::string_view() : list.substr(0, length);
}

}  // namespace

std::optional<RecordList> RecordList::read(std::uint64_t size, const ReadAt& read) {
  RecordList out;
  if (size < end_length || !read(size - end_length, end_length, out.end_)) return std::nullopt;
  std::uint64_t at = number(out.end_, in_end::list_at, 4), length = number(out.end_, in_end::list_length, 4);
  bool plain = out.end_.starts_with(end_mark) && number(out.end_, in_end::comment, 2) == 0 &&
               number(out.end_, in_end::entries, 2) <= ArchiveJoiner::most_entries && at + length + end_length == size;
  if (!plain) return std::nullopt;
  if (!read(at, static_cast<std::size_t>(length), out.bytes_)) return std::nullopt;
  return out;
}

std::string_view RecordList::find(std::uint64_t head) {
  for (;;) {
    std::string_view record = first_record(std::string_view(bytes_).substr(next_));
    if (record.empty()) return {};
    std::uint64_t at = number(record, in_list::at, 4);
    if (at > head) return {};
    next_ += record.size();
    if (at == head) return record;
  }
}

std::string_view listed_path(std::string_view record) { return record.substr(listed_head); }
std::uint32_t listed_crc(std::string_view record) { return number(record, in_list::crc, 4); }
std::uint32_t listed_length(std::string_view record) { return number(record, in_list::stored, 4); }

ArchiveJoiner::ArchiveJoiner(Followers& followers, std::size_t list) : followers_(followers) { list_.reserve(list); }

std::optional<std::uint64_t> ArchiveJoiner::add(std::string_view record, const ReadAt& read, DosTime time) {
  std::size_t length = entry_head + listed_path(record).size() + listed_length(record);
  std::size_t begin = open_.size();
  if (!read(number(record, in_list::at, 4), length, open_)) return std::nullopt;
  char* entry = open_.data() + begin;
  std::string_view head(entry, entry_head);
  if (!head.starts_with(entry_mark) || number(head, in_entry::path, 2) != listed_path(record).size() ||
      number(head, in_entry::extra, 2) != 0)
    return std::nullopt;
  put(entry + in_entry::time, time.time, 2);
  put(entry + in_entry::date, time.date, 2);
  list_ += record;
  char* listed = list_.data() + list_.size() - record.size();
  put(listed + in_list::time, time.time, 2);
  put(listed + in_list::date, time.date, 2);
  put(listed + in_list::at, at_, 4);
  ++entries_;
  std::uint64_t place = at_ + entry_head + listed_path(record).size();
  at_ += length;
  constexpr std::size_t part = 256 * 1024;  // a few of them stay in a core's cache
  if (open_.size() >= part) open_ = followers_.hand(std::move(open_));
  return place;
}

void ArchiveJoiner::finish(std::string_view end) {
  std::string last(end);
  put(last.data() + in_end::entries_here, entries_, 2);
  put(last.data() + in_end::entries, entries_, 2);
  put(last.data() + in_end::list_length, list_.size(), 4);
  put(last.data() + in_end::list_at, at_, 4);
  if (!open_.empty()) followers_.hand(std::move(open_));
  followers_.hand(std::move(list_));
  followers_.hand(std::move(last));
}

}  // namespace bindery
