#include "archive/zip_file.h"

#include <algorithm>
#include <cstring>
#include <limits>
#include <utility>

#include <fmt/format.h>
#include <zip.h>

#include "base/failure.h"

namespace bindery {

namespace {

constexpr std::uint32_t mode = 0100644;

// libzip's source of one entry: its data as they are, and a STAT that says they are compressed already.
struct Feed {
  const PackedEntry* entry = nullptr;
  StoredReader* reader = nullptr;
  std::size_t at = 0;

  zip_int64_t read(char* target, std::size_t length) {
    std::size_t more = std::min<std::size_t>(length, entry->stored_size() - at);
    if (more == 0) return 0;
    const PackedEntry::Place& lent = entry->lent;
    if (lent.file == nullptr) std::memcpy(target, entry->data.data() + at, more);
    else if (!reader->read(*lent.file, lent.at + at, target, more)) return -1;
    at += more;
    return static_cast<zip_int64_t>(more);
  }
};

zip_int64_t feed(void* state, void* data, zip_uint64_t length, zip_source_cmd_t command) {
  Feed& feed = *static_cast<Feed*>(state);
  switch (command) {
    case ZIP_SOURCE_SUPPORTS: return ZIP_SOURCE_SUPPORTS_READABLE;
    case ZIP_SOURCE_OPEN: feed.at = 0; return 0;
    case ZIP_SOURCE_READ: return feed.read(static_cast<char*>(data), length);
    case ZIP_SOURCE_STAT: {
      auto* stat = static_cast<zip_stat_t*>(data);
      zip_stat_init(stat);
      stat->size = feed.entry->size;
      stat->comp_size = feed.entry->stored_size();
      stat->comp_method = feed.entry->deflated ? ZIP_CM_DEFLATE : ZIP_CM_STORE;
      stat->crc = feed.entry->crc;
      stat->valid = ZIP_STAT_SIZE | ZIP_STAT_COMP_SIZE | ZIP_STAT_COMP_METHOD | ZIP_STAT_CRC;
      return sizeof(zip_stat_t);
    }
    case ZIP_SOURCE_ERROR: {
      int cause[2] = {ZIP_ER_READ, 0};
      std::memcpy(data, cause, sizeof cause);
      return sizeof cause;
    }
    default: return 0;
  }
}

// libzip's target. libzip goes back to the head of the entry that it has just written, and no further: what is before
// that is final, and is handed on where it is a part of some size.
class Sink {
 public:
  HandPart hand;
  std::size_t part = 96 * 1024;      // a few of them stay in a core's cache
  std::vector<std::uint64_t> heads;  // where libzip went back to

  void reserve(std::size_t bytes) { open_.reserve(bytes); }

  std::uint64_t size() const { return begin_ + open_.size(); }
  std::uint64_t at() const { return at_; }

  void write(const char* data, std::size_t length) {
    std::size_t over = std::min<std::size_t>(length, size() - at_);
    std::memcpy(open_.data() + (at_ - begin_), data, over);
    open_.append(data + over, length - over);
    at_ += length;
  }

  bool seek(std::uint64_t at) {
    if (at < begin_ || at > size()) return false;
    at_ = at;
    if (at == size()) return true;
    heads.push_back(at);
    if (std::size_t final = at - begin_; final >= part) {
      std::string rest = open_.substr(final);
      open_.resize(final);
      begin_ += final;
      open_ = hand(std::move(open_));
      open_.reserve(part + part / 4);
      open_ += rest;
    }
    return true;
  }

  void finish() {
    begin_ += open_.size();
    hand(std::move(open_));
  }

