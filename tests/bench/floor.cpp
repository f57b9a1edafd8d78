// The least that a publisher of profiles must do, by the same libraries, and nothing else.
//
// `bindery_floor FOLDER [ARCHIVE...]` reads and parses the YAML files of a tree, compresses what stands in release
// archives of it, and writes these archives again. It knows nothing of the language and shares no code with the
// program. Each stage is a line of JSON: its name, wall and CPU time in seconds, and what it went through. Unpacking
// the archives is not timed. The last line is the peak memory of the process, which holds all entries at once.
#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <filesystem>
#include <functional>
#include <istream>
#include <memory>
#include <stdexcept>
#include <streambuf>
#include <string>
#include <string_view>
#include <thread>
#include <unordered_map>
#include <vector>

#include <fcntl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include <libdeflate.h>
#include <yaml-cpp/eventhandler.h>
#include <yaml-cpp/parser.h>
#include <zip.h>

namespace fs = std::filesystem;

namespace {

constexpr int level = 6;

// --- Threads and clocks ---

// Calls work(index) for each index below `count` on all cores; who is free takes the next. A failure ends the program.
void on_all_cores(std::size_t count, const std::function<void(std::size_t)>& work) {
  std::atomic<std::size_t> next{0};
  auto run = [&] {
    for (std::size_t i = next++; i < count; i = next++) work(i);
  };
  std::vector<std::jthread> pool;
  for (unsigned i = 1; i < std::thread::hardware_concurrency(); ++i) pool.emplace_back(run);
  run();
}

double cpu_seconds() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

// What a stage went through.
struct Amount {
  std::size_t files = 0;
  std::uint64_t bytes = 0;
};

template <typename Stage>
void timed(const char* name, Stage&& stage) {
  auto start = std::chrono::steady_clock::now();
  double cpu = cpu_seconds();
  Amount amount = stage();
  cpu = cpu_seconds() - cpu;
  std::chrono::duration<double> wall = std::chrono::steady_clock::now() - start;
  std::printf("{\"stage\": \"%s\", \"wall\": %.6f, \"cpu\": %.6f, \"files\": %zu, \"bytes\": %llu}\n", name,
              wall.count(), cpu, amount.files, static_cast<unsigned long long>(amount.bytes));
}

// --- Parsing ---

// Reads from a string without copying it.
struct ViewBuffer : std::streambuf {
  explicit ViewBuffer(std::string& text) { setg(text.data(), text.data(), text.data() + text.size()); }
};

struct Ignoring : YAML::EventHandler {
  using Mark = YAML::Mark;
  using Anchor = YAML::anchor_t;
  void OnDocumentStart(const Mark&) override {}
  void OnDocumentEnd() override {}
  void OnNull(const Mark&, Anchor) override {}
  void OnAlias(const Mark&, Anchor) override {}
  void OnScalar(const Mark&, const std::string&, Anchor, const std::string&) override {}
  void OnSequenceStart(const Mark&, const std::string&, Anchor, YAML::EmitterStyle::value) override {}
  void OnSequenceEnd() override {}
  void OnMapStart(const Mark&, const std::string&, Anchor, YAML::EmitterStyle::value) override {}
  void OnMapEnd() override {}
};

std::string read_file(const fs::path& path) {
  int file = open(path.c_str(), O_RDONLY | O_CLOEXEC);
  struct stat status {};
  if (file < 0 || fstat(file, &status) != 0) throw std::runtime_error("cannot open " + path.string());
  std::string text(static_cast<std::size_t>(status.st_size), '\0');
  ssize_t got = read(file, text.data(), text.size());
  close(file);
  if (got != status.st_size) throw std::runtime_error("cannot read " + path.string());
  return text;
}

std::vector<fs::path> find_documents(const fs::path& root) {
  std::vector<fs::path> found;
  for (const char* folder : {"profiles-src", "schema", "release"}) {
    for (const auto& entry : fs::recursive_directory_iterator(root / folder)) {
      if (entry.path().extension() == ".yaml" && entry.is_regular_file()) found.push_back(entry.path());
    }
  }
  return found;
}

Amount parse(const fs::path& root) {
  std::vector<fs::path> paths = find_documents(root);
  std::atomic<std::uint64_t> bytes{0};
  on_all_cores(paths.size(), [&](std::size_t i) {
    std::string text = read_file(paths[i]);
    ViewBuffer buffer(text);
    std::istream stream(&buffer);
    YAML::Parser parser(stream);
    Ignoring handler;
    parser.HandleNextDocument(handler);
    bytes += text.size();
  });
  return {paths.size(), bytes};
}

// --- Archives ---

// The distinct contents of all archives, and which of them each archive has under which path.
struct Contents {
  std::vector<std::string> bytes;
  struct Archive {
    std::string name;
    std::vector<std::pair<std::string, std::size_t>> entries;
  };
  std::vector<Archive> archives;
};

void unpack(const fs::path& path, Contents& out, std::unordered_map<std::string, std::size_t>& known) {
  std::unique_ptr<zip_t, decltype(&zip_discard)> archive(zip_open(path.c_str(), ZIP_RDONLY, nullptr), &zip_discard);
  if (!archive) throw std::runtime_error("cannot open " + path.string());
  Contents::Archive& to = out.archives.emplace_back();
  to.name = path.filename().string();
  auto count = static_cast<zip_uint64_t>(zip_get_num_entries(archive.get(), 0));
  for (zip_uint64_t i = 0; i < count; ++i) {
    zip_stat_t stat;
    std::unique_ptr<zip_file_t, decltype(&zip_fclose)> file(zip_fopen_index(archive.get(), i, 0), &zip_fclose);
    if (!file || zip_stat_index(archive.get(), i, 0, &stat) != 0)
      throw std::runtime_error("cannot read " + path.string());
    std::string bytes(stat.size, '\0');
    if (zip_fread(file.get(), bytes.data(), bytes.size()) != static_cast<zip_int64_t>(bytes.size()))
      throw std::runtime_error("cannot unpack " + path.string());
    to.entries.emplace_back(stat.name, known.emplace(std::move(bytes), known.size()).first->second);
  }
}

Contents unpack_all(const std::vector<fs::path>& paths) {
  Contents out;
  std::unordered_map<std::string, std::size_t> known;
  for (const fs::path& path : paths) unpack(path, out, known);
  out.bytes.resize(known.size());
  while (!known.empty()) {
    auto node = known.extract(known.begin());
    out.bytes[node.mapped()] = std::move(node.key());
  }
  return out;
}

struct Packed {
  std::string data;
  std::uint64_t size = 0;
  std::uint32_t crc = 0;
};

class Compressor {
 public:
  Packed pack(const std::string& bytes) {
    room_.resize(std::max(room_.size(), libdeflate_deflate_compress_bound(handle_.get(), bytes.size())));
    std::size_t size =
        libdeflate_deflate_compress(handle_.get(), bytes.data(), bytes.size(), room_.data(), room_.size());
    return {room_.substr(0, size), bytes.size(),
            static_cast<std::uint32_t>(libdeflate_crc32(0, bytes.data(), bytes.size()))};
  }

