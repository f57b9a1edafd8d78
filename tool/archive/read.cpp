#include <algorithm>
#include <memory>

#include <fmt/format.h>
#include <zip.h>

#include "archive/archive.h"
#include "base/failure.h"
#include "base/utf8.h"

namespace bindery {

namespace {

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
