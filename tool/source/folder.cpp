// Reading a tree from the file system.
#include <algorithm>
#include <atomic>
#include <cerrno>
#include <cstring>
#include <optional>
#include <system_error>
#include <unordered_set>

#include <dirent.h>
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/failure.h"
#include "base/parallel.h"
#include "base/utf8.h"
#include "source/source.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

constexpr std::initializer_list<const char*> tree_folders = {"profiles-src", "schema", "release"};

bool is_yaml(std::string_view path) { return path.ends_with(".yaml"); }

// An open folder; where it cannot be opened, no file is found from it.
struct FolderHandle {
  explicit FolderHandle(const fs::path& path) : number(open(path.c_str(), flags)) {}
  FolderHandle(const FolderHandle& above, const std::string& path)
      : number(openat(above.number, path.c_str(), flags)) {}
  FolderHandle(const FolderHandle&) = delete;
  FolderHandle& operator=(const FolderHandle&) = delete;
  ~FolderHandle() {
    if (number >= 0) close(number);
  }

  static constexpr int flags = O_PATH | O_DIRECTORY | O_CLOEXEC;
  int number;
};

std::string_view folder_of(std::string_view path) { return path.substr(0, path.rfind('/')); }

class FolderReader {
 public:
  FolderReader(const fs::path& root, unsigned jobs, Diagnostics& out)
      : root_(root), root_handle_(root), jobs_(jobs), out_(out) {}

  void find(std::initializer_list<const char*> folders) {
    for (const char* top : folders) {
      struct stat info {};
      if (lstat((root_ / top).c_str(), &info) == 0) look_at(top, info);
    }
    sort();
  }

  // What stands at that path, after those before; nothing where it is gone.
  void find_file(const std::string& path) {
    struct stat info {};
    if (lstat((root_ / path).c_str(), &info) == 0) look_at(path, info);
  }

  // Do folders that were listed before hold the same names? One does whose stamp is what it was.
  bool hold_the_same(const Before& before, std::int64_t trusted) {
    std::unordered_set<std::string_view> all, others;
    for (const auto& [path, stamp] : before.folders) {
      all.insert(path);
      struct stat info {};
      if (fstatat(root_handle_.number, path.c_str(), &info, AT_SYMLINK_NOFOLLOW) != 0 || !S_ISDIR(info.st_mode))
        return false;
      if (stamp_of(info) == stamp && stamp.is_before(trusted)) folders_.emplace_back(path, stamp);
      else others.insert(path);
    }
    for (const char* top : tree_folders) {
      struct stat info {};
      if (!all.contains(top) && lstat((root_ / top).c_str(), &info) == 0) return false;
    }
    struct stat folder {};
    folder.st_mode = S_IFDIR;
    known_ = &all;
    for (std::string_view each : others) look_at(std::string(each), folder);
    known_ = nullptr;
    sort();
    std::size_t at = 0;
    for (std::string_view path : before.paths) {
      if (!others.empty() && others.contains(folder_of(path)) && (at == found_.size() || found_[at++].path != path))
        return false;
    }
    return at == found_.size();
  }

  // Asks each file for its stamp; nothing where one is no plain text of a tree.
  std::optional<std::vector<FileStamp>> stamps(const std::vector<std::string_view>& paths) const {
    std::vector<FileStamp> out(paths.size());
    std::atomic<bool> sound = true;
    constexpr std::size_t part = 64;
    parallel_for((paths.size() + part - 1) / part, jobs_, [&](std::size_t i) {
      std::string_view folder;  // neighbours stand in one folder for the most part, so the way to it is gone once
      std::optional<FolderHandle> handle;
      for (std::size_t at = i * part; at < std::min(paths.size(), (i + 1) * part); ++at) {
        std::string path(paths[at]);
        if (std::string_view own = folder_of(paths[at]); own != folder) {
          folder = own;
          handle.emplace(root_handle_, std::string(own));
        }
        struct stat info {};
        int result = fstatat(handle->number, path.c_str() + folder.size() + 1, &info, AT_SYMLINK_NOFOLLOW);
        if (result != 0 || !S_ISREG(info.st_mode) || !is_source_path(path)) sound = false;
        out[at] = stamp_of(info);
      }
    });
    if (!sound) return std::nullopt;
    return out;
  }

