#include "recall/snapshot.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/binary.h"
#include "base/digest.h"
#include "base/kept.h"
#include "base/parallel.h"

namespace bindery {

namespace fs = std::filesystem;

template <>
constexpr std::uint8_t highest_byte<Kind> = static_cast<std::uint8_t>(Kind::process);
template <>
constexpr std::uint8_t highest_byte<Severity> = static_cast<std::uint8_t>(Severity::note);

template <typename Way>
void pass(Way& way, Snapshot::File& f) {
  way(f.path, f.stamp, f.bytes, f.shape);
}
template <typename Way>
void pass(Way& way, Snapshot::Part& p) {
  way(p.kind, p.name, p.title, p.file);
}
template <typename Way>
void pass(Way& way, Related& r) {
  way(r.span, r.message);
}
template <typename Way>
void pass(Way& way, Diagnostic& d) {
  auto code = static_cast<std::uint16_t>(d.code);
  std::uint64_t profiles = d.profiles;
  way(code, d.severity, d.span, d.message, d.help, d.related, d.fragment, d.setting, d.rule, d.profile, profiles,
      d.supporters);
  d.code = static_cast<Code>(code);
  d.profiles = static_cast<std::size_t>(profiles);
}
template <typename Way>
void pass(Way& way, Snapshot::Standing& s) {
  way(s.report, s.triples);
}
template <typename Way>
void pass(Way& way, Snapshot& s) {
  way(s.begun, s.files, s.folders, s.parts, s.linear, s.linear_ends, s.published, s.drafts, s.refused, s.standing);
}

namespace {

constexpr std::uintmax_t largest_snapshot = 1u << 30;
constexpr std::size_t most_meetings = 200'000;

fs::path path_below(const fs::path& root) { return root / ".bindery" / "checked" / "tree"; }

std::string joined(const std::string& first, std::string_view between, const std::string& second,
                   const std::string& third) {
  std::string out;
  out.reserve(first.size() + second.size() + third.size() + 2 * between.size());
  return out.append(first).append(between).append(second).append(between).append(third);
}

void add(std::string& out, std::string_view text) {
  out += std::to_string(text.size());
  out += ':';
  out += text;
}

void add(std::string& out, const std::vector<Text>& texts) {
  out += '[';
  for (const Text& each : texts) add(out, each.text);
  out += ']';
}

void add(std::string& out, const std::optional<Condition>& condition) {
  if (!condition) return;
  out += '?';
  for (const auto& names : condition->names) add(out, names);
  if (condition->where) add(out, condition->where->text);
}

}  // namespace

std::string shape_of(const FragmentFile& file) {
  std::string out;
  for (const Fragment& each : file.fragments) {
    add(out, each.name);
    out +=
        fmt::format("{} {} {} {} {} ", static_cast<int>(each.kind), each.has_fittings,
                    each.abstract ? static_cast<int>(*each.abstract) : -1,
                    each.tier ? static_cast<int>(*each.tier) : -1, each.status ? static_cast<int>(*each.status) : -1);
    for (const auto* texts : {&each.replaces, &each.extends, &each.locked}) add(out, *texts);
    add(out, each.fits);
    for (const RawLayer& layer : each.layers) {
      out += ';';
      add(out, layer.condition);
    }
  }
  return out;
}

Snapshot::Digest digest_of_bytes(std::string_view bytes) {
  Snapshot::Digest out{};
  std::string name = blob_name(bytes);
  std::copy(name.begin(), name.end(), out.begin());
  return out;
}

Meetings::Key Meetings::key_of(const Diagnostic& d) {
  return {d.span, d.code, d.severity, d.rule, d.setting, d.supporters};
}

void Meetings::note(std::size_t triple, const Diagnostics& reports) {
  std::lock_guard lock(guard_);
  for (const Diagnostic& each : reports.items()) {
    // What was left out, or stands for others, cannot be counted again.
    if (++count_ > most_meetings || each.profiles != 1 || each.code == Code::reports_left_out) whole_ = false;
    if (whole_) triples_[key_of(each)].push_back(static_cast<std::uint32_t>(triple));
  }
}

std::optional<std::vector<Snapshot::Standing>> Meetings::standing(const Diagnostics& settled) {
  if (!whole_ || settled.any_errors()) return std::nullopt;
  std::vector<Snapshot::Standing> out;
  for (const Diagnostic& each : settled.items()) {
    if (each.code == Code::reports_left_out) return std::nullopt;
    Snapshot::Standing& standing = out.emplace_back(Snapshot::Standing{each, {}});
    if (each.profiles == 0) continue;
    auto met = triples_.find(key_of(each));
    if (met == triples_.end()) return std::nullopt;
    standing.triples = met->second;
    std::sort(standing.triples.begin(), standing.triples.end());
    standing.triples.erase(std::unique(standing.triples.begin(), standing.triples.end()), standing.triples.end());
    if (standing.triples.size() != each.profiles) return std::nullopt;
  }
  return out;
}

std::string Snapshot::id_of(const Members& members) const {
  return joined(parts[members[0]].name, "/", parts[members[1]].name, parts[members[2]].name);
}

std::string Snapshot::title_of(const Members& members) const {
  return joined(parts[members[0]].title, " / ", parts[members[1]].title, parts[members[2]].title);
}

Snapshot take_snapshot(const Tree& tree, const Selection& selection, std::int64_t begun, unsigned jobs) {
  Snapshot out;
  out.begun = begun;
  out.folders = tree.sources->folders;
  const auto& files = tree.sources->files;
  out.files.resize(files.size());
  parallel_for(files.size(), jobs, [&](std::size_t i) {
    Snapshot::File& file = out.files[i];
    file.path = files[i].path;
    file.stamp = files[i].stamp;
    file.bytes = digest_of_bytes(files[i].text);
    auto parsed = tree.files.find(static_cast<FileId>(i));
    if (parsed != tree.files.end()) file.shape = digest_of_bytes(shape_of(*parsed->second));
  });
  for (const BoundFragment& fragment : tree.fragments) {
    out.parts.push_back(
        {fragment.kind(), std::string(fragment.name()), std::string(fragment.title), fragment.raw->file});
    out.linear.insert(out.linear.end(), fragment.linear.begin(), fragment.linear.end());
    out.linear_ends.push_back(static_cast<std::uint32_t>(out.linear.size()));
  }
  for (const Selected& each : selection.profiles) out.published.push_back(each.triple.of);
  for (const Triple& each : selection.drafts) out.drafts.push_back(each.of);
  for (const Triple& each : selection.refused) out.refused.push_back(each.of);
  return out;
}

std::optional<Snapshot> read_snapshot(const fs::path& root) {
  auto bytes = read_kept(path_below(root), largest_snapshot);
  if (!bytes) return std::nullopt;
  Snapshot out;
  BinaryReader reader(*bytes);
  pass(reader, out);
  if (!reader.whole()) return std::nullopt;
  return out;
}

void write_snapshot(const fs::path& root, const Snapshot& snapshot) {
  BinaryWriter writer;
  writer.bytes.reserve(256 * snapshot.files.size());  // about what there is for each file of a tree
  pass(writer, const_cast<Snapshot&>(snapshot));      // a writer only reads
  write_kept(path_below(root), writer.bytes);
}

}  // namespace bindery