 private:
  std::unique_ptr<libdeflate_compressor, decltype(&libdeflate_free_compressor)> handle_{
      libdeflate_alloc_compressor(level), &libdeflate_free_compressor};
  std::string room_;
};

Amount compress(const Contents& contents, std::vector<Packed>& out) {
  out.resize(contents.bytes.size());
  std::atomic<std::uint64_t> bytes{0};
  on_all_cores(out.size(), [&](std::size_t i) {
    thread_local Compressor compressor;
    out[i] = compressor.pack(contents.bytes[i]);
    bytes += contents.bytes[i].size();
  });
  return {out.size(), bytes};
}

// libzip's source of one entry: its data as they are, and a STAT that says they are compressed already.
struct Feed {
  const Packed* entry;
  std::size_t at = 0;
};

zip_int64_t feed(void* state, void* data, zip_uint64_t length, zip_source_cmd_t command) {
  Feed& own = *static_cast<Feed*>(state);
  const std::string& bytes = own.entry->data;
  switch (command) {
    case ZIP_SOURCE_SUPPORTS: return ZIP_SOURCE_SUPPORTS_READABLE;
    case ZIP_SOURCE_OPEN: own.at = 0; return 0;
    case ZIP_SOURCE_READ: {
      std::size_t part = std::min<std::size_t>(length, bytes.size() - own.at);
      std::memcpy(data, bytes.data() + own.at, part);
      own.at += part;
      return static_cast<zip_int64_t>(part);
    }
    case ZIP_SOURCE_STAT: {
      auto* stat = static_cast<zip_stat_t*>(data);
      zip_stat_init(stat);
      stat->size = own.entry->size;
      stat->comp_size = bytes.size();
      stat->comp_method = ZIP_CM_DEFLATE;
      stat->crc = own.entry->crc;
      stat->valid = ZIP_STAT_SIZE | ZIP_STAT_COMP_SIZE | ZIP_STAT_COMP_METHOD | ZIP_STAT_CRC;
      return sizeof(zip_stat_t);
    }
    case ZIP_SOURCE_ERROR: std::memset(data, 0, 2 * sizeof(int)); return 2 * sizeof(int);
    default: return 0;
  }
}

void write_archive(const Contents::Archive& from, const std::vector<Packed>& packed, const fs::path& path) {
  constexpr zip_uint16_t first_day = 1 << 5 | 1;  // 1980-01-01, as MS-DOS counts
  zip_t* archive = zip_open(path.c_str(), ZIP_CREATE | ZIP_TRUNCATE, nullptr);
  if (archive == nullptr) throw std::runtime_error("cannot write " + path.string());
  std::vector<Feed> feeds(from.entries.size());
  for (std::size_t i = 0; i < feeds.size(); ++i) {
    feeds[i].entry = &packed[from.entries[i].second];
    zip_source_t* source = zip_source_function(archive, feed, &feeds[i]);
    zip_int64_t index = zip_file_add(archive, from.entries[i].first.c_str(), source, ZIP_FL_ENC_UTF_8);
    if (index < 0) throw std::runtime_error(zip_strerror(archive));
    auto at = static_cast<zip_uint64_t>(index);
    zip_set_file_compression(archive, at, ZIP_CM_DEFLATE, 0);
    zip_file_set_dostime(archive, at, 0, first_day, 0);
    zip_file_set_external_attributes(archive, at, 0, ZIP_OPSYS_UNIX, 0100644u << 16);
  }
  if (zip_close(archive) != 0) throw std::runtime_error(zip_strerror(archive));
}

// A new folder that is gone when this is.
struct TemporaryFolder {
  fs::path path;
  TemporaryFolder() {
    std::string name = (fs::temp_directory_path() / "floor-XXXXXX").string();
    if (mkdtemp(name.data()) == nullptr) throw std::runtime_error("cannot make " + name);
    path = name;
  }
  ~TemporaryFolder() {
    std::error_code ignored;
    fs::remove_all(path, ignored);
  }
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
};

Amount write(const Contents& contents, const std::vector<Packed>& packed, const fs::path& folder) {
  Amount amount;
  for (const Contents::Archive& archive : contents.archives) {
    fs::path path = folder / archive.name;
    write_archive(archive, packed, path);
    ++amount.files;
    amount.bytes += fs::file_size(path);
  }
  return amount;
}

void run(const fs::path& root, const std::vector<fs::path>& archives) {
  Contents contents = unpack_all(archives);
  timed("parse", [&] { return parse(root); });
  if (!archives.empty()) {
    std::vector<Packed> packed;
    TemporaryFolder folder;
    timed("compress", [&] { return compress(contents, packed); });
    timed("write", [&] { return write(contents, packed, folder.path); });
  }
  rusage used{};
  getrusage(RUSAGE_SELF, &used);
  std::printf("{\"peak\": %ld}\n", used.ru_maxrss * 1024);
}

}  // namespace

int main(int count, char** arguments) {
  setenv("TZ", "UTC0", 1);  // libzip converts the entries' times by the zone of the process
  if (count < 2) {
    std::fputs("usage: bindery_floor FOLDER [ARCHIVE...]\n", stderr);
    return 2;
  }
  try {
    run(arguments[1], {arguments + 2, arguments + count});
  } catch (const std::exception& error) {
    std::fprintf(stderr, "error: %s\n", error.what());
    return 3;
  }
}
