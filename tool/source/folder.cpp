// Reading a tree from the file system.
#include <algorithm>
#include <cerrno>
#include <cstring>
#include <optional>
#include <system_error>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/failure.h"
#include "base/utf8.h"
#include "source/source.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

bool is_yaml(std::string_view path) { return path.ends_with(".yaml"); }

class FolderReader {
 public:
  FolderReader(const fs::path& root, Diagnostics& out) : root_(root), out_(out) {}

  Sources read(std::initializer_list<const char*> folders) {
    for (const char* top : folders) walk(top);
    std::sort(found_.begin(), found_.end(), [](const Found& a, const Found& b) { return a.path < b.path; });
    Sources sources;
    for (const Found& found : found_) load(found, sources);
    return sources;
  }

 private:
  struct Found {
    std::string path;  // as it can be shown
    struct stat info;
    std::string real = path;
  };

  void walk(const std::string& path) {
    struct stat info {};
    if (lstat((root_ / path).c_str(), &info) != 0) return;
    bool folder = S_ISDIR(info.st_mode);
    bool wanted = is_source_path(path) || is_stray_path(path);
    if (wanted || S_ISLNK(info.st_mode)) {
      if (wanted || is_above_sources(path)) found_.push_back({plain_name(path), info, path});
      return;
    }
    if (!folder) return;
    // A folder that is listed and not entered would lose its files in silence.
    if (eaccess((root_ / path).c_str(), R_OK | X_OK) != 0) {
      found_.push_back({path, info});
      return;
    }
    std::vector<std::string> names;
    std::error_code failure;
    for (fs::directory_iterator it(root_ / path, failure), end; !failure && it != end; it.increment(failure)) {
      names.push_back(it->path().filename().string());
    }
    if (failure) {
      found_.push_back({path, info});
      return;
    }
    for (const std::string& name : names) {
      if (!name.starts_with('.')) walk(path + "/" + name);
    }
  }

  static bool is_above_sources(std::string_view path) {
    return path == "schema" || path == "release" || path == "profiles-src" || path.starts_with("profiles-src/") ||
           path == "release/notes" || path == "release/texts";
  }

  void load(const Found& found, Sources& sources) {
    auto id = static_cast<FileId>(sources.files.size());
    SourceFile& file = sources.files.emplace_back();
    file.path = found.path;
    auto size = static_cast<std::size_t>(found.info.st_size);
    std::optional<Oddity> oddity;
    if (!is_plain_name(found.real)) oddity = Oddity::hidden_name;
    else if (S_ISLNK(found.info.st_mode)) oddity = Oddity::link;
    else if (S_ISDIR(found.info.st_mode)) oddity = is_yaml(found.path) ? Oddity::folder : Oddity::unreadable_folder;
    else if (!S_ISREG(found.info.st_mode)) oddity = Oddity::device;
    else if (!is_source_path(found.path)) oddity = Oddity::stray;
    else if (size > largest_text) oddity = Oddity::too_large;
    else if (!slurp(root_ / found.real, size, file.text)) oddity = Oddity::unreadable_file;
    if (oddity) report_oddity(id, file, *oddity, out_);
    else check_text(id, file, out_);
  }

  // Reads the file; `size` is what it had a moment ago, and one byte more shows that it grew.
  static bool slurp(const fs::path& path, std::size_t size, std::string& text) {
    int handle = open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
    if (handle < 0) return false;
    text.resize(size + 1);
    std::size_t length = 0;
    ssize_t got = 0;
    while (length < text.size() && (got = ::read(handle, text.data() + length, text.size() - length)) > 0) {
      length += static_cast<std::size_t>(got);
    }
    int problem = errno;
    close(handle);
    errno = problem;
    text.resize(length);
    return got >= 0;
  }

  const fs::path& root_;
  Diagnostics& out_;
  std::vector<Found> found_;
};

}  // namespace

fs::path find_root(const fs::path& start) {
  std::error_code failure;
  fs::path at = fs::absolute(start, failure).lexically_normal();
  if (failure || !fs::is_directory(at, failure)) {
    throw UsageError(fmt::format("no folder {}", start.string()), "name a folder that exists after -C");
  }
  for (;; at = at.parent_path()) {
    if (fs::is_directory(at / "profiles-src", failure)) return at;
    if (at == at.parent_path()) break;
  }
  throw UsageError(fmt::format("no folder from {} upward holds profiles-src/", start.string()),
                   "run it inside a tree, or name one with -C DIR");
}

Sources read_folder(const fs::path& root, Diagnostics& out) {
  return FolderReader(root, out).read({"profiles-src", "schema", "release"});
}

Sources read_notes(const fs::path& root, Diagnostics& out) { return FolderReader(root, out).read({"release/notes"}); }

}  // namespace bindery
