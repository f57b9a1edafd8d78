// A release read back from its archive, verified, and told as the successor of another: the input holds the files of
// both, those of the older one as `== old/PATH`.
#include <deque>

#include <sys/mman.h>
#include <unistd.h>
#include <nlohmann/json.hpp>

#include "archive/archive.h"
#include "base/failure.h"
#include "changes/published.h"
#include "fuzz.h"
#include "release/verify.h"
#include "report/changelog.h"

using namespace bindery;
using fuzz::require;

namespace {

using Files = std::map<std::string, std::string>;

// A file in memory, with a path.
class MemoryFile {
 public:
  explicit MemoryFile(std::string_view bytes) : handle_(memfd_create("release", MFD_CLOEXEC)) {
    require(handle_ >= 0 && write(handle_, bytes.data(), bytes.size()) == static_cast<ssize_t>(bytes.size()),
            "the system gives a file in memory");
  }
  ~MemoryFile() { close(handle_); }
  MemoryFile(const MemoryFile&) = delete;
  MemoryFile& operator=(const MemoryFile&) = delete;

  std::string path() const { return "/proc/self/fd/" + std::to_string(handle_); }

 private:
  int handle_;
};

// The files as an archive; empty where they make none.
std::string archive_of(const Files& files) {
  std::deque<PackedEntry> packed;
  std::vector<const PackedEntry*> entries;
  for (const auto& [path, bytes] : files) entries.push_back(&packed.emplace_back(pack(path, bytes)));
  return entries.empty() ? std::string() : write_archive(entries, 0);
}

std::optional<Published> read(const Files& files) {
  std::string bytes = archive_of(files);
  require(bytes.empty() || read_archive(bytes) == files, "what is packed is read again");
  MemoryFile file(bytes);
  Sources none;
  Diagnostics found;
  verify_release(file.path(), found);
  fuzz::require_sound(found, none);
  try {
    return read_published(file.path());
  } catch (const UsageError& refusal) {
    require(!refusal.help.empty(), "a refusal names the cure");
    fuzz::require_plain(refusal.what(), "a refusal hides nothing");
  }
  return std::nullopt;
}

void tell(const Published& from, const Published& to) {
  Chapter chapter;
  chapter.from = from.version;
  chapter.to = to.version;
  chapter.changes = compare_published(from, to, {.contents = true}, nullptr);
  chapter.commits.resize(chapter.changes.edits.size());
  fuzz::require_plain(chapter_markdown(chapter, true), "the Markdown hides nothing");
  std::string told = chapter_json(chapter);
  fuzz::require_plain(told, "the JSON hides nothing");
  auto json = nlohmann::json::parse(told, nullptr, false);
  require(!json.is_discarded(), "a changelog is JSON");
}

}  // namespace

extern "C" int LLVMFuzzerInitialize(int*, char***) {
  setenv("TZ", "UTC0", 1);  // as the program sets it
  return 0;
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  Files old, now;
  for (const auto& [name, bytes] : fuzz::parts_of(fuzz::text_of(data, size))) {
    bool is_old = name.starts_with("old/");
    std::string path = name.substr(is_old ? 4 : 0);
    if (is_safe_path(path) && is_utf8(path)) (is_old ? old : now)[path] = bytes;
  }
  auto from = read(old), to = read(now);
  Published nothing;
  if (to) tell(from ? *from : nothing, *to);
  if (from) tell(*from, to ? *to : nothing);
  return 0;
}
