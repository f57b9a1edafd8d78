#include "chronicle/store.h"

#include <unistd.h>
#include <algorithm>
#include <cstring>
#include <fstream>
#include <vector>

#include <fmt/format.h>

#include "base/digest.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

constexpr std::size_t kept_files = 48;
constexpr std::uintmax_t largest_entry = 1u << 30;

// One description of the form for both directions: `Way` either writes a thing or reads it.
template <typename Way>
void pass(Way& way, Edit& e) {
  way(e.part, e.fragment, e.old_fragment, e.setting, e.condition, e.before, e.after, e.file, e.old_file, e.traced,
      e.thermal, e.told);
}
template <typename Way>
void pass(Way& way, std::pair<std::uint32_t, std::uint32_t>& p) {
  way(p.first, p.second);
}
template <typename Way>
void pass(Way& way, ScriptEffect& e) {
  way(e.profile, e.slot, e.before, e.after);
}
template <typename Way>
void pass(Way& way, Move& m) {
  way(m.profile, m.old_tier, m.tier, m.old_status, m.status);
}
template <typename Way>
void pass(Way& way, PlainValue& v) {
  way(v.json, v.number);
}
template <typename Way>
void pass(Way& way, SettingName& s) {
  way(s.key, s.title, s.unit, s.old_unit, s.thermal, s.points, s.gone);
}
template <typename Way>
void pass(Way& way, ProfileName& p) {
  way(p.id, p.parts, p.now, p.alias);
}
template <typename Way>
void pass(Way& way, Family& f) {
  way(f.title, f.members);
}
template <typename Way>
void pass(Way& way, Cast& c) {
  way(c.names, c.titles, c.nozzles, c.families);
}
template <typename Way>
void pass(Way& way, Change& c) {
  way(c.causes, c.effects);
}
template <typename Way>
void pass(Way& way, ScriptChange& c) {
  way(c.causes, c.effects);
}
template <typename Way>
void pass(Way& way, SetChange& c) {
  way(c.causes, c.added, c.removed, c.moved);
}
template <typename Way>
void pass(Way& way, Content& c) {
  way(c.profile, c.tier, c.status, c.values, c.scripts);
}
template <typename Way>
void pass(Way& way, Changes& c) {
  way(c.edits, c.profiles, c.settings, c.values, c.texts, c.cast, c.added, c.removed, c.renamed, c.moved, c.sets,
      c.contents, c.changes, c.caps, c.scripts, c.idle);
}

// Copied as it lies in memory: without gaps, whose bytes nobody sets.
template <typename T>
constexpr bool is_plain = std::is_trivially_copyable_v<T> &&
                          (std::has_unique_object_representations_v<T> || std::is_floating_point_v<T>);

template <typename T>
constexpr std::uint8_t highest = 1;  // of a bool
template <>
constexpr std::uint8_t highest<Part> = static_cast<std::uint8_t>(Part::default_tier);
template <>
constexpr std::uint8_t highest<Tier> = static_cast<std::uint8_t>(Tier::supporter);
template <>
constexpr std::uint8_t highest<Status> = static_cast<std::uint8_t>(Status::retired);
template <>
constexpr std::uint8_t highest<ScriptSlot> = static_cast<std::uint8_t>(ScriptSlot::end);

class Writer {
 public:
  template <typename... Parts>
  void operator()(Parts&... parts) {
    (one(parts), ...);
  }
  std::string bytes;

 private:
  template <typename T>
  void one(T& thing) {
    if constexpr (is_plain<T>) bytes.append(reinterpret_cast<const char*>(&thing), sizeof thing);
    else pass(*this, thing);
  }
  void one(std::string& text) {
    size(text.size());
    bytes += text;
  }
  void one(std::optional<double>& number) {
    bool there = number.has_value();
    double value = number.value_or(0);
    one(there);
    one(value);
  }
  template <typename T>
  void one(std::vector<T>& list) {
    size(list.size());
    if constexpr (is_plain<T>) bytes.append(reinterpret_cast<const char*>(list.data()), list.size() * sizeof(T));
    else
      for (T& each : list) one(each);
  }
  template <typename T, std::size_t N>
  void one(std::array<T, N>& list) {
    for (T& each : list) one(each);
  }
  void size(std::size_t value) {
    auto wide = static_cast<std::uint64_t>(value);
    bytes.append(reinterpret_cast<const char*>(&wide), sizeof wide);
  }
};

