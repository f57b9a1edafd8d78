// A release to the file system: beside the target, then by one exchange.
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <system_error>
#include <utility>
#include <vector>

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include "base/failure.h"
#include "release/release.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

[[noreturn]] void fail(const fs::path& path, int reason) {
  throw SystemError(fmt::format("{} cannot be written: {}", path.string(), std::strerror(reason)),
                    "check the folder's rights and the free space, or name another with --out");
}

// A file that is written now and must have reached the disk by settle().
class NewFile {
 public:
  NewFile(fs::path path, std::string_view bytes) : path_(std::move(path)) {
    handle_ = open(path_.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0666);
    if (handle_ < 0) fail(path_, errno);
    while (!bytes.empty()) {
      ssize_t written = write(handle_, bytes.data(), bytes.size());
      if (written < 0 && errno == EINTR) continue;
      if (written < 0) {
        int reason = errno;
        close(handle_);
        fail(path_, reason);
      }
      bytes.remove_prefix(static_cast<std::size_t>(written));
    }
  }
  NewFile(NewFile&& other) noexcept : path_(std::move(other.path_)), handle_(std::exchange(other.handle_, -1)) {}
  NewFile& operator=(NewFile&&) = delete;
  ~NewFile() {
    if (handle_ >= 0) close(handle_);
  }

  void settle() {
    bool whole = fsync(handle_) == 0;
    int reason = errno;
    if (close(std::exchange(handle_, -1)) != 0 && whole) fail(path_, errno);
    if (!whole) fail(path_, reason);
  }

 private:
  fs::path path_;
  int handle_ = -1;
};

void make_folder(const fs::path& path) {
  std::error_code failure;
  fs::create_directories(path, failure);
  if (failure || !fs::is_directory(path)) fail(path, failure ? failure.value() : ENOTDIR);
}

// Is there nothing below the folder but what a build leaves? Else it would be lost.
bool is_release(const fs::path& folder) {
  for (const auto& each : fs::directory_iterator(folder)) {
    bool tier = each.path().filename() == "free" || each.path().filename() == "supporter";
    if (!tier || !fs::exists(each.path() / "SHA256SUMS")) return false;
  }
  return true;
}

// Removes a half-written folder when the writing fails.
struct Scratch {
  fs::path path;
  ~Scratch() {
    std::error_code ignored;
    fs::remove_all(path, ignored);
  }
};

}  // namespace

void write_release(const Release& release, const Edition& edition, const fs::path& out, bool ignored) {
  std::error_code failure;
  ignored |= !fs::exists(out, failure);
  make_folder(out);
  if (ignored && !fs::exists(out / ".gitignore", failure)) NewFile(out / ".gitignore", "*\n").settle();
  fs::path target = out / edition.version;
  if (fs::exists(target, failure) && !(fs::is_directory(target) && is_release(target)))
    throw SystemError(fmt::format("{} holds something else than a release, and would be replaced", target.string()),
                      "move it away, or name another folder with --out");
  Scratch scratch{out / fmt::format(".{}-{}", edition.version, getpid())};
  fs::remove_all(scratch.path, failure);
  // All are written before the first is waited for: the disk takes them in one go.
  std::vector<NewFile> written;
  for (const TierRelease& tier : release.tiers) {
    fs::path folder = scratch.path / std::string(name_of(tier.tier));
    make_folder(folder);
    for (const ReleaseFile& file : tier.files) written.emplace_back(folder / file.name, file.bytes);
  }
  for (NewFile& file : written) file.settle();
  // An exchange leaves the old release or the new one, whenever it is cut off; then the old one goes with the scratch.
  if (renameat2(AT_FDCWD, scratch.path.c_str(), AT_FDCWD, target.c_str(), RENAME_EXCHANGE) == 0) return;
  if (errno != ENOENT) {
    // A file system without exchanges.
    fs::path old = out / fmt::format(".{}-{}-old", edition.version, getpid());
    if (std::rename(target.c_str(), old.c_str()) != 0 && errno != ENOENT) fail(target, errno);
    Scratch before{old};
    if (std::rename(scratch.path.c_str(), target.c_str()) != 0) fail(target, errno);
    return;
  }
  if (std::rename(scratch.path.c_str(), target.c_str()) != 0) fail(target, errno);
}

}  // namespace bindery
