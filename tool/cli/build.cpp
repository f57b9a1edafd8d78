// `build`: check the whole tree, then bind and write a release.
#include <cstdlib>

#include <fmt/format.h>

#include "base/failure.h"
#include "base/number.h"
#include "base/words.h"
#include "check/check.h"
#include "cli/session.h"
#include "release/release.h"
#include "release/version.h"
#include "report/diagnostics.h"

namespace bindery {

namespace {

constexpr std::int64_t no_time = 315532800;  // 1980-01-01, the first day that ZIP can tell

// SOURCE_DATE_EPOCH (reproducible-builds.org): whole seconds since 1970 UTC.
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

// A release written among the sources would be published with them.
void refuse_sources_as_target(const Options& options) {
  if (options.out.empty()) return;
  std::error_code failure;
  auto root = std::filesystem::weakly_canonical(find_root(options.folder), failure);
  auto inside = std::filesystem::weakly_canonical(options.out, failure).lexically_relative(root);
  for (const char* folder : {"profiles-src", "schema", "release"}) {
    if (!inside.empty() && *inside.begin() == folder)
      throw UsageError(fmt::format("'{}' is among the sources", options.out.string()),
                       "name another folder with --out");
  }
}

Version wanted_version(const Options& options) {
  auto version = parse_version(*options.version);
  if (version) return *version;
  std::string help = "write MAJOR.MINOR.PATCH, as in 1.2.0 or 1.2.0-beta.1 (SemVer 2.0.0)";
  if (options.version->starts_with('v') && parse_version(options.version->substr(1)))
    help = fmt::format("write `{}`", options.version->substr(1));
  throw UsageError(fmt::format("'{}' is no version", *options.version), help);
}

// The name of a build that is no release: the next version, the commit, and whether the tree has changes.
Version snapshot_version(const std::optional<GitState>& git, const std::optional<Commit>& at) {
  Version version = version_after(git ? git->tags : std::vector<std::string>());
  version.pre_release = {"snapshot"};
  std::string commit = at ? at->id : git ? git->head.id : std::string();
  if (!commit.empty()) version.pre_release.push_back("g" + commit.substr(0, 10));
  if (!at && git && git->changed) version.pre_release.push_back("changed");
  return version;
}

Edition plan_edition(const Options& options, const Session& session, Diagnostics& out) {
  auto git = git_state(session.root);
  Edition edition;
  bool changed = git && !options.at && git->changed;
  Version version = options.version ? wanted_version(options) : snapshot_version(git, session.commit);
  if (options.version && changed) {
    out.add(Code::tree_changed, {},
            fmt::format("the tree has changes that no commit holds, so it is not version {}", version.text()))
        .with_help("commit them first, or leave --version out to build a snapshot");
  }
  edition.version = version.text();
  edition.channel = version.is_pre_release() ? "beta" : "stable";
  std::optional<Commit> commit = options.at ? session.commit : git ? std::optional(git->head) : std::nullopt;
  if (commit) edition.commit = commit->id;
  edition.changed = changed;
  edition.time = epoch_from_environment().value_or(commit && !commit->id.empty() ? commit->time : no_time);
  return edition;
}

std::string size_words(std::size_t bytes) {
  return bytes < 1000000 ? fmt::format("{} kB", (bytes + 999) / 1000)
                         : fmt::format("{:.1f} MB", static_cast<double>(bytes) / 1e6);
}

void summarise(const Session& session, const Selection& selection, const Release& release, const Edition& edition,
               const std::filesystem::path& out) {
  fmt::print("{} {}: {}, {}, {}\n", session.tree.plan.name, edition.version,
             counted(session.tree.fragments.size(), "fragment"), counted(selection.profiles.size(), "profile"),
             counted(session.tree.dictionary.settings.size(), "setting"));
  std::size_t capped = release.tiers.empty() ? 0 : release.tiers.back().capped;
  fmt::print("{}; {} held back by a limit\n", tally(session.diagnostics), counted(capped, "value"));
  for (const TierRelease& tier : release.tiers) {
    const ReleaseFile& archive = tier.files.front();
    std::string path = (out / edition.version / std::string(name_of(tier.tier)) / archive.name).string();
    fmt::print("  {}  {} ({}, {})\n", name_of(tier.tier), path, counted(tier.profiles, "profile"),
               size_words(archive.bytes.size()));
  }
}

}  // namespace

Exit run_build(const Options& options) {
  refuse_sources_as_target(options);
  if (options.version) wanted_version(options);  // a mistake on the command line comes before the tree's
  epoch_from_environment();
  Session session = open_session(options);
  Selection selection = session.select();
  bool empty = session.tree.plan.sets.empty() || selection.profiles.empty();
  if (empty && !session.diagnostics.any_errors()) {
    session.diagnostics.add(Code::nothing_taken, {}, "no set of release/plan.yaml takes a profile")
        .with_help("write a set with `take:` into release/plan.yaml");
  }
  check_selection(session.tree, selection, options.jobs, session.diagnostics);
  Edition edition = plan_edition(options, session, session.diagnostics);
  session.diagnostics.settle();
  if (session.diagnostics.any_errors()) {
    print_diagnostics(session.diagnostics, *session.sources, options);
    fmt::print(stderr, "{}: nothing is built\n", tally(session.diagnostics));
    return Exit::sources;
  }
  Release release = bind_release(session.tree, selection, edition, options.jobs);
  std::filesystem::path out = options.out.empty() ? session.root / "out" : options.out;
  write_release(release, edition, out, options.out.empty());
  summarise(session, selection, release, edition,
            options.out.empty() ? out.lexically_proximate(std::filesystem::current_path()) : out);
  return Exit::done;
}

}  // namespace bindery
