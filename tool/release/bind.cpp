// Profiles to files, files to archives.
#include <algorithm>

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
    Diagnostics silent;  // the tree was checked before
    for (std::size_t i = b * block; i < std::min((b + 1) * block, packed.size()); ++i) {
      Resolver::Axes axes;
      Profile profile = resolver.resolve(selection.profiles[i].triple, silent, &axes);
      programs.press(i, profile, axes, packed[i].entry.digest);
    }
  });
}

// A profile of a tier, with its own file and those of the dialects.
struct Listed {
  const Selected* selected = nullptr;
  const PackedEntry* entry = nullptr;
  std::vector<ProgramFiles::Made> made;
};

std::string contents_json(const Tree& tree, Tier tier, const Edition& edition, const std::vector<Listed>& profiles) {
  JsonWriter json;
  json.open_object().field("name", tree.plan.name).field("version", edition.version).field("tier", name_of(tier));
  json.field("publisher", tree.plan.publisher.name).field("licence", tree.plan.publisher.licence);
  json.key("profiles").open_list();
  for (const auto& [selected, entry, made] : profiles) {
    json.open_object()
        .field("id", profile_id(tree, selected->triple))
        .field("title", profile_title(tree, selected->triple));
    json.field("path", entry->path)
        .field("tier", name_of(selected->tier))
        .field("status", name_of(selected->status))
        .field("sha256", entry->digest);
    json.key("evidence").open_list().close();
    if (!made.empty()) {
      json.key("for").open_object();
      for (const auto& [dialect, paths] : made) {
        json.key(dialect->name).open_list();
        for (const std::string& path : paths) json.text(path);
        json.close();
      }
      json.close();
    }
    json.close();
  }
  json.close().close();
  return json.finish();
}

std::string release_json(const Tree& tree, Tier tier, const Edition& edition, std::size_t profiles,
                         const std::vector<ReleaseFile>& files, const PackedEntry& contents) {
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
        .whole(static_cast<long long>(file.bytes.size()))
        .field("sha256", sha256(file.bytes))
        .close();
  }
  json.close().key("contents").open_object().field("name", contents.path).field("sha256", contents.digest).close();
  json.key("tool").open_object().field("name", "bindery").field("version", tool_version()).close();
  json.key("libraries").open_object();
  for (const auto& [name, version] : library_versions()) json.field(name, version);
  json.close().close();
  return json.finish();
}

std::string sums_text(std::vector<std::pair<std::string, std::string>> digests) {
  std::sort(digests.begin(), digests.end());
  std::string out;
  for (const auto& [path, digest] : digests) out += fmt::format("{}  {}\n", digest, path);
  return out;
}

TierRelease bind_tier(const Tree& tree, const std::vector<Dialect>& dialects, Tier tier, const Selection& selection,
                      const std::vector<PackedProfile>& packed, ProgramFiles& programs, const PackedEntry& settings,
                      const Edition& edition, const std::string& changelog) {
  TierRelease out;
  out.tier = tier;
  std::vector<Listed> profiles;
  for (std::size_t i = 0; i < packed.size(); ++i) {
    if (selection.profiles[i].tier > tier) continue;
    Listed& listed = profiles.emplace_back(Listed{&selection.profiles[i], &packed[i].entry, programs.made(i)});
    std::erase_if(listed.made, [&](const ProgramFiles::Made& made) { return made.dialect->tier > tier; });
    out.capped += packed[i].capped;
  }
  out.profiles = profiles.size();
  std::vector<PackedEntry> own;
  own.push_back(pack("CHANGELOG.md", changelog));
  own.push_back(pack("LICENSE.txt", licence_text(tree)));
  own.push_back(pack("READ-ME-FIRST.txt", read_me_first(tree, dialects, tier, edition, out.profiles)));
  own.push_back(pack("contents.json", contents_json(tree, tier, edition, profiles)));
  std::vector<const PackedEntry*> entries = {&settings};
  for (const PackedEntry& entry : own) entries.push_back(&entry);
  for (const Listed& each : profiles) entries.push_back(each.entry);
  for (const PackedEntry* entry : programs.entries(tier)) entries.push_back(entry);
  std::vector<std::pair<std::string, std::string>> digests;
  for (const PackedEntry* entry : entries) digests.emplace_back(entry->path, entry->digest);
  PackedEntry sums = pack("SHA256SUMS", sums_text(std::move(digests)));
  entries.push_back(&sums);
  std::sort(entries.begin(), entries.end(),
            [](const PackedEntry* a, const PackedEntry* b) { return a->path < b->path; });

  out.files.push_back({fmt::format("{}-{}-{}.zip", tree.plan.name, edition.version, name_of(tier)),
                       write_archive(entries, edition.time)});
  out.files.push_back({"CHANGELOG.md", changelog});
  out.files.push_back({"release.json", release_json(tree, tier, edition, out.profiles, out.files, own.back())});
  out.contents = own.back().digest;
  digests.clear();
  for (const ReleaseFile& file : out.files) digests.emplace_back(file.name, sha256(file.bytes));
  out.files.push_back({"SHA256SUMS", sums_text(std::move(digests))});
  return out;
}

}  // namespace

PackedProfile pack_profile(const Tree& tree, const Selected& selected, const Profile& profile) {
  return {
      pack(fmt::format("profiles/{}.json", profile_id(tree, selected.triple)), profile_file(tree, selected, profile)),
      profile.caps.size()};
}

Release bind_release(const Tree& tree, const std::vector<Dialect>& dialects, const Selection& selection,
                     const std::vector<PackedProfile>& packed, const Edition& edition,
                     const std::array<std::string, 2>& changelogs, unsigned jobs) {
  ProgramFiles programs(tree, dialects, selection, edition);
  if (!dialects.empty()) press_profiles(tree, selection, packed, programs, jobs);
  PackedEntry settings = pack("settings.json", settings_json(tree.dictionary));
  Release release;
  for (Tier tier : {Tier::free, Tier::supporter}) {
    bool any = std::any_of(selection.profiles.begin(), selection.profiles.end(),
                           [&](const Selected& each) { return tier == Tier::supporter || each.tier == Tier::free; });
    if (any)
      release.tiers.push_back(bind_tier(tree, dialects, tier, selection, packed, programs, settings, edition,
                                        changelogs[static_cast<std::size_t>(tier)]));
  }
  return release;
}

}  // namespace bindery
