// Bytes that claim to be a ZIP archive, as `verify` and `--overlay` read them; what is read can be packed again.
#include <deque>
#include <stdexcept>

#include "archive/archive.h"
#include "fuzz.h"

using namespace bindery;
using fuzz::require;

namespace {

constexpr UnpackLimits limits{.entry = 8u << 20, .all = 8u << 20, .entries = 4000};

void unpack_all(std::string_view bytes) {
  std::uint64_t total = 0, entries = 0;
  try {
    unpack(bytes, limits, [&](UnpackedEntry&& entry) {
      total += entry.bytes.size();
      require(++entries <= limits.entries, "an archive gives no more entries than allowed");
      require(total <= limits.all, "an archive gives no more bytes than allowed");
      bool plain = !entry.folder && !entry.irregular && !entry.encrypted;
      require(plain || entry.bytes.empty(), "what is no plain file has no bytes");
    });
  } catch (const std::runtime_error& error) {
    require(*error.what() != '\0', "a refusal has a reason");
  }
}

void read_and_pack(std::string_view bytes) {
  std::map<std::string, std::string> files;
  try {
    files = read_archive(bytes);
  } catch (const std::runtime_error& error) {
    require(*error.what() != '\0', "a refusal has a reason");
    return;
  }
  std::deque<PackedEntry> packed;
  std::vector<const PackedEntry*> entries;
  for (const auto& [path, content] : files) {
    require(is_safe_path(path) && is_plain_name(path), "an archive gives safe paths alone");
    entries.push_back(&packed.emplace_back(pack(path, content)));
  }
  if (entries.empty()) return;
  require(read_archive(write_archive(entries, 0)) == files, "what is packed again is read the same");
}

}  // namespace

extern "C" int LLVMFuzzerInitialize(int*, char***) {
  setenv("TZ", "UTC0", 1);  // as the program sets it
  return 0;
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  std::string_view bytes = fuzz::text_of(data, size);
  unpack_all(bytes);
  read_and_pack(bytes);
  return 0;
}
