// A file whose bytes are copied from place to place, without it being held in memory.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <string_view>

namespace bindery {

// Read from several threads.
class StoredFile {
 public:
  // Nothing where there is no regular file, or none that can be read.
  static std::optional<StoredFile> open(const std::filesystem::path& path);
  ~StoredFile();
  StoredFile(StoredFile&& other) noexcept;
  StoredFile& operator=(StoredFile&&) = delete;

  std::uint64_t size() const { return size_; }
  // False where there are not so many bytes.
  bool read(std::uint64_t at, char* target, std::size_t length) const;
  // Reads all of it, in parts.
  bool read_all(const std::function<void(std::string_view bytes)>& take) const;
  // Has nobody written to it since it was opened?
  bool is_unchanged() const;

 private:
  StoredFile(int handle, std::uint64_t size, std::int64_t modified)
      : handle_(handle), size_(size), modified_(modified) {}
  int handle_;
  std::uint64_t size_;
  std::int64_t modified_;  // nanoseconds since 1970
};

// Reads a file a good part at a time, for who goes through it in small steps; of one thread.
class StoredReader {
 public:
  // False where there are not so many bytes.
  bool read(const StoredFile& file, std::uint64_t at, char* target, std::size_t length);
  bool append(const StoredFile& file, std::uint64_t at, std::size_t length, std::string& out);

 private:
  // Is that stretch, which is no longer than a part, in memory?
  bool hold(const StoredFile& file, std::uint64_t at, std::size_t length);

  const StoredFile* file_ = nullptr;
  std::uint64_t at_ = 0;
  std::string part_;
};

}  // namespace bindery
