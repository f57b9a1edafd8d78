#include "chronicle/store.h"

#include <algorithm>
#include <vector>

#include "base/binary.h"
#include "base/kept.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

constexpr std::size_t kept_files = 48;
constexpr std::uintmax_t largest_entry = 1u << 30;

}  // namespace

template <>
constexpr std::uint8_t highest_byte<Part> = static_cast<std::uint8_t>(Part::default_tier);
template <>
constexpr std::uint8_t highest_byte<Tier> = static_cast<std::uint8_t>(Tier::supporter);
template <>
constexpr std::uint8_t highest_byte<Status> = static_cast<std::uint8_t>(Status::retired);
template <>
constexpr std::uint8_t highest_byte<ScriptSlot> = static_cast<std::uint8_t>(ScriptSlot::end);

// One description of the form for both directions: `Way` either writes a thing or reads it.
template <typename Way>
void pass(Way& way, Edit& e) {
  way(e.part, e.fragment, e.old_fragment, e.setting, e.condition, e.before, e.after, e.file, e.old_file, e.traced,
      e.thermal, e.told);
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

std::string packed(const Changes& changes) {
  BinaryWriter writer;
  pass(writer, const_cast<Changes&>(changes));  // a writer only reads
  return std::move(writer.bytes);
}

std::optional<Changes> unpacked(std::string_view bytes) {
  Changes changes;
  BinaryReader reader(bytes);
  pass(reader, changes);
  if (!reader.whole()) return std::nullopt;
  return changes;
}

std::optional<Changes> ChangeStore::find(const std::string& name) const {
  auto bytes = read_kept(folder_ / name, largest_entry);
  return bytes ? unpacked(*bytes) : std::nullopt;
}

void ChangeStore::keep(const std::string& name, const Changes& changes) const {
  if (!write_kept(folder_ / name, packed(changes))) return;
  std::error_code failure;
  std::vector<std::pair<fs::file_time_type, fs::path>> files;
  for (const auto& entry : fs::directory_iterator(folder_, failure))
    files.emplace_back(entry.last_write_time(failure), entry.path());
  std::sort(files.begin(), files.end());
  for (std::size_t i = 0; i + kept_files < files.size(); ++i) fs::remove(files[i].second, failure);
}

}  // namespace bindery