 private:
  std::uint64_t begin_ = 0, at_ = 0;
  std::string open_;  // what is not final, from `begin_` on
};

zip_int64_t sink(void* state, void* data, zip_uint64_t length, zip_source_cmd_t command) {
  Sink& sink = *static_cast<Sink*>(state);
  switch (command) {
    case ZIP_SOURCE_SUPPORTS: return ZIP_SOURCE_SUPPORTS_WRITABLE;
    case ZIP_SOURCE_STAT: {
      auto* stat = static_cast<zip_stat_t*>(data);
      zip_stat_init(stat);
      stat->size = sink.size();
      stat->valid = ZIP_STAT_SIZE;
      return sizeof(zip_stat_t);
    }
    case ZIP_SOURCE_WRITE: sink.write(static_cast<const char*>(data), length); return static_cast<zip_int64_t>(length);
    case ZIP_SOURCE_SEEK_WRITE: {
      zip_error_t error;
      zip_error_init(&error);
      zip_int64_t at = zip_source_seek_compute_offset(sink.at(), sink.size(), data, length, &error);
      zip_error_fini(&error);
      return at >= 0 && sink.seek(static_cast<std::uint64_t>(at)) ? 0 : -1;
    }
    case ZIP_SOURCE_TELL_WRITE: return static_cast<zip_int64_t>(sink.at());
    case ZIP_SOURCE_ERROR: {
      int cause[2] = {ZIP_ER_WRITE, 0};
      std::memcpy(data, cause, sizeof cause);
      return sizeof cause;
    }
    default: return 0;
  }
}

}  // namespace

struct ZipFile::State {
  const PackedEntries& entries;
  std::vector<Feed> feeds;
  StoredReader reader;
  Sink target;
  zip_t* archive = nullptr;

  explicit State(const PackedEntries& those) : entries(those) {}
  State(const State&) = delete;
  State& operator=(const State&) = delete;
  ~State() {
    if (archive != nullptr) zip_discard(archive);
  }

  void add(Feed& from, DosTime time) {
    zip_source_t* part = zip_source_function(archive, feed, &from);
    zip_int64_t index = part == nullptr ? -1 : zip_file_add(archive, from.entry->path.c_str(), part, ZIP_FL_ENC_UTF_8);
    if (index < 0) {
      if (part != nullptr) zip_source_free(part);
      fail();
    }
    auto at = static_cast<zip_uint64_t>(index);
    if (zip_file_set_dostime(archive, at, time.time, time.date, 0) != 0 ||
        zip_file_set_external_attributes(archive, at, 0, ZIP_OPSYS_UNIX, mode << 16) != 0) {
      fail();
    }
  }
  [[noreturn]] void fail() const {
    throw SystemError(fmt::format("libzip writes no archive: {}", zip_strerror(archive)));
  }
};

ZipFile::ZipFile(const PackedEntries& entries, DosTime time) : state_(std::make_unique<State>(entries)) {
  State& s = *state_;
  zip_error_t error;
  zip_error_init(&error);
  zip_source_t* source = zip_source_function_create(sink, &s.target, &error);
  s.archive = source == nullptr ? nullptr : zip_open_from_source(source, ZIP_TRUNCATE, &error);
  if (s.archive == nullptr) {
    if (source != nullptr) zip_source_free(source);
    throw SystemError(fmt::format("libzip opens no archive: {}", zip_error_strerror(&error)));
  }
  s.feeds.resize(entries.size());
  for (std::size_t i = 0; i < entries.size(); ++i) {
    s.feeds[i].entry = entries[i];
    s.feeds[i].reader = &s.reader;
    s.add(s.feeds[i], time);
  }
}

ZipFile::~ZipFile() = default;

std::vector<std::uint64_t> ZipFile::close(HandPart hand) {
  State& s = *state_;
  for (std::size_t i = 0; i < s.entries.size(); ++i) {
    auto method = static_cast<zip_int32_t>(s.entries[i]->deflated ? ZIP_CM_DEFLATE : ZIP_CM_STORE);
    if (zip_set_file_compression(s.archive, i, method, 0) != 0) s.fail();
  }
  s.target.hand = std::move(hand);
  if (zip_close(s.archive) != 0) s.fail();
  s.archive = nullptr;
  s.target.finish();
  // libzip was at each head.
  std::vector<std::uint64_t> heads;
  for (std::uint64_t at = 0; const PackedEntry* entry : s.entries) {
    if (heads.size() == s.target.heads.size() || s.target.heads[heads.size()] != at) return {};
    heads.push_back(at);
    at += entry_head + entry->path.size() + entry->stored_size();
  }
  return heads;
}

std::vector<std::uint64_t> ZipFile::close(std::string& out) {
  State& s = *state_;
  std::size_t length = 0;
  for (const PackedEntry* entry : s.entries)
    length += entry_head + listed_head + 2 * entry->path.size() + entry->stored_size();
  s.target.part = std::numeric_limits<std::size_t>::max();
  s.target.reserve(length + length / 8);
  return close([&](std::string part) {
    out = std::move(part);
    return std::string();
  });
}

}  // namespace bindery
