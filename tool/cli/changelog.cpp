// `changelog` and `next-version`: what differs between two versions, and what that asks of the next.
#include <fmt/format.h>

#include "base/failure.h"
#include "base/words.h"
#include "chronicle/chapter.h"
#include "cli/session.h"
#include "report/changelog.h"

namespace bindery {

namespace {

// Tells that nothing can be told, because of a side with errors.
Exit report_broken(const BrokenSide& broken, const Options& options) {
  print_diagnostics(broken.side.diagnostics, *broken.side.sources, options);
  bool folder = broken.name == "working tree";
  fmt::print(stderr, "error: {} has {}, so what changed cannot be told\n  help: {}\n",
             folder ? "the working tree" : fmt::format("'{}'", broken.name),
             counted(broken.side.diagnostics.count(Severity::error), "error"),
             folder ? "mend the tree first; see `validate`"
                    : fmt::format("name another tag or commit than '{}', before it or after", broken.name));
  return Exit::sources;
}

struct Sides {
  std::optional<SideSource> from;
  SideSource to;
};

// A side that is not named is the release before the other one.
Sides find_sides(const Chronicle& chronicle, const std::string& from, const std::string& to) {
  Sides sides;
  sides.to = chronicle.side(to);
  if (!from.empty()) {
    sides.from = chronicle.side(from);
    return sides;
  }
  if (sides.to.published)
    throw UsageError("an archive alone has nothing to be compared with", "name the earlier version as FROM");
  if (const PastRelease* missing = chronicle.passed_over(sides.to.version))
    throw UsageError(
        missing->commit.empty()
            ? fmt::format("the ledger names no commit for the release before, {}", missing->version.text())
            : fmt::format("the commit of the release before, {}, is not here", missing->version.text()),
        missing->commit.empty()
            ? "name an archive of that release as FROM"
            : "get the whole history with `git fetch --unshallow --tags`, or name an archive of that release as FROM");
  sides.from = chronicle.before(sides.to.version);
  if (!sides.from && chronicle.shallow())
    throw UsageError("the clone is shallow, so the release before is not known",
                     "get the rest with `git fetch --unshallow --tags`, or name FROM");
  return sides;
}

std::optional<Chapter> tell(const Chronicle& chronicle, const Sides& sides, const View& view,
                            std::optional<BrokenSide>& broken) {
  return chronicle.tell(sides.from ? &*sides.from : nullptr, sides.to, nullptr, chronicle.notes_of(SideSource{}), view,
                        broken);
}

void warn_of_cut(const Chapter& chapter) {
  if (!chapter.cut) return;
  fmt::print(stderr,
             "warning: the clone is shallow, so commits and contributors may be missing\n"
             "  help: get the rest with `git fetch --unshallow --tags`\n");
}

}  // namespace

Exit run_changelog(const Options& options) {
  Chronicle chronicle(find_root(options.folder), options.jobs, options.cache);
  Sides sides = find_sides(chronicle, options.words[0], options.words[1]);
  View view;
  view.tier = options.tier == "free" ? Tier::free : Tier::supporter;
  for (const SideSource* side : {sides.from ? &*sides.from : nullptr, &sides.to}) {
    if (side == nullptr || !side->published || side->published->tier != Tier::free) continue;
    if (options.tier == "supporter")
      throw UsageError("a free archive does not tell what supporters have",
                       "name the supporter archive, or leave --tier out");
    view.tier = Tier::free;
  }
  view.contents = options.format == "json";
  std::optional<BrokenSide> broken;
  std::optional<Chapter> chapter = tell(chronicle, sides, view, broken);
  if (!chapter) return report_broken(*broken, options);
  fmt::print("{}", view.contents ? chapter_json(*chapter) : chapter_markdown(*chapter, options.list));
  warn_of_cut(*chapter);
  return Exit::done;
}

Exit run_next_version(const Options& options) {
  Chronicle chronicle(find_root(options.folder), options.jobs, options.cache);
  Sides sides = find_sides(chronicle, options.words[0], "");
  std::optional<BrokenSide> broken;
  std::optional<Chapter> most;
  // What the free audience loses asks for as much as what all lose.
  for (Tier tier : {Tier::supporter, Tier::free}) {
    std::optional<Chapter> chapter = tell(chronicle, sides, {tier, false}, broken);
    if (!chapter) return report_broken(*broken, options);
    if (!most || chapter->level > most->level) most = std::move(chapter);
  }
  fmt::print("{}\n{}\n", most->suggested, most->reason);
  return Exit::done;
}

}  // namespace bindery
