// Profiles to files, files to archives.
#include <algorithm>
#include <functional>
#include <numeric>
#include <optional>

#include <fmt/format.h>

#include "base/archive.h"
#include "base/date.h"
#include "base/digest.h"
#include "base/json.h"
#include "base/number.h"
#include "base/parallel.h"
#include "release/for_programs.h"
#include "release/profile_file.h"
#include "release/release.h"
#include "release/texts.h"
#include "release/version.h"
#include "report/lists.h"
#include "resolve/profile.h"

namespace bindery {

namespace {

// Writes the files of the dialects, for which the profiles are resolved once more.
void press_profiles(const Tree& tree, const Selection& selection, const std::vector<PackedProfile>& packed,
                    ProgramFiles& programs, unsigned jobs) {
  constexpr std::size_t block = 32;
  parallel_for((packed.size() + block - 1) / block, jobs, [&](std::size_t b) {
    Resolver resolver(tree);
    RowMemory memory;
    Diagnostics silent;  // the tree was checked before
    for (std::size_t i = b * block; i < std::min((b + 1) * block, packed.size()); ++i) {
      Resolver::Axes axes;
      Profile profile = resolver.resolve(selection.profiles[i].triple, silent, &axes);
      programs.press(i, profile, axes, packed[i].entry.digest, memory);
    }
  });
}

// A profile of a tier, with its own file and those of the dialects.
struct Listed {
  const PackedProfile* profile = nullptr;
  std::vector<ProgramFiles::Made> made;
};

void write_row(const Listed& listed, JsonWriter& json) {
  const PackedProfile& profile = *listed.profile;
  json.open_object().field("id", profile_of_path(profile.entry.path)).field("title", profile.title);
  json.field("path", profile.entry.path)
      .field("tier", name_of(profile.tier))
      .field("status", name_of(profile.status))
      .field("sha256", profile.entry.digest);
  json.key("evidence").open_list().close();
  if (!listed.made.empty()) {
    json.key("for").open_object();
    for (const auto& [dialect, paths] : listed.made) {
      json.key(dialect->name).open_list();
      for (const std::string& path : paths) json.text(path);
      json.close();
    }
    json.close();
  }
  json.close();
}

std::string contents_json(const Tree& tree, Tier tier, const Edition& edition, const std::vector<Listed>& profiles) {
  JsonWriter json;
  json.open_object().field("name", tree.plan.name).field("version", edition.version).field("tier", name_of(tier));
  json.field("publisher", tree.plan.publisher.name).field("licence", tree.plan.publisher.licence);
  json.key("profiles").open_list();
  if (!profiles.empty()) {
    JsonWriter sample;
    write_row(profiles[profiles.size() / 2], sample);
    json.reserve(profiles.size() * (sample.size() + sample.size() / 4));
  }
  for (const Listed& each : profiles) write_row(each, json);
  json.close().close();
  return json.finish();
}

std::string release_json(const Tree& tree, Tier tier, const Edition& edition, std::size_t profiles,
                         const std::vector<ReleaseFile>& files, const std::string& contents) {
  JsonWriter json;
  json.open_object()
      .field("name", tree.plan.name)
      .field("version", edition.version)
      .field("channel", edition.channel)
      .field("tier", name_of(tier));
  json.field("publisher", tree.plan.publisher.name).field("licence", tree.plan.publisher.licence);
  json.field("date", utc_date(edition.time))
      .field_or_null("commit", edition.commit)
      .key("changed")
      .flag(edition.changed);
  json.key("profiles").whole(static_cast<long long>(profiles));
  json.key("files").open_list();
  for (const ReleaseFile& file : files) {
    json.open_object()
        .field("name", file.name)
        .key("bytes")
        .whole(static_cast<long long>(file.size))
        .field("sha256", file.digest)
        .close();
  }
  json.close().key("contents").open_object().field("name", "contents.json").field("sha256", contents).close();
  json.key("tool").open_object().field("name", "bindery").field("version", tool_version()).close();
  json.key("libraries").open_object();
  for (const auto& [name, version] : library_versions()) json.field(name, version);
  json.close().close();
  return json.finish();
}

// Paths, sorted, and their digests as `sha256sum` writes them.
std::string sums_text(const std::vector<std::pair<std::string_view, std::string_view>>& digests) {
  std::string out;
  out.reserve(std::accumulate(digests.begin(), digests.end(), std::size_t{0}, [](std::size_t sum, const auto& each) {
    return sum + each.first.size() + each.second.size() + 3;
  }));
  for (const auto& [path, digest] : digests) out.append(digest).append("  ").append(path).append(1, '\n');
  return out;
}

ReleaseFile release_file(std::string name, std::string bytes) {
  ReleaseFile file{std::move(name), std::move(bytes), {}, 0};
  file.digest = sha256(file.bytes);
  file.size = file.bytes.size();
  return file;
}

// Entries of an archive, with the number of the profile whose file each is.
using Entries = std::vector<std::pair<const PackedEntry*, std::size_t>>;
constexpr std::size_t no_profile = static_cast<std::size_t>(-1);

// Profiles come in the order of their names, which is nearly that of their paths.
void sort_by_path(Entries& entries) {
  auto by_path = [](const auto& a, const auto& b) { return a.first->path < b.first->path; };
  auto others =
      std::stable_partition(entries.begin(), entries.end(), [](const auto& each) { return each.second != no_profile; });
  if (!std::is_sorted(entries.begin(), others, by_path)) std::sort(entries.begin(), others, by_path);
  std::sort(others, entries.end(), by_path);
  std::inplace_merge(entries.begin(), others, entries.end(), by_path);
}

// Does two things at once, where there are two cores.
template <typename First, typename Second>
void both(unsigned jobs, const First& first, const Second& second) {
  parallel_for(2, jobs, [&](std::size_t i) { i == 0 ? first() : second(); });
}

// What a tier's archive is made of besides its own texts.
struct TierParts {
  Tier tier = Tier::free;
  const std::string* changelog = nullptr;
  std::vector<Listed> profiles;
  Entries entries;  // settings, profiles, files of the dialects
  std::size_t capped = 0;
};

// Writes the archive, and notes in `tier` what there is to know of its bytes.
ReleaseFile finish_archive(ArchiveWriter& archive, std::string name, const Entries& entries,
                           std::size_t packed_profiles, const TakeArchive& take, TierRelease& tier) {
  ReleaseFile file;
  file.name = std::move(name);
  Sha256 digest;
  auto look = [&](std::string_view bytes) {
    digest.add(bytes);
    tier.checksum = checksum(bytes, tier.checksum);
    file.size += bytes.size();
  };
  auto keep = [&](std::string_view bytes) {
    if (take) take(tier.tier, file.name, bytes);
    else file.bytes += bytes;
  };
  std::vector<std::uint64_t> places = archive.finish({look, keep});
  file.digest = digest.finish();
  if (places.empty()) return file;
  tier.places.assign(packed_profiles, 0);
  for (std::size_t i = 0; i < places.size(); ++i) {
    if (std::size_t profile = entries[i].second; profile != no_profile) tier.places[profile] = places[i];
  }
  return file;
}

TierRelease bind_tier(const Tree& tree, const std::vector<Dialect>& dialects, TierParts parts,
                      std::size_t packed_profiles, const Edition& edition, unsigned jobs, const TakeArchive& take) {
  TierRelease out;
  out.tier = parts.tier;
  out.profiles = parts.profiles.size();
  out.capped = parts.capped;
  std::array<std::string, 4> own = {
      *parts.changelog, licence_text(tree), read_me_first(tree, dialects, parts.tier, edition, out.profiles), {}};
  const std::array<const char*, own.size() + 1> names = {"CHANGELOG.md", "LICENSE.txt", "READ-ME-FIRST.txt",
                                                         "contents.json", "SHA256SUMS"};
  std::array<PackedEntry, names.size()> packed, entries;
  for (std::size_t i = 0; i < names.size(); ++i) {
    entries[i].path = names[i];
    parts.entries.emplace_back(&entries[i], no_profile);
  }
  std::optional<ArchiveWriter> archive;
  both(
      jobs, [&] { own.back() = contents_json(tree, parts.tier, edition, parts.profiles); },
      [&] {
        sort_by_path(parts.entries);
        std::vector<const PackedEntry*> sorted;
        for (const auto& [entry, profile] : parts.entries) sorted.push_back(entry);
        archive.emplace(std::move(sorted), edition.time);
      });
  both(
      jobs,
      [&] {
        for (std::size_t i = own.size(); i-- > 0;) packed[i] = compress(names[i], own[i]);
      },
      [&] {
        std::array<std::string, own.size()> of_own;
        std::transform(own.begin(), own.end(), of_own.begin(), [](const std::string& text) { return sha256(text); });
        std::vector<std::pair<std::string_view, std::string_view>> digests;
        for (const auto& [entry, profile] : parts.entries) {
          auto which = static_cast<std::size_t>(std::find(names.begin(), names.end(), entry->path) - names.begin());
          if (which < own.size()) digests.emplace_back(entry->path, of_own[which]);
          else if (which == names.size()) digests.emplace_back(entry->path, entry->digest);
        }
        packed.back() = compress(names.back(), sums_text(digests));
        out.contents = of_own.back();
      });
  entries = std::move(packed);
  out.files.push_back(finish_archive(*archive,
                                     fmt::format("{}-{}-{}.zip", tree.plan.name, edition.version, name_of(parts.tier)),
                                     parts.entries, packed_profiles, take, out));
  out.files.push_back(release_file("CHANGELOG.md", *parts.changelog));
  out.files.push_back(
      release_file("release.json", release_json(tree, parts.tier, edition, out.profiles, out.files, out.contents)));
  std::vector<std::pair<std::string_view, std::string_view>> digests;
  for (const ReleaseFile& file : out.files) digests.emplace_back(file.name, file.digest);
  std::sort(digests.begin(), digests.end());
  out.files.push_back(release_file("SHA256SUMS", sums_text(digests)));
  return out;
}

}  // namespace

std::string profile_path(std::string_view profile) {
  std::string path = "profiles/";
  path.reserve(path.size() + profile.size() + 5);
  return path.append(profile).append(".json");
}

std::string_view profile_of_path(std::string_view path) {
  path.remove_prefix(std::string_view("profiles/").size());
  path.remove_suffix(std::string_view(".json").size());
  return path;
}

ProfilePacker::ProfilePacker(const Tree& tree) : tree_(tree) {}
ProfilePacker::~ProfilePacker() = default;

PackedProfile ProfilePacker::pack(const Selected& selected, const Profile& profile) {
  std::unique_ptr<ProfileWriter> writer;
  {
    std::lock_guard lock(guard_);
    if (!idle_.empty()) {
      writer = std::move(idle_.back());
      idle_.pop_back();
    }
  }
  if (!writer) writer = std::make_unique<ProfileWriter>(tree_);
  PackedProfile out;
  out.entry = bindery::pack(profile_path(profile_id(tree_, selected.triple)), writer->write(selected, profile));
  out.title = profile_title(tree_, selected.triple);
  out.tier = selected.tier;
  out.status = selected.status;
  out.capped = profile.caps.size();
  std::lock_guard lock(guard_);
  idle_.push_back(std::move(writer));
  return out;
}

Release bind_release(const Tree& tree, const std::vector<Dialect>& dialects, const Selection& selection,
                     const std::vector<PackedProfile>& packed, const Edition& edition,
                     const std::array<std::string, 2>& changelogs, unsigned jobs, const TakeArchive& take) {
  ProgramFiles programs(tree, dialects, selection, edition);
  if (!dialects.empty()) press_profiles(tree, selection, packed, programs, jobs);
  PackedEntry settings = pack("settings.json", settings_json(tree.dictionary));
  std::vector<TierParts> tiers;
  for (Tier tier : {Tier::free, Tier::supporter}) {
    TierParts parts;
    parts.tier = tier;
    parts.changelog = &changelogs[static_cast<std::size_t>(tier)];
    for (const PackedEntry* entry : programs.entries(tier)) parts.entries.emplace_back(entry, no_profile);
    parts.entries.emplace_back(&settings, no_profile);
    bool own = tier == Tier::supporter;  // the larger one has what the free one has
    for (std::size_t i = 0; i < packed.size(); ++i) {
      if (packed[i].tier > tier) continue;
      own |= packed[i].tier == tier;
      Listed& listed = parts.profiles.emplace_back(Listed{&packed[i], programs.made(i)});
      std::erase_if(listed.made, [&](const ProgramFiles::Made& made) { return made.dialect->tier > tier; });
      parts.entries.emplace_back(&packed[i].entry, i);
      parts.capped += packed[i].capped;
    }
    if (own && !packed.empty()) tiers.push_back(std::move(parts));
  }
  Release release;
  release.tiers.resize(tiers.size());
  parallel_for(tiers.size(), jobs, [&](std::size_t i) {
    release.tiers[i] = bind_tier(tree, dialects, std::move(tiers[i]), packed.size(), edition, jobs, take);
  });
  return release;
}

}  // namespace bindery
