#include "chronicle/side.h"

#include <algorithm>
#include <fstream>

#include <fmt/format.h>

#include "base/date.h"
#include "base/failure.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

bool has_tag(const fs::path& root, const std::string& name) { return list_tags(root).contains(name); }

SideSource release_side(const fs::path& root, const PastRelease& release) {
  SideSource side;
  side.of = SideSource::Of::revision;
  side.name = release.version.text();
  side.version = release.version;
  side.date = release.date;
  if (!release.readable)
    throw UsageError(fmt::format("the commit of release {} is not here", side.name),
                     "get the whole history with `git fetch --unshallow --tags`, or name the archive of that release");
  side.revision = find_revision(root, release.tag.empty() ? release.commit : "refs/tags/" + release.tag);
  side.commit = side.revision->commit;
  return side;
}

}  // namespace

std::vector<PastRelease> known_releases(const fs::path& root) {
  Sources sources;
  std::error_code failure;
  if (fs::is_regular_file(root / ledger_path, failure) && fs::file_size(root / ledger_path, failure) <= largest_text) {
    std::ifstream in(root / ledger_path, std::ios::binary);
    sources.files.push_back({.path = std::string(ledger_path), .text = {std::istreambuf_iterator<char>(in), {}}});
  }
  Diagnostics silent;  // what is wrong with it is told with the tree
  std::vector<PastRelease> releases = past_releases(list_tags(root), read_ledger(sources, silent));
  std::vector<std::string> commits;
  for (const PastRelease& each : releases) {
    if (each.tag.empty() && !each.commit.empty()) commits.push_back(each.commit);
  }
  commits = missing_commits(root, commits);
  for (PastRelease& each : releases) {
    bool missing = std::find(commits.begin(), commits.end(), each.commit) != commits.end();
    each.readable = !each.commit.empty() && (!each.tag.empty() || !missing);
  }
  return releases;
}

SideSource find_side(const fs::path& root, const std::string& word, const std::vector<PastRelease>& releases) {
  SideSource side;
  if (word.empty() || word == ".") {
    side.name = "working tree";
    if (auto head = head_commit(root); head && !head->id.empty()) side.commit = head;
    return side;
  }
  if (is_published(word)) {
    side.of = SideSource::Of::published;
    side.published = read_published(word);
    side.name = side.published->version;
    side.version = parse_version(side.name);
    side.date = side.published->date;
    return side;
  }
  if (auto version = version_of_tag(word)) {
    const PastRelease* release = find_release(releases, *version);
    bool other = release != nullptr && !release->tag.empty() && release->tag != word && has_tag(root, word);
    if (release != nullptr && !other) return release_side(root, *release);
  }
  std::error_code failure;
  if (!fs::exists(word, failure) && (word.ends_with(".zip") || word.ends_with(".json")))
    throw UsageError(fmt::format("there is no file '{}'", word), "name a release archive that is there");
  if (fs::exists(word, failure) && word.find('/') != std::string::npos)
    throw UsageError(fmt::format("'{}' is no release", word),
                     "name a release archive (.zip), its release.json, or the contents.json of an unpacked one");
  side.of = SideSource::Of::revision;
  side.name = word;
  side.revision = find_revision(root, word);
  side.commit = side.revision->commit;
  if (auto version = version_of_tag(word); version && has_tag(root, word)) {
    side.version = version;
    side.name = version->text();
    side.date = utc_date(side.commit->time);
  }
  return side;
}

void read_side(const fs::path& root, const SideSource& source, const Sources* like, unsigned jobs, OpenSide& out) {
  *out.sources = source.revision ? read_revision(root, *source.revision, out.diagnostics, like, jobs)
                                 : read_folder(root, jobs, out.diagnostics);
}

}  // namespace bindery
