#include "release/write.h"

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <system_error>
#include <utility>

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include "base/failure.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

[[noreturn]] void fail(const fs::path& path, int reason) {
  throw SystemError(fmt::format("{} cannot be written: {}", path.string(), std::strerror(reason)),
                    "check the folder's rights and the free space, or name another with --out");
}

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

}  // namespace

// A file that is written now and must have reached the disk by settle().
class ReleaseWriter::NewFile {
 public:
  explicit NewFile(fs::path path) : path_(std::move(path)) {
    handle_ = open(path_.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0666);
    if (handle_ < 0) fail(path_, errno);
  }
  NewFile(const NewFile&) = delete;
  NewFile& operator=(const NewFile&) = delete;
  ~NewFile() {
    if (handle_ >= 0) close(handle_);
  }

  void add(std::string_view bytes) {
    while (!bytes.empty()) {
      ssize_t written = write(handle_, bytes.data(), bytes.size());
      if (written < 0 && errno == EINTR) continue;
      if (written < 0) fail(path_, errno);
      bytes.remove_prefix(static_cast<std::size_t>(written));
      length_ += written;
    }
    // What has come together goes to the disk meanwhile, so that there is less to wait for; where it does not, later.
    constexpr off_t much = 4 << 20;
    if (length_ - begun_ < much) return;
    sync_file_range(handle_, begun_, length_ - begun_, SYNC_FILE_RANGE_WRITE);
    begun_ = length_;
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
  off_t length_ = 0, begun_ = 0;  // written, and of that on the way to the disk
};

ReleaseWriter::ReleaseWriter(fs::path out, bool ignored) : out_(std::move(out)), ignored_(ignored) {}

ReleaseWriter::~ReleaseWriter() {
  std::error_code failure;
  if (!scratch_.empty()) fs::remove_all(scratch_, failure);
}

void ReleaseWriter::begin(const Edition& edition) {
  std::error_code failure;
  ignored_ |= !fs::exists(out_, failure);
  make_folder(out_);
  if (ignored_ && !fs::exists(out_ / ".gitignore", failure)) {
    NewFile note(out_ / ".gitignore");
    note.add("*\n");
    note.settle();
  }
  target_ = out_ / edition.version;
  if (fs::exists(target_, failure) && !(fs::is_directory(target_) && is_release(target_)))
    throw SystemError(fmt::format("{} holds something else than a release, and would be replaced", target_.string()),
                      "move it away, or name another folder with --out");
  scratch_ = out_ / fmt::format(".{}-{}", edition.version, getpid());
  fs::remove_all(scratch_, failure);
}

ReleaseWriter::NewFile& ReleaseWriter::file(Tier tier, const std::string& name) {
  std::lock_guard lock(guard_);
  std::unique_ptr<NewFile>& known = files_[{tier, name}];
  if (!known) {
    fs::path folder = scratch_ / std::string(name_of(tier));
    make_folder(folder);
    known = std::make_unique<NewFile>(folder / name);
  }
  return *known;
}

void ReleaseWriter::take(Tier tier, const std::string& name, std::string_view bytes) { file(tier, name).add(bytes); }

void ReleaseWriter::finish(const Release& release) {
  for (const TierRelease& tier : release.tiers) {
    for (const ReleaseFile& each : tier.files) {
      if (!files_.contains({tier.tier, each.name})) file(tier.tier, each.name).add(each.bytes);
    }
  }
  // All are written before the first is waited for: the disk takes them in one go.
  for (auto& [name, file] : files_) file->settle();
  // An exchange leaves the old release or the new one, whenever it is cut off; then the old one goes with the scratch.
  if (renameat2(AT_FDCWD, scratch_.c_str(), AT_FDCWD, target_.c_str(), RENAME_EXCHANGE) == 0) return;
  if (errno != ENOENT) {
    // A file system without exchanges.
    fs::path old = out_ / fmt::format("{}-old", scratch_.filename().string());
    if (std::rename(target_.c_str(), old.c_str()) != 0 && errno != ENOENT) fail(target_, errno);
    if (std::rename(scratch_.c_str(), target_.c_str()) != 0) {
      int reason = errno;
      std::rename(old.c_str(), target_.c_str());  // what stood there stands there again
      fail(target_, reason);
    }
    std::error_code failure;
    fs::remove_all(old, failure);
    return;
  }
  if (std::rename(scratch_.c_str(), target_.c_str()) != 0) fail(target_, errno);
}

}  // namespace bindery
