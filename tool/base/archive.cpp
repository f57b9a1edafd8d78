#include "base/archive.h"

#include <algorithm>
#include <cstring>
#include <memory>

#include <fmt/format.h>
#include <libdeflate.h>
#include <zip.h>

#include "base/digest.h"
#include "base/failure.h"
#include "base/utf8.h"

namespace bindery {

namespace {

constexpr int level = 6;
constexpr std::uint32_t mode = 0100644;

struct CompressorFree {
  void operator()(libdeflate_compressor* handle) const { libdeflate_free_compressor(handle); }
};

libdeflate_compressor& compressor() {
  thread_local std::unique_ptr<libdeflate_compressor, CompressorFree> handle(libdeflate_alloc_compressor(level));
  if (!handle) throw SystemError("libdeflate gives no compressor");
  return *handle;
}

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
// that is final and goes to the followers.
class Sink {
 public:
  std::unique_ptr<Followers> followers;
  std::vector<std::uint64_t> heads;  // where libzip went back to

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
      open_ = followers->hand(std::move(open_));
      open_.reserve(part + part / 4);
      open_ += rest;
    }
    return true;
  }

  void finish() {
    begin_ += open_.size();
    followers->hand(std::move(open_));
    followers->finish();
  }

 private:
  static constexpr std::size_t part = 96 * 1024;  // a few of them stay in a core's cache

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

struct DosTime {
  zip_uint16_t time, date;
};

// Days since 1970 to a civil date: the usual arithmetic on eras of 400 years.
DosTime to_dos(std::int64_t seconds) {
  constexpr std::int64_t first = 315532800, last = 4354819198;  // 1980-01-01 and 2107-12-31 23:59:58, UTC
  seconds = std::clamp(seconds, first, last);
  std::int64_t days = seconds / 86400, rest = seconds % 86400;
  std::int64_t z = days + 719468, era = z / 146097, day_of_era = z - era * 146097;
  std::int64_t year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
  std::int64_t day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
  std::int64_t shifted = (5 * day_of_year + 2) / 153;
  std::int64_t day = day_of_year - (153 * shifted + 2) / 5 + 1, month = shifted < 10 ? shifted + 3 : shifted - 9;
  std::int64_t year = year_of_era + era * 400 + (month <= 2 ? 1 : 0);
  return {static_cast<zip_uint16_t>(rest / 3600 << 11 | rest / 60 % 60 << 5 | rest % 60 / 2),
          static_cast<zip_uint16_t>((year - 1980) << 9 | month << 5 | day)};
}

ArchiveFault damaged(const std::string& reason) { return {ArchiveFault::Kind::damaged, reason}; }

zip_t* try_open(std::string_view bytes, int flags, zip_error_t& error) {
  zip_error_init(&error);
  zip_source_t* source = zip_source_buffer_create(bytes.data(), bytes.size(), 0, &error);
  zip_t* archive = source == nullptr ? nullptr : zip_open_from_source(source, flags, &error);
  if (archive == nullptr && source != nullptr) zip_source_free(source);
  return archive;
}

// Does the list at the archive's end (APPNOTE.TXT, 4.3.12) hold a name that is no UTF-8? Such a one is not opened at
// all.
bool has_foreign_name(std::string_view bytes) {
  constexpr std::string_view mark = "PK\x01\x02";
  constexpr std::size_t head = 46;
  for (std::size_t at = bytes.find(mark); at != std::string_view::npos; at = bytes.find(mark, at + 4)) {
    if (at + head > bytes.size()) return false;
    auto byte = [&](std::size_t i) { return static_cast<unsigned char>(bytes[at + i]); };
    std::size_t length = byte(28) + 256u * byte(29);
    if (!is_utf8(bytes.substr(at + head, length))) return true;
  }
  return false;
}

// Opens it with all checks. Names that are no UTF-8 fail these, and are told as such.
zip_t* open_archive(std::string_view bytes) {
  zip_error_t error;
  if (zip_t* archive = try_open(bytes, ZIP_RDONLY | ZIP_CHECKCONS, error)) return archive;
  int code = zip_error_code_zip(&error);
  std::string reason = zip_error_strerror(&error);
  zip_error_fini(&error);
  if (code == ZIP_ER_EXISTS) throw ArchiveFault(ArchiveFault::Kind::twice, "two entries have one name");
  if (code == ZIP_ER_INCONS && has_foreign_name(bytes))
    throw ArchiveFault(ArchiveFault::Kind::name, "an entry's name is no UTF-8");
  throw damaged(reason);
}

std::string read_entry(zip_t* archive, zip_uint64_t index, std::uint64_t size, const std::string& path) {
  std::string name = plain_name(path);
  std::string data(size, '\0');
  std::unique_ptr<zip_file_t, decltype(&zip_fclose)> file(zip_fopen_index(archive, index, 0), &zip_fclose);
  if (!file || zip_fread(file.get(), data.data(), data.size()) != static_cast<zip_int64_t>(data.size()))
    throw damaged(fmt::format("'{}' cannot be unpacked", name));
  char more = 0;
  if (zip_fread(file.get(), &more, 1) != 0)
    throw damaged(fmt::format("'{}' cannot be unpacked: its checksum or size is wrong", name));
  return data;
}

}  // namespace

