#include "base/kept.h"

#include <fstream>
#include <iterator>

#include <fmt/format.h>
#include <link.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/digest.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

constexpr std::size_t head = 64;  // the digest

bool append_file(const char* path, std::string& out) {
  struct stat info {};
  if (stat(path, &info) != 0) return false;
  out += fmt::format("{} {} {}.{} ", info.st_size, info.st_ino, info.st_mtim.tv_sec, info.st_mtim.tv_nsec);
  return true;
}

// The files of the program and of the libraries that it runs with; empty where they are not known.
const std::string& program_files() {
  static const std::string files = [] {
    std::string out;
    auto append = [](dl_phdr_info* library, std::size_t, void* to) {
      // The program has no name here, nor what is no file a path.
      if (*library->dlpi_name == '/') append_file(library->dlpi_name, *static_cast<std::string*>(to));
      return 0;
    };
    if (append_file("/proc/self/exe", out)) dl_iterate_phdr(append, &out);
    return out;
  }();
  return files;
}

// Of the bytes and of the program that wrote them: another one may judge otherwise, be it of the same version, and
// nobody who does not know this one can make bytes that it believes.
std::optional<std::string> digest_of(std::string_view body) {
  if (program_files().empty()) return std::nullopt;
  return sha256({program_files(), body});
}

}  // namespace

std::optional<std::string> read_kept(const fs::path& path, std::uintmax_t largest) {
  std::error_code failure;
  bool plain = fs::symlink_status(path, failure).type() == fs::file_type::regular;
  std::uintmax_t size = plain ? fs::file_size(path, failure) : 0;
  if (failure || size < head || size > largest) return std::nullopt;
  std::string digest(head, '\0'), body(static_cast<std::size_t>(size) - head, '\0');
  std::ifstream in(path, std::ios::binary);
  bool whole = in.read(digest.data(), head) && in.read(body.data(), static_cast<std::streamsize>(body.size()));
  if (!whole || digest_of(body) != digest) return std::nullopt;
  return body;
}

bool write_kept(const fs::path& path, std::string_view body) {
  auto digest = digest_of(body);
  if (!digest) return false;
  std::error_code failure;
  fs::path folder = path.parent_path(), top = folder.parent_path();
  fs::create_directories(folder, failure);
  if (failure) return false;
  if (!fs::exists(top / ".gitignore", failure)) std::ofstream(top / ".gitignore") << "*\n";
  fs::path beside = folder / fmt::format(".{}-{}", path.filename().string(), getpid());
  {
    std::ofstream out(beside, std::ios::binary);
    out << *digest << body;
    if (!out.flush()) {
      out.close();
      fs::remove(beside, failure);
      return false;
    }
  }
  fs::rename(beside, path, failure);
  if (failure) fs::remove(beside, failure);
  return !failure;
}

}  // namespace bindery
