#include "archive/stored_file.h"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <utility>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace bindery {

namespace {

constexpr std::size_t part = 256 * 1024;

std::int64_t modified_of(const struct stat& info) {
  return static_cast<std::int64_t>(info.st_mtim.tv_sec) * 1'000'000'000 + info.st_mtim.tv_nsec;
}

}  // namespace

std::optional<StoredFile> StoredFile::open(const std::filesystem::path& path) {
  int handle = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
  if (handle < 0) return std::nullopt;
  struct stat info {};
  if (fstat(handle, &info) != 0 || !S_ISREG(info.st_mode)) {
    close(handle);
    return std::nullopt;
  }
  return StoredFile(handle, static_cast<std::uint64_t>(info.st_size), modified_of(info));
}

StoredFile::~StoredFile() {
  if (handle_ >= 0) close(handle_);
}

StoredFile::StoredFile(StoredFile&& other) noexcept
    : handle_(std::exchange(other.handle_, -1)), size_(other.size_), modified_(other.modified_) {}

bool StoredFile::read(std::uint64_t at, char* target, std::size_t length) const {
  while (length > 0) {
    ssize_t got = pread(handle_, target, length, static_cast<off_t>(at));
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) return false;
    at += static_cast<std::uint64_t>(got);
    target += got;
    length -= static_cast<std::size_t>(got);
  }
  return true;
}

bool StoredFile::read_all(const std::function<void(std::string_view bytes)>& take) const {
  std::string bytes(part, '\0');
  for (std::uint64_t at = 0; at < size_; at += bytes.size()) {
    bytes.resize(static_cast<std::size_t>(std::min<std::uint64_t>(part, size_ - at)));
    if (!read(at, bytes.data(), bytes.size())) return false;
    take(bytes);
  }
  return true;
}

bool StoredFile::is_unchanged() const {
  struct stat info {};
  return fstat(handle_, &info) == 0 && static_cast<std::uint64_t>(info.st_size) == size_ &&
         modified_of(info) == modified_;
}

bool StoredReader::hold(const StoredFile& file, std::uint64_t at, std::size_t length) {
  if (file_ == &file && at >= at_ && at + length <= at_ + part_.size()) return true;
  if (at > file.size() || length > file.size() - at) return false;
  part_.resize(static_cast<std::size_t>(std::min<std::uint64_t>(part, file.size() - at)));
  file_ = nullptr;
  if (!file.read(at, part_.data(), part_.size())) return false;
  file_ = &file;
  at_ = at;
  return true;
}

bool StoredReader::read(const StoredFile& file, std::uint64_t at, char* target, std::size_t length) {
  if (length > part) return file.read(at, target, length);
  if (!hold(file, at, length)) return false;
  std::memcpy(target, part_.data() + (at - at_), length);
  return true;
}

bool StoredReader::append(const StoredFile& file, std::uint64_t at, std::size_t length, std::string& out) {
  if (length <= part) {
    if (!hold(file, at, length)) return false;
    out.append(part_, static_cast<std::size_t>(at - at_), length);
    return true;
  }
  if (at > file.size() || length > file.size() - at) return false;
  std::size_t begin = out.size();
  out.resize(begin + length);
  return file.read(at, out.data() + begin, length);
}

}  // namespace bindery
