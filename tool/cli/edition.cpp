#include "cli/edition.h"

#include <cstdlib>

#include <fmt/format.h>

#include "base/date.h"
#include "base/failure.h"
#include "release/version.h"

namespace bindery {

namespace {

constexpr std::int64_t no_time = 315532800;  // 1980-01-01, the first day that ZIP can tell

}  // namespace

EditionTeller::EditionTeller(const Options& options, const ReleaseWish& wish, const std::filesystem::path& root)
    : options_(options), wish_(wish), root_(root), chronicle_(root, options.jobs, options.cache) {}

bool EditionTeller::is_first() const {
  return !wish_.since && !options_.at && chronicle_.releases().empty() && !chronicle_.shallow();
}

void EditionTeller::ask_git(std::vector<std::string> edited) {
  if (git_asked_) return;
  git_asked_ = true;
  auto ask = [this, edited = std::move(edited)] { return git_state(root_, edited); };
  git_later_ = std::async(options_.jobs > 1 ? std::launch::async : std::launch::deferred, ask);
}

bool EditionTeller::has_changes() const { return git_ && !options_.at && git_->changed; }

void EditionTeller::refuse_changes(Diagnostics& out) const {
  if (!wish_.version) return;
  if (has_changes()) {
    out.add(Code::tree_changed, {},
            fmt::format("the tree has changes that no commit holds, so it is not version {}", wish_.version->text()))
        .with_help("commit them first, or leave --version out to build a snapshot");
  }
  if (git_ && git_->shallow) {
    out.add(Code::history_missing, {},
            fmt::format("the clone is shallow, so the changelog of version {} would lack earlier releases",
                        wish_.version->text()))
        .with_help("get the rest with `git fetch --unshallow --tags`, or leave --version out");
  }
  if (wish_.any_version) return;
  for (const auto& [tag, commit] : list_tags(root_)) {
    auto version = version_of_tag(tag);
    if (!version || precedence(*version, *wish_.version) != 0 || commit.id == edition_.commit) continue;
    out.add(Code::version_taken, {},
            fmt::format("version {} exists: the tag '{}' names commit {}", wish_.version->text(), tag,
                        commit.id.substr(0, 10)))
        .with_help(fmt::format("choose a higher version, build that commit with `--at {}`, or say --any-version", tag));
    return;
  }
}

void EditionTeller::describe(const std::optional<Commit>& at, Diagnostics& out) {
  if (git_later_.valid()) git_ = git_later_.get();
  edition_ = {};
  to_ = {};
  std::optional<Commit> commit = options_.at ? at : git_ ? std::optional(git_->head) : std::nullopt;
  if (commit) edition_.commit = commit->id;
  edition_.changed = has_changes();
  std::int64_t own = commit && !commit->id.empty() ? commit->time : no_time;
  edition_.time = wish_.time ? *wish_.time : epoch_from_environment().value_or(own);
  if (wish_.version) name_edition(*wish_.version);
  to_.of = at ? SideSource::Of::revision : SideSource::Of::folder;
  if (options_.at) to_.revision = find_revision(root_, *options_.at);
  to_.name = "working tree";
  to_.date = utc_date(edition_.time);
  if (commit && !commit->id.empty()) to_.commit = commit;
  refuse_changes(out);
}

void EditionTeller::name_edition(const Version& version) {
  edition_.version = version.text();
  edition_.channel = version.is_pre_release() ? "beta" : "stable";
  to_.version = version;
  to_.name = edition_.version;
}

void EditionTeller::tell(const std::optional<Side>& side, const StoryTeller::Profiles& profiles, Diagnostics& out) {
  StoryTeller teller(chronicle_, !wish_.version || wish_.any_version);
  from_ = previous(teller, out);
  StoryTeller::Latest latest = teller.latest(from_, {to_, side, profiles}, out);
  if (out.any_errors()) return;
  if (!wish_.version) name_snapshot(latest);
  else refuse_low(latest, out);
  if (out.any_errors()) return;
  for (Chapter& chapter : latest.chapters) {
    chapter.to = to_.name;
    chapter.to_version = to_.version;
  }
  changelogs_ = teller.changelogs(latest.chapters, from_, to_, out);
  chronicle_.close();
}

std::optional<SideSource> EditionTeller::previous(const StoryTeller& teller, Diagnostics& out) const {
  if (!wish_.since) return teller.before(wish_.version, out);
  if (wish_.since->empty()) return std::nullopt;
  return chronicle_.side(*wish_.since);
}

// The name of a build that is no release: the version that would be next, the commit, and whether the tree has
// changes. A pre-release that is out already is not passed under.
void EditionTeller::name_snapshot(const StoryTeller::Latest& latest) {
  Version version = latest.suggested;
  const auto& releases = chronicle_.releases();
  if (!releases.empty()) {
    Version after = next_version(releases.back().version, Level::patch);
    if (precedence(after, version) > 0) version = after;
  }
  version.build.clear();
  version.pre_release = {"snapshot"};
  if (!edition_.commit.empty()) version.pre_release.push_back("g" + edition_.commit.substr(0, 10));
  if (edition_.changed) version.pre_release.emplace_back("changed");
  name_edition(version);
}

void EditionTeller::refuse_low(const StoryTeller::Latest& latest, Diagnostics& out) const {
  if (!from_ || wish_.any_version) return;
  Version core = *wish_.version;
  core.pre_release.clear();
  core.build.clear();
  if (precedence(core, latest.suggested) >= 0) return;
  out.add(Code::version_low, {},
          fmt::format("version {} is lower than the changes since {} ask for ({})", wish_.version->text(), from_->name,
                      latest.reason))
      .with_help(fmt::format("name it {}, or say --any-version", latest.suggested.text()));
}

LedgerEntry EditionTeller::entry(const Release& release) const {
  LedgerEntry entry;
  entry.version = edition_.version;
  entry.date = utc_date(edition_.time);
  entry.time = edition_.time;
  entry.commit = edition_.commit;
  if (from_) entry.since = from_->name;
  entry.tool = tool_version();
  for (const TierRelease& tier : release.tiers)
    entry.tiers[static_cast<std::size_t>(tier.tier)] = {tier.files.front().digest, tier.contents};
  return entry;
}

std::optional<std::int64_t> epoch_from_environment() {
  const char* text = std::getenv("SOURCE_DATE_EPOCH");
  if (text == nullptr) return std::nullopt;
  std::string_view digits = text;
  bool sound =
      !digits.empty() && digits.size() <= 12 && digits.find_first_not_of("0123456789") == std::string_view::npos;
  if (!sound)
    throw UsageError(fmt::format("SOURCE_DATE_EPOCH is '{}', which is no number of whole seconds", digits),
                     "set it to the seconds since 1970, or unset it");
  return std::atoll(text);
}

}  // namespace bindery