  Listing list() {
    Listing out;
    for (Found& found : found_) {
      out.sound &= S_ISREG(found.mode) && found.real.empty() && is_source_path(found.path);
      out.paths.push_back(std::move(found.path));
    }
    return out;
  }

  // Those that were looked at, by path.
  std::vector<StampedFolder> folders() {
    std::sort(folders_.begin(), folders_.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
    return std::move(folders_);
  }

  Sources read() {
    Sources sources;
    sources.files.resize(found_.size());
    // In parts, so that small trees stay on one core; what each part reports is joined in the order of the files.
    constexpr std::size_t part = 64;
    std::vector<Diagnostics> reports((found_.size() + part - 1) / part);
    parallel_for(reports.size(), jobs_, [&](std::size_t i) {
      for (std::size_t at = i * part; at < std::min(found_.size(), (i + 1) * part); ++at)
        load(static_cast<FileId>(at), found_[at], sources.files[at], reports[i]);
    });
    for (Diagnostics& each : reports) out_.join(std::move(each));
    sources.folders = folders();
    return sources;
  }

 private:
  struct Found {
    std::string path;  // as it can be shown
    std::string real;  // as the system has it, where that is another
    mode_t mode = 0;   // its type

    const std::string& on_disk() const { return real.empty() ? path : real; }
  };

  void sort() {
    std::sort(found_.begin(), found_.end(), [](const Found& a, const Found& b) { return a.path < b.path; });
  }

  void note(const std::string& path, const struct stat& info) {
    Found& found = found_.emplace_back();
    found.path = plain_name(path);
    if (found.path != path) found.real = path;
    found.mode = info.st_mode;
  }

  // `info` need hold no more than the type.
  void look_at(const std::string& path, const struct stat& info) {
    bool wanted = is_source_path(path) || is_stray_path(path);
    if (wanted || S_ISLNK(info.st_mode)) {
      if (wanted || is_above_sources(path)) note(path, info);
      return;
    }
    if (S_ISDIR(info.st_mode)) enter(path, info);
  }

  void enter(const std::string& path, const struct stat& info) {
    // A folder that is listed and not entered would lose its files in silence.
    DIR* folder = eaccess((root_ / path).c_str(), R_OK | X_OK) == 0 ? opendir((root_ / path).c_str()) : nullptr;
    if (folder == nullptr) {
      note(path, info);
      return;
    }
    std::size_t before = found_.size();
    struct stat own {};  // of before it is read
    if (fstat(dirfd(folder), &own) == 0) folders_.emplace_back(path, stamp_of(own));
    errno = 0;
    while (const dirent* entry = readdir(folder)) {
      std::string_view name = entry->d_name;
      if (name.starts_with('.')) continue;
      std::string inner = path + '/';
      inner += name;
      struct stat of_inner {};
      if (entry->d_type == DT_DIR) of_inner.st_mode = S_IFDIR;
      else if (entry->d_type == DT_REG) of_inner.st_mode = S_IFREG;
      else if (fstatat(dirfd(folder), entry->d_name, &of_inner, AT_SYMLINK_NOFOLLOW) != 0) of_inner.st_mode = 0;
      bool is_known = known_ != nullptr && S_ISDIR(of_inner.st_mode) && known_->contains(inner);
      if (of_inner.st_mode != 0 && !is_known) look_at(inner, of_inner);
      errno = 0;
    }
    if (errno != 0) {
      found_.resize(before);
      note(path, info);
    }
    closedir(folder);
  }

  static bool is_above_sources(std::string_view path) {
    return path == "schema" || path == "release" || path == "profiles-src" || path.starts_with("profiles-src/") ||
           path == "release/notes" || path == "release/texts";
  }

  void load(FileId id, const Found& found, SourceFile& file, Diagnostics& out) const {
    file.path = found.path;
    std::optional<Oddity> oddity;
    if (!found.real.empty()) oddity = Oddity::hidden_name;
    else if (S_ISLNK(found.mode)) oddity = Oddity::link;
    else if (S_ISDIR(found.mode)) oddity = is_yaml(found.path) ? Oddity::folder : Oddity::unreadable_folder;
    else if (!S_ISREG(found.mode)) oddity = Oddity::device;
    else if (!is_source_path(found.path)) oddity = Oddity::stray;
    else if (!slurp(found.on_disk(), file)) oddity = Oddity::unreadable_file;
    else if (file.text.size() > largest_text) oddity = Oddity::too_large;
    if (oddity) file.text.clear();
    if (oddity) report_oddity(id, file, *oddity, out);
    else check_text(id, file, out);
  }

  // Reads the file, of one that is too large no more than shows it.
  bool slurp(const std::string& path, SourceFile& file) const {
    int handle = openat(root_handle_.number, path.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
    if (handle < 0) return false;
    struct stat info {};
    bool sound = fstat(handle, &info) == 0 && S_ISREG(info.st_mode);
    file.stamp = stamp_of(info);
    std::string& text = file.text;
    // A byte more than it has shows that it grew since.
    text.resize(std::min(static_cast<std::size_t>(sound ? info.st_size : 0), largest_text) + 1);
    std::size_t length = 0;
    ssize_t got = 0;
    while (sound && length < text.size() && (got = ::read(handle, text.data() + length, text.size() - length)) > 0) {
      length += static_cast<std::size_t>(got);
    }
    close(handle);
    text.resize(length);
    return sound && got >= 0;
  }

  static FileStamp stamp_of(const struct stat& info) {
    auto nanoseconds = [](const timespec& time) {
      return static_cast<std::int64_t>(time.tv_sec) * 1'000'000'000 + time.tv_nsec;
    };
    return {static_cast<std::uint64_t>(info.st_size), static_cast<std::uint64_t>(info.st_ino),
            nanoseconds(info.st_mtim), nanoseconds(info.st_ctim)};
  }

  const fs::path& root_;
  FolderHandle root_handle_;  // from which paths are looked up: whole ones take as long again
  unsigned jobs_;
  Diagnostics& out_;
  std::vector<Found> found_;
  std::vector<StampedFolder> folders_;
  const std::unordered_set<std::string_view>* known_ = nullptr;  // folders that are looked at in their own turn
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

Sources read_folder(const fs::path& root, unsigned jobs, Diagnostics& out) {
  FolderReader reader(root, jobs, out);
  reader.find(tree_folders);
  return reader.read();
}

Sources read_notes(const fs::path& root, Diagnostics& out) {
  FolderReader reader(root, 1, out);
  reader.find({"release/notes"});
  return reader.read();
}

Listing list_folder(const fs::path& root) {
  Diagnostics nothing;
  FolderReader reader(root, 1, nothing);
  reader.find(tree_folders);
  return reader.list();
}

std::optional<Stamps> stamp_again(const fs::path& root, unsigned jobs, const Before& before, std::int64_t trusted) {
  Diagnostics nothing;
  FolderReader reader(root, jobs, nothing);
  if (!reader.hold_the_same(before, trusted)) return std::nullopt;
  auto files = reader.stamps(before.paths);
  if (!files) return std::nullopt;
  return Stamps{std::move(*files), reader.folders()};
}

Sources read_files(const fs::path& root, const std::vector<std::string>& paths, Diagnostics& out) {
  FolderReader reader(root, 1, out);
  for (const std::string& path : paths) reader.find_file(path);
  return reader.read();
}

}  // namespace bindery