bool is_safe_path(std::string_view path) {
  if (path.empty() || path.front() == '/' || path.back() == '/' || path.find('\\') != std::string_view::npos ||
      path.find(':') != std::string_view::npos)
    return false;
  for (std::size_t start = 0; start <= path.size();) {
    std::size_t end = std::min(path.find('/', start), path.size());
    std::string_view part = path.substr(start, end - start);
    if (part.empty() || part == "." || part == "..") return false;
    start = end + 1;
  }
  return std::none_of(path.begin(), path.end(), [](unsigned char c) { return c < 0x20 || c == 0x7f; });
}

PackedEntry pack(std::string path, std::string_view bytes) {
  PackedEntry entry = compress(std::move(path), bytes);
  entry.digest = sha256(bytes);
  return entry;
}

PackedEntry compress(std::string path, std::string_view bytes) {
  PackedEntry entry;
  entry.path = std::move(path);
  entry.size = bytes.size();
  entry.crc = checksum(bytes);
  thread_local std::unique_ptr<char[]> room;  // as long as the text, of which the compressed form fills a part
  thread_local std::size_t room_size = 0;
  if (room_size < bytes.size()) {
    room = std::make_unique_for_overwrite<char[]>(bytes.size());
    room_size = bytes.size();
  }
  // Zero where the compressed form would not be smaller.
  std::size_t packed = libdeflate_deflate_compress(&compressor(), bytes.data(), bytes.size(), room.get(), bytes.size());
  entry.deflated = packed > 0;
  entry.data = entry.deflated ? std::string_view(room.get(), packed) : bytes;
  return entry;
}

std::uint32_t checksum(std::string_view bytes, std::uint32_t before) {
  return static_cast<std::uint32_t>(libdeflate_crc32(before, bytes.data(), bytes.size()));
}

struct ArchiveWriter::State {
  std::vector<const PackedEntry*> entries;
  std::vector<Feed> feeds;
  StoredReader reader;
  Sink target;
  zip_t* archive = nullptr;

  ~State() {
    if (archive != nullptr) zip_discard(archive);
  }
  [[noreturn]] void fail() const {
    throw SystemError(fmt::format("libzip writes no archive: {}", zip_strerror(archive)));
  }
};

ArchiveWriter::ArchiveWriter(std::vector<const PackedEntry*> entries, std::int64_t time)
    : state_(std::make_unique<State>()) {
  State& s = *state_;
  s.entries = std::move(entries);
  zip_error_t error;
  zip_error_init(&error);
  zip_source_t* source = zip_source_function_create(sink, &s.target, &error);
  s.archive = source == nullptr ? nullptr : zip_open_from_source(source, ZIP_TRUNCATE, &error);
  if (s.archive == nullptr) {
    if (source != nullptr) zip_source_free(source);
    throw SystemError(fmt::format("libzip opens no archive: {}", zip_error_strerror(&error)));
  }
  DosTime stamp = to_dos(time);
  s.feeds.resize(s.entries.size());
  for (std::size_t i = 0; i < s.entries.size(); ++i) {
    s.feeds[i].entry = s.entries[i];
    s.feeds[i].reader = &s.reader;
    zip_source_t* part = zip_source_function(s.archive, feed, &s.feeds[i]);
    zip_int64_t index =
        part == nullptr ? -1 : zip_file_add(s.archive, s.entries[i]->path.c_str(), part, ZIP_FL_ENC_UTF_8);
    if (index < 0) {
      if (part != nullptr) zip_source_free(part);
      s.fail();
    }
    auto at = static_cast<zip_uint64_t>(index);
    if (zip_file_set_dostime(s.archive, at, stamp.time, stamp.date, 0) != 0 ||
        zip_file_set_external_attributes(s.archive, at, 0, ZIP_OPSYS_UNIX, mode << 16) != 0) {
      s.fail();
    }
  }
}

