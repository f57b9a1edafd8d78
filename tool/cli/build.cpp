// `build`: check the whole tree, then bind and write a release.
#include <fstream>
#include <future>

#include <fmt/format.h>

#include "base/failure.h"
#include "base/words.h"
#include "cli/prepare.h"
#include "report/diagnostics.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

// A release written among the sources would be published with them.
void refuse_sources_as_target(const Options& options) {
  if (options.out.empty()) return;
  std::error_code failure;
  auto root = fs::weakly_canonical(find_root(options.folder), failure);
  auto inside = fs::weakly_canonical(options.out, failure).lexically_relative(root);
  for (const char* folder : {"profiles-src", "schema", "release"}) {
    if (!inside.empty() && *inside.begin() == folder)
      throw UsageError(fmt::format("'{}' is among the sources", options.out.string()),
                       "name another folder with --out");
  }
}

std::optional<Version> wanted_version(const Options& options) {
  if (options.version && options.snapshot)
    throw UsageError("--snapshot and --version contradict each other", "leave one of them out");
  if (!options.version) return std::nullopt;
  if (auto version = parse_version(*options.version)) return version;
  std::string help = "write MAJOR.MINOR.PATCH, as in 1.2.0 or 1.2.0-beta.1 (SemVer 2.0.0)";
  if (options.version->starts_with('v') && parse_version(options.version->substr(1)))
    help = fmt::format("write `{}`", options.version->substr(1));
  throw UsageError(fmt::format("'{}' is no version", *options.version), help);
}

std::string size_words(std::size_t bytes) {
  return bytes < 1000000 ? fmt::format("{} kB", (bytes + 999) / 1000)
                         : fmt::format("{:.1f} MB", static_cast<double>(bytes) / 1e6);
}

void summarise(const PreparedRelease& prepared, const fs::path& out) {
  fmt::print("{} {}: {}, {}, {}\n", prepared.name, prepared.edition.version, counted(prepared.fragments, "fragment"),
             counted(prepared.profiles, "profile"), counted(prepared.settings, "setting"));
  const auto& tiers = prepared.release.tiers;
  std::size_t capped = tiers.empty() ? 0 : tiers.back().capped;
  fmt::print("{}; {} held back by a limit\n", tally(prepared.session.diagnostics), counted(capped, "value"));
  for (const TierRelease& tier : tiers) {
    const ReleaseFile& archive = tier.files.front();
    std::string path = (out / prepared.edition.version / std::string(name_of(tier.tier)) / archive.name).string();
    fmt::print("  {}  {} ({}, {})\n", name_of(tier.tier), path, counted(tier.profiles, "profile"),
               size_words(archive.size));
  }
}

// Writes the release and, meanwhile, keeps what was packed: it lies in the archive of supporters, who get all.
void write(PreparedRelease& prepared, ReleaseWriter& writer, const fs::path& out, unsigned jobs) {
  const TierRelease& whole = prepared.release.tiers.back();
  const ReleaseFile& archive = whole.files.front();
  std::future<bool> kept;
  if (prepared.stock)
    kept = std::async(jobs > 1 ? std::launch::async : std::launch::deferred,
                      [&] { return prepared.stock->keep_index(whole); });
  writer.finish(prepared.release);
  if (prepared.stock && kept.get())
    prepared.stock->keep_archive(out / prepared.edition.version / std::string(name_of(whole.tier)) / archive.name);
}

// Enters the version in the ledger of the folder, in place of what an earlier build of it entered. Gives false where it
// stands there already.
bool record(const fs::path& root, const LedgerEntry& entry) {
  Sources sources;
  std::error_code failure;
  fs::path path = root / ledger_path;
  if (fs::exists(path, failure)) {
    std::ifstream in(path, std::ios::binary);
    sources.files.push_back({.path = std::string(ledger_path), .text = {std::istreambuf_iterator<char>(in), {}}});
  }
  Diagnostics silent;  // the tree was checked, its ledger included
  std::vector<LedgerEntry> entries = read_ledger(sources, silent);
  for (const LedgerEntry& each : entries) {
    if (each == entry) return false;
  }
  std::erase_if(entries, [&](const LedgerEntry& each) { return each.version == entry.version; });
  entries.push_back(entry);
  fs::create_directories(path.parent_path(), failure);
  fs::path beside = path.parent_path() / ".ledger.yaml";
  {
    std::ofstream out(beside, std::ios::binary);
    out << ledger_text(std::move(entries));
    if (!out.flush())
      throw SystemError(fmt::format("the release is built, and cannot be entered in {}", path.string()),
                        "make the folder writable, then build the version again");
  }
  fs::rename(beside, path);
  return true;
}

}  // namespace

Exit run_build(const Options& options) {
  refuse_sources_as_target(options);
  ReleaseWish wish;
  wish.version = wanted_version(options);  // a mistake on the command line comes before the tree's
  wish.any_version = options.any_version;
  wish.from_stock = options.cache;
  epoch_from_environment();
  fs::path out = options.out.empty() ? find_root(options.folder) / "out" : options.out;
  ReleaseWriter writer(out, options.out.empty());
  PreparedRelease& prepared = options.leftovers->keep(prepare_release(options, wish, &writer));
  const Session& session = prepared.session;
  if (session.diagnostics.any_errors()) {
    print_diagnostics(session.diagnostics, *session.sources, options);
    fmt::print(stderr, "{}: nothing is built\n", tally(session.diagnostics));
    return Exit::sources;
  }
  Diagnostics history = session.diagnostics;
  std::erase_if(history.items(), [](const Diagnostic& item) {
    return item.code != Code::history_missing && item.code != Code::history_broken;
  });
  print_diagnostics(history, *session.sources, options);
  options.progress->enter("writing");
  write(prepared, writer, out, options.jobs);
  options.progress->finish();
  summarise(prepared, options.out.empty() ? out.lexically_proximate(fs::current_path()) : out);
  if (wish.version && record(session.root, prepared.entry)) fmt::print("  entered in {}\n", ledger_path);
  return Exit::done;
}

}  // namespace bindery