class Reader {
 public:
  explicit Reader(std::string_view bytes) : rest_(bytes) {}
  template <typename... Parts>
  void operator()(Parts&... parts) {
    (one(parts), ...);
  }
  bool whole() const { return sound_ && rest_.empty(); }

 private:
  template <typename T>
  void one(T& thing) {
    if constexpr (std::is_same_v<T, bool> || std::is_enum_v<T>) {
      // Bytes that are no value of the type are not put into one.
      std::uint8_t byte = 0;
      static_assert(sizeof(T) == 1);
      take(&byte, 1);
      if (byte > highest<T>) sound_ = false;
      if (sound_) thing = static_cast<T>(byte);
    } else if constexpr (is_plain<T>) {
      take(&thing, sizeof thing);
    } else {
      pass(*this, thing);
    }
  }
  void one(std::string& text) {
    std::size_t length = size(1);
    text.assign(rest_.substr(0, length));
    rest_.remove_prefix(length);
  }
  void one(std::optional<double>& number) {
    bool there = false;
    double value = 0;
    one(there);
    one(value);
    if (there) number = value;
  }
  template <typename T>
  void one(std::vector<T>& list) {
    if constexpr (is_plain<T>) {
      list.resize(size(sizeof(T)));
      take(list.data(), list.size() * sizeof(T));
    } else {
      list.resize(size(1));
      for (T& each : list) one(each);
    }
  }
  template <typename T, std::size_t N>
  void one(std::array<T, N>& list) {
    for (T& each : list) one(each);
  }
  void take(void* target, std::size_t length) {
    if (length > rest_.size()) sound_ = false;
    if (!sound_ || length == 0) return;
    std::memcpy(target, rest_.data(), length);
    rest_.remove_prefix(length);
  }
  // A number of things of which each takes that many bytes at least, so that nonsense asks for no memory.
  std::size_t size(std::size_t least) {
    std::uint64_t wide = 0;
    take(&wide, sizeof wide);
    if (wide > rest_.size() / least) sound_ = false;
    return sound_ ? static_cast<std::size_t>(wide) : 0;
  }

  std::string_view rest_;
  bool sound_ = true;
};

}  // namespace

std::string packed(const Changes& changes) {
  Writer writer;
  pass(writer, const_cast<Changes&>(changes));  // a writer only reads
  return std::move(writer.bytes);
}

std::optional<Changes> unpacked(std::string_view bytes) {
  Changes changes;
  Reader reader(bytes);
  pass(reader, changes);
  if (!reader.whole()) return std::nullopt;
  return changes;
}

std::optional<Changes> ChangeStore::find(const std::string& name) const {
  std::error_code failure;
  fs::path path = folder_ / name;
  bool plain = fs::symlink_status(path, failure).type() == fs::file_type::regular;
  if (!plain || fs::file_size(path, failure) > largest_entry) return std::nullopt;
  std::ifstream in(path, std::ios::binary);
  if (!in) return std::nullopt;
  std::string bytes{std::istreambuf_iterator<char>(in), {}};
  constexpr std::size_t head = 64;
  if (bytes.size() < head) return std::nullopt;
  std::string_view body = std::string_view(bytes).substr(head);
  if (sha256(body) != std::string_view(bytes).substr(0, head)) return std::nullopt;
  return unpacked(body);
}

void ChangeStore::keep(const std::string& name, const Changes& changes) const {
  std::error_code failure;
  fs::create_directories(folder_, failure);
  if (failure) return;
  fs::path top = folder_.parent_path();
  if (!fs::exists(top / ".gitignore", failure)) std::ofstream(top / ".gitignore") << "*\n";
  std::string body = packed(changes);
  fs::path beside = folder_ / fmt::format(".{}-{}", name, getpid());
  {
    std::ofstream out(beside, std::ios::binary);
    out << sha256(body) << body;
    if (!out.flush()) {
      out.close();
      fs::remove(beside, failure);
      return;
    }
  }
  fs::rename(beside, folder_ / name, failure);
  std::vector<std::pair<fs::file_time_type, fs::path>> files;
  for (const auto& entry : fs::directory_iterator(folder_, failure))
    files.emplace_back(entry.last_write_time(failure), entry.path());
  std::sort(files.begin(), files.end());
  for (std::size_t i = 0; i + kept_files < files.size(); ++i) fs::remove(files[i].second, failure);
}

}  // namespace bindery