ArchiveWriter::~ArchiveWriter() = default;

std::vector<std::uint64_t> ArchiveWriter::finish(std::vector<TakeBytes> takers) {
  State& s = *state_;
  for (std::size_t i = 0; i < s.entries.size(); ++i) {
    auto method = static_cast<zip_int32_t>(s.entries[i]->deflated ? ZIP_CM_DEFLATE : ZIP_CM_STORE);
    if (zip_set_file_compression(s.archive, i, method, 0) != 0) s.fail();
  }
  s.target.followers = std::make_unique<Followers>(std::move(takers));
  if (zip_close(s.archive) != 0) s.fail();
  s.archive = nullptr;
  s.target.finish();
  // A head of 30 bytes and the path come before an entry's bytes (APPNOTE.TXT, 4.3.7). libzip was at each head.
  constexpr std::uint64_t head = 30;
  std::vector<std::uint64_t> places;
  for (std::uint64_t at = 0; const PackedEntry* entry : s.entries) {
    if (places.size() == s.target.heads.size() || s.target.heads[places.size()] != at) return {};
    places.push_back(at + head + entry->path.size());
    at = places.back() + entry->stored_size();
  }
  return places;
}

std::string write_archive(const std::vector<const PackedEntry*>& entries, std::int64_t time) {
  std::string out;
  ArchiveWriter(entries, time).finish({[&](std::string_view bytes) { out += bytes; }});
  return out;
}

void unpack(std::string_view bytes, const UnpackLimits& limits, const std::function<void(UnpackedEntry&&)>& take) {
  if (bytes.empty()) throw damaged("it is empty");  // libzip would take it for an archive of nothing
  zip_t* raw = open_archive(bytes);
  std::unique_ptr<zip_t, decltype(&zip_discard)> archive(raw, &zip_discard);
  std::uint64_t total = 0;
  auto count = static_cast<zip_uint64_t>(zip_get_num_entries(raw, 0));
  if (count > limits.entries)
    throw ArchiveFault(ArchiveFault::Kind::large, fmt::format("it has more than {} entries", limits.entries));
  for (zip_uint64_t i = 0; i < count; ++i) {
    zip_stat_t stat;
    const char* name = zip_get_name(raw, i, ZIP_FL_ENC_RAW);
    if (name == nullptr || zip_stat_index(raw, i, 0, &stat) != 0 || (stat.valid & ZIP_STAT_SIZE) == 0)
      throw damaged("an entry has no name or size");
    UnpackedEntry entry;
    entry.path = name;
    entry.encrypted = (stat.valid & ZIP_STAT_ENCRYPTION_METHOD) != 0 && stat.encryption_method != ZIP_EM_NONE;
    zip_uint8_t system = 0;
    zip_uint32_t attributes = 0;
    bool unix_mode = zip_file_get_external_attributes(raw, i, 0, &system, &attributes) == 0 && system == ZIP_OPSYS_UNIX;
    std::uint32_t type = unix_mode ? (attributes >> 16) & 0170000 : 0;
    entry.folder = entry.path.ends_with('/') || type == 0040000;
    entry.irregular = type != 0 && type != 0100000 && type != 0040000;
    if (!entry.folder && !entry.irregular && !entry.encrypted) {
      total += stat.size;
      if (stat.size > limits.entry || total > limits.all)
        throw ArchiveFault(ArchiveFault::Kind::large,
                           fmt::format("'{}' is larger than what is unpacked", plain_name(entry.path)));
      entry.bytes = read_entry(raw, i, stat.size, entry.path);
    }
    take(std::move(entry));
  }
}

std::map<std::string, std::string> read_archive(std::string_view bytes) {
  std::map<std::string, std::string> out;
  std::size_t number = 0;
  unpack(bytes, {}, [&](UnpackedEntry&& entry) {
    ++number;
    if (!is_safe_path(entry.path) || !is_plain_name(entry.path) || entry.irregular || entry.encrypted)
      throw damaged(fmt::format("the path of entry {} is not safe", number));
    if (!out.emplace(entry.path, std::move(entry.bytes)).second)
      throw ArchiveFault(ArchiveFault::Kind::twice, fmt::format("'{}' stands in it twice", entry.path));
  });
  return out;
}

}  // namespace bindery
