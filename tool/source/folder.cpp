// Reading a tree from the file system.
#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <system_error>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/failure.h"
#include "source/source.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

constexpr std::array<std::string_view, 3> kind_folders = {"profiles-src/machine/", "profiles-src/material/",
                                                          "profiles-src/process/"};
// Folders below profiles-src that hold other things than fragments.
constexpr std::array<std::string_view, 3> other_folders = {"profiles-src/part/", "profiles-src/trial/",
                                                           "profiles-src/dialect/"};

bool in_any(std::string_view path, const auto& folders) {
  return std::any_of(folders.begin(), folders.end(), [&](std::string_view f) { return path.starts_with(f); });
}

bool is_yaml(std::string_view path) { return path.ends_with(".yaml"); }

class FolderReader {
 public:
  FolderReader(const fs::path& root, Diagnostics& out) : root_(root), out_(out) {}

  Sources read() {
    for (const char* top : {"profiles-src", "schema", "release"}) walk(top);
    std::sort(found_.begin(), found_.end(), [](const Found& a, const Found& b) { return a.path < b.path; });
    Sources sources;
    for (const Found& found : found_) load(found, sources);
    return sources;
  }

 private:
  struct Found {
    std::string path;
    struct stat info;
  };

  void walk(const std::string& path) {
    struct stat info {};
    if (lstat((root_ / path).c_str(), &info) != 0) return;
    bool folder = S_ISDIR(info.st_mode);
    bool wanted = is_source_path(path) || stray(path);
    if (wanted || S_ISLNK(info.st_mode)) {
      if (wanted || is_above_sources(path)) found_.push_back({path, info});
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

  // YAML where a reader would expect it to count, and it does not: in no folder that is read, or with another ending.
  static bool stray(std::string_view path) {
    bool yaml = is_yaml(path) || path.ends_with(".yml");
    bool expected = (path.starts_with("profiles-src/") && !in_any(path, other_folders)) || path.starts_with("schema/") || path.starts_with("release/notes/") || path == "release/plan.yml";
    return yaml && expected;
  }

  static bool is_above_sources(std::string_view path) {
    return path == "schema" || path == "release" || path == "profiles-src" || path.starts_with("profiles-src/") ||
           path == "release/notes" || path == "release/texts";
  }

  void load(const Found& found, Sources& sources) {
    auto id = static_cast<FileId>(sources.files.size());
    SourceFile& file = sources.files.emplace_back();
    file.path = found.path;
    auto refuse = [&](Code code, std::string message, std::string help) {
      out_.add(code, {id, 0, 0}, std::move(message)).with_help(std::move(help));
      file.sound = false;
    };
    if (S_ISLNK(found.info.st_mode)) {
      refuse(Code::file_irregular, "this is a symbolic link; a tree holds its files itself", "put a copy in its place");
    } else if (S_ISDIR(found.info.st_mode) && !is_yaml(found.path)) {
      refuse(Code::file_unreadable, "this folder cannot be read", "give yourself the right to read it");
    } else if (!S_ISREG(found.info.st_mode)) {
      refuse(Code::file_irregular, fmt::format("this is {}, not a file", S_ISDIR(found.info.st_mode) ? "a folder" : "a device or a pipe"),
             "rename or remove it");
    } else if (!is_source_path(found.path)) {
      out_.add(Code::file_stray, {id, 0, 0}, "this file is not read")
          .with_help("what is read is `.yaml`: fragments below profiles-src/machine, material or process, the dictionary right in schema/, notes right in release/notes/");
      file.sound = false;
    } else if (static_cast<std::size_t>(found.info.st_size) > largest_text) {
      refuse(Code::file_too_large, fmt::format("the file is larger than {} KiB", largest_text / 1024),
             "split it into several files");
    } else if (!slurp(root_ / found.path, static_cast<std::size_t>(found.info.st_size), file.text)) {
      refuse(Code::file_unreadable, fmt::format("the file cannot be read: {}", std::strerror(errno)),
             "give yourself the right to read it");
    } else {
      check_text(id, file, out_);
    }
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

bool is_source_path(std::string_view path) {
  if (path.ends_with(".txt")) return path.starts_with("release/texts/") && path.rfind('/') == 13;
  if (!is_yaml(path)) return false;
  return path == "profiles-src/bindery.yaml" || path == "release/plan.yaml" || in_any(path, kind_folders) ||
         (path.starts_with("schema/") && path.rfind('/') == 6) ||
         (path.starts_with("release/notes/") && path.rfind('/') == 13);
}

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

Sources read_folder(const fs::path& root, Diagnostics& out) { return FolderReader(root, out).read(); }

}  // namespace bindery
