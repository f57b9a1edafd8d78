// `verify`: is a release complete and unchanged, and does its commit give it again?
#include <fmt/format.h>

#include "base/failure.h"
#include "base/words.h"
#include "chronicle/past.h"
#include "cli/prepare.h"
#include "release/verify.h"
#include "release/version.h"
#include "report/diagnostics.h"

namespace bindery {

namespace {

void report_difference(const LedgerEntry& was, const LedgerEntry& now, Tier tier, Diagnostics& out) {
  auto k = static_cast<std::size_t>(tier);
  if (was.tiers[k] == now.tiers[k]) return;
  std::string what = !now.tiers[k]                                      ? "is not built any more"
                     : !was.tiers[k]                                    ? "was not released"
                     : was.tiers[k]->contents == now.tiers[k]->contents ? "holds the same profiles, and other bytes"
                                                                        : "holds other profiles";
  std::string help = was.tool == tool_version()
                         ? "compare the libraries in release.json with those of that build"
                         : fmt::format("it was built by version {} of the program: build it with that one", was.tool);
  out.add(Code::rebuild_differs, {},
          fmt::format("the {} archive of {}, built again, {}", name_of(tier), was.version, what))
      .with_help(help);
}

// Builds a version of the ledger again, in memory, and compares what comes out.
Exit rebuild(const Options& options) {
  std::filesystem::path root = find_root(options.folder);
  auto version = parse_version(*options.rebuild);
  if (!version)
    throw UsageError(fmt::format("'{}' is no version", *options.rebuild), "name a version of release/ledger.yaml");
  Sources sources;
  Diagnostics found;
  sources = read_folder(root, options.jobs, found);
  const LedgerEntry* entry = nullptr;
  found = {};
  std::vector<LedgerEntry> entries = read_ledger(sources, found);
  if (found.any_errors()) {
    print_diagnostics(found, sources, options);
    return Exit::sources;
  }
  for (const LedgerEntry& each : entries) {
    if (each.version == version->text()) entry = &each;
  }
  if (entry == nullptr)
    throw UsageError(fmt::format("release/ledger.yaml holds no version {}", version->text()),
                     "name one that was built with `build --version`");
  const std::vector<PastRelease> releases = past_releases(list_tags(root), entries);
  const PastRelease* release = find_release(releases, *version);
  if (release->commit.empty())
    throw UsageError(fmt::format("neither a tag nor the ledger names a commit for {}", version->text()),
                     "a release that was built outside git cannot be built again");
  Options again = options;
  again.at = release->tag.empty() ? entry->commit : "refs/tags/" + release->tag;
  again.cache = false;
  ReleaseWish wish;
  wish.version = version;
  wish.any_version = true;
  wish.time = entry->time;
  wish.since = entry->since;
  PreparedRelease prepared = prepare_release(again, wish);
  if (prepared.session.diagnostics.any_errors()) {
    print_diagnostics(prepared.session.diagnostics, *prepared.session.sources, options);
    fmt::print(stderr, "{}: {} cannot be built again\n", tally(prepared.session.diagnostics), version->text());
    return Exit::sources;
  }
  Diagnostics differences;
  bool elsewhere = !entry->commit.empty() && prepared.edition.commit != entry->commit;
  if (elsewhere && entry->tiers != prepared.entry.tiers) {
    differences
        .add(Code::rebuild_differs, {},
             fmt::format("the tag '{}' names commit {}, which gives other bytes than those that were released from {}",
                         release->tag, prepared.edition.commit.substr(0, 10), entry->commit.substr(0, 10)))
        .with_help("put the tag back on the commit that was released, or correct the ledger");
  } else {
    for (Tier tier : {Tier::free, Tier::supporter}) report_difference(*entry, prepared.entry, tier, differences);
  }
  if (options.format == "json") {
    JsonWriter json;
    json.open_object().field("version", version->text()).field("commit", prepared.edition.commit).key("diagnostics");
    diagnostics_json(differences, Sources{}, json);
    json.close();
    fmt::print("{}", json.finish());
    return differences.any_errors() ? Exit::sources : Exit::done;
  }
  fmt::print(stderr, "{}", diagnostics_text(differences, Sources{}, Palette::of(options.colour)));
  fmt::print("{} of commit {}, built again: {}\n", version->text(), prepared.edition.commit.substr(0, 10),
             differences.any_errors() ? tally(differences) : "the same bytes");
  return differences.any_errors() ? Exit::sources : Exit::done;
}

}  // namespace

Exit run_verify(const Options& options) {
  if (options.rebuild && !options.words.front().empty())
    throw UsageError("verify takes a path or --rebuild, not both", "run it twice");
  if (options.rebuild) return rebuild(options);
  if (options.words.front().empty())
    throw UsageError("`verify` needs PATH or --rebuild V", "name an archive, a tier's folder or a version's folder");
  Diagnostics found;
  Verified verified = verify_release(options.words.front(), found);
  found.settle();
  Sources none;
  if (options.format == "json") {
    JsonWriter json;
    json.open_object().key("diagnostics");
    diagnostics_json(found, none, json);
    json.key("archives")
        .whole(static_cast<long long>(verified.archives))
        .key("files")
        .whole(static_cast<long long>(verified.files));
    json.key("profiles").whole(static_cast<long long>(verified.profiles)).close();
    fmt::print("{}", json.finish());
  } else {
    fmt::print(stderr, "{}", diagnostics_text(found, none, Palette::of(options.colour)));
    fmt::print("{}, {}, {}: {}\n", counted(verified.archives, "archive"), counted(verified.files, "file"),
               counted(verified.profiles, "profile"), tally(found));
  }
  return found.any_errors() ? Exit::sources : Exit::done;
}

}  // namespace bindery
