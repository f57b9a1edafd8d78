#include "chronicle/past.h"

#include <algorithm>

#include "base/date.h"

namespace bindery {

std::optional<Version> version_of_tag(std::string_view tag) {
  if (tag.starts_with('v')) tag.remove_prefix(1);
  return parse_version(tag);
}

std::vector<PastRelease> past_releases(const std::map<std::string, Commit>& tags,
                                       const std::vector<LedgerEntry>& ledger) {
  std::vector<PastRelease> out;
  auto slot = [&](const Version& version) -> PastRelease& {
    for (PastRelease& each : out) {
      if (each.version.text() == version.text()) return each;
    }
    PastRelease& fresh = out.emplace_back();
    fresh.version = version;
    return fresh;
  };
  for (const auto& [tag, commit] : tags) {
    auto version = version_of_tag(tag);
    if (!version) continue;
    PastRelease& release = slot(*version);
    if (release.tag == version->text()) continue;  // the plain name wins over one with a `v`
    release.tag = tag;
    release.commit = commit.id;
    release.time = commit.time;
    release.date = utc_date(commit.time);
  }
  for (const LedgerEntry& entry : ledger) {
    auto version = parse_version(entry.version);
    if (!version) continue;
    PastRelease& release = slot(*version);
    if (release.commit.empty()) release.commit = entry.commit;
    release.time = entry.time;
    release.date = entry.date;
    release.since = entry.since;
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const PastRelease& a, const PastRelease& b) { return precedence(a.version, b.version) < 0; });
  return out;
}

const PastRelease* release_before(const std::vector<PastRelease>& releases, const std::optional<Version>& version,
                                  bool readable) {
  const PastRelease* found = nullptr;
  bool skip = !version || !version->is_pre_release();
  for (const PastRelease& each : releases) {
    if ((skip && each.version.is_pre_release()) || (readable && !each.readable)) continue;
    if (!version || precedence(each.version, *version) < 0) found = &each;
  }
  return found;
}

const PastRelease* find_release(const std::vector<PastRelease>& releases, const Version& version) {
  auto at = std::find_if(releases.begin(), releases.end(),
                         [&](const PastRelease& each) { return precedence(each.version, version) == 0; });
  return at == releases.end() ? nullptr : &*at;
}

}  // namespace bindery
