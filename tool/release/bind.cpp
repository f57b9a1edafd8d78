// Profiles to files, files to archives.
#include <algorithm>
#include <functional>
#include <optional>

#include <fmt/format.h>

#include "archive/archive.h"
#include "base/digest.h"
#include "base/followers.h"
#include "base/parallel.h"
#include "release/manifests.h"
#include "release/profile_file.h"
#include "release/release.h"
#include "release/texts.h"
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

// A text that a tier's archive has of its own.
struct OwnText {
  PackedEntry entry;  // of which there is but the path, until it is `packed`
  PackedEntry packed;
  std::vector<Section> sections;

  explicit OwnText(std::string path) { entry.path = std::move(path); }
};

struct OwnTexts {
  OwnText changelog{"CHANGELOG.md"}, licence{"LICENSE.txt"}, read_me{"READ-ME-FIRST.txt"}, contents{"contents.json"},
      sums{"SHA256SUMS"};

  std::array<OwnText*, 5> all() { return {&changelog, &licence, &read_me, &contents, &sums}; }
  OwnText* find(const PackedEntry* entry) {
    for (OwnText* each : all()) {
      if (&each->entry == entry) return each;
    }
    return nullptr;
  }
};

// Packs a text, and digests it where that is wanted, while it is written.
void pack_written(OwnText& text, bool with_digest, const BindForm& form,
                  const std::function<void(const HandPart&)>& write) {
  TextPacker packer(form.find, form.jobs);
  Sha256 digest;
  std::vector<TakeBytes> takers = {[&](std::string_view part) { packer.add(part); }};
  if (with_digest) takers.push_back([&](std::string_view part) { digest.add(part); });
  Followers followers(std::move(takers));
  write([&](std::string part) { return followers.hand(std::move(part)); });
  followers.finish();
  text.packed = packer.finish(text.entry.path, text.sections);
  if (with_digest) text.packed.digest = digest.finish();
}

// Notes where in the archive lies what a later one can use, by the place of each entry.
void note_places(const Entries& entries, const std::vector<std::uint64_t>& places, std::size_t packed_profiles,
                 OwnTexts& own, TierRelease& tier) {
  tier.places.assign(packed_profiles, 0);
  for (std::size_t i = 0; i < places.size(); ++i) {
    if (std::size_t profile = entries[i].second; profile != no_profile) {
      tier.places[profile] = places[i];
      continue;
    }
    const OwnText* text = own.find(entries[i].first);
    if (text == nullptr) continue;
    std::uint64_t at = places[i];
    for (const Section& section : text->sections) {
      tier.sections.push_back({section, at});
      at += section.length;
    }
  }
}

// Writes the archive, and notes in `tier` what there is to know of its bytes. Gives the place of each entry, where that
// is certain.
ReleaseFile finish_archive(ArchiveWriter& archive, std::string name, const TakeArchive& take, TierRelease& tier,
                           std::vector<std::uint64_t>& places) {
  ReleaseFile file;
  file.name = std::move(name);
  Sha256 digest;
  auto look = [&](std::string_view bytes) { digest.add(bytes); };
  auto keep = [&](std::string_view bytes) {
    tier.checksum = checksum(bytes, tier.checksum);
    file.size += bytes.size();
    if (take) take(tier.tier, file.name, bytes);
    else file.bytes += bytes;
  };
  places = archive.finish({look, keep});
  file.digest = digest.finish();
  return file;
}

TierRelease bind_tier(const Tree& tree, const std::vector<Dialect>& dialects, TierParts parts,
                      std::size_t packed_profiles, const Edition& edition, const BindForm& form) {
  TierRelease out;
  out.tier = parts.tier;
  out.profiles = parts.profiles.size();
  out.capped = parts.capped;
  OwnTexts own;
  for (OwnText* each : own.all()) parts.entries.emplace_back(&each->entry, no_profile);
  std::optional<ArchiveWriter> archive;
  both(
      form.jobs,
      [&] {
        pack_written(own.contents, true, form,
                     [&](const HandPart& hand) { write_contents(tree, parts.tier, edition, parts.profiles, hand); });
      },
      [&] {
        sort_by_path(parts.entries);
        PackedEntries sorted;
        for (const auto& [entry, profile] : parts.entries) sorted.push_back(entry);
        archive.emplace(std::move(sorted), edition.time);
        own.changelog.packed = pack(own.changelog.entry.path, *parts.changelog);
        own.licence.packed = pack(own.licence.entry.path, licence_text(tree));
        own.read_me.packed =
            pack(own.read_me.entry.path, read_me_first(tree, dialects, parts.tier, edition, out.profiles));
      });
  Sums sums;
  for (const auto& [entry, profile] : parts.entries) {
    const OwnText* text = profile == no_profile ? own.find(entry) : nullptr;
    if (text != &own.sums) sums.emplace_back(entry->path, text == nullptr ? entry->digest : text->packed.digest);
  }
  pack_written(own.sums, false, form, [&](const HandPart& hand) { write_sums(sums, hand); });
  out.contents = own.contents.packed.digest;
  for (OwnText* each : own.all()) each->entry = std::move(each->packed);
  std::vector<std::uint64_t> places;
  out.files.push_back(finish_archive(*archive,
                                     fmt::format("{}-{}-{}.zip", tree.plan.name, edition.version, name_of(parts.tier)),
                                     form.take, out, places));
  if (!places.empty()) note_places(parts.entries, places, packed_profiles, own, out);
  out.files.push_back(release_file("CHANGELOG.md", *parts.changelog));
  out.files.push_back(
      release_file("release.json", release_json(tree, parts.tier, edition, out.profiles, out.files, out.contents)));
  sums.clear();
  for (const ReleaseFile& file : out.files) sums.emplace_back(file.name, file.digest);
  std::sort(sums.begin(), sums.end());
  out.files.push_back(release_file("SHA256SUMS", sums_text(sums)));
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
                     const std::array<std::string, 2>& changelogs, const BindForm& form) {
  ProgramFiles programs(tree, dialects, selection, edition);
  if (!dialects.empty()) press_profiles(tree, selection, packed, programs, form.jobs);
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
  parallel_for(tiers.size(), form.jobs, [&](std::size_t i) {
    release.tiers[i] = bind_tier(tree, dialects, std::move(tiers[i]), packed.size(), edition, form);
  });
  return release;
}

}  // namespace bindery
