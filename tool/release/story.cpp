#include "release/story.h"

#include <fmt/format.h>

#include "base/words.h"
#include "report/changelog.h"

namespace bindery {

void StoryTeller::report(Code code, std::string message, std::string help, Diagnostics& out) const {
  Diagnostic& item = out.add(code, {}, std::move(message)).with_help(std::move(help));
  if (left_out_) item.severity = Severity::warning;
}

std::optional<SideSource> StoryTeller::before(const std::optional<Version>& version, Diagnostics& out) const {
  if (const PastRelease* missing = chronicle_.passed_over(version); missing != nullptr && !missing->commit.empty()) {
    Diagnostic& item = out.add(Code::history_missing, {},
                               fmt::format("the commit of release {} is not here, so the changelog passes over it",
                                           missing->version.text()))
                           .with_help("get the whole history with `git fetch --unshallow --tags`");
    item.severity = Severity::warning;
  }
  auto found = chronicle_.before(version);
  if (!found && chronicle_.shallow() && chronicle_.passed_over(version) == nullptr) {
    out.add(Code::history_missing, {}, "the clone is shallow, so earlier releases are not known")
        .with_help("get the rest with `git fetch --unshallow --tags`")
        .severity = Severity::warning;
  }
  return found;
}

StoryTeller::Latest StoryTeller::latest(const std::optional<SideSource>& from, const Publication& now,
                                        Diagnostics& out) const {
  Latest latest;
  Level level = Level::none;
  std::vector<ChapterNote> notes = chronicle_.notes_of(now.source);
  for (Tier tier : {Tier::supporter, Tier::free}) {
    Chapter& chapter = latest.chapters[static_cast<std::size_t>(tier)];
    std::optional<BrokenSide> broken;
    auto first = [&] { return chronicle_.tell_first(now.source, now.profiles(tier), notes, tier); };
    std::optional<Chapter> told;
    if (from) told = chronicle_.tell(&*from, now.source, now.side ? &*now.side : nullptr, notes, {tier, false}, broken);
    else told = first();
    if (broken) {
      report(Code::history_broken,
             fmt::format("the tree of {} has {}, so what changed since then cannot be told", broken->name,
                         counted(broken->side.diagnostics.count(Severity::error), "error")),
             fmt::format("see `changelog {}`, or say --any-version to leave the comparison out", broken->name), out);
      told = first();
      told->changes = {};
    }
    if (!told) return latest;
    chapter = std::move(*told);
    if (tier == Tier::supporter || chapter.level > level) {
      level = chapter.level;
      latest.suggested = *parse_version(chapter.suggested);
      latest.reason = chapter.reason;
    }
  }
  return latest;
}

std::string StoryTeller::earlier_chapter(const SideSource& at, const std::optional<SideSource>& earlier, Tier audience,
                                         const std::vector<ChapterNote>& notes, Diagnostics& out) const {
  std::optional<BrokenSide> broken;
  auto chapter = chronicle_.tell(earlier ? &*earlier : nullptr, at, nullptr, notes, {audience, false}, broken);
  if (!broken) return chapter_markdown(*chapter, false);
  Diagnostic& item =
      out.add(Code::history_broken, {},
              fmt::format("the tree of {} has {}, so the changelog leaves out what changed there", broken->name,
                          counted(broken->side.diagnostics.count(Severity::error), "error")));
  item.severity = Severity::warning;
  Chapter rest;
  rest.untold = true;
  rest.to_version = at.version;
  rest.date = at.date;
  rest.audience = audience;
  rest.notes = notes_for(at.version, std::nullopt, chronicle_.notes_of(at),
                         earlier ? chronicle_.notes_of(*earlier) : std::vector<ChapterNote>(), notes, audience);
  return chapter_markdown(rest, false);
}

std::array<std::string, 2> StoryTeller::changelogs(const std::array<Chapter, 2>& latest,
                                                   const std::optional<SideSource>& from, const SideSource& to,
                                                   Diagnostics& out) const {
  std::array<std::string, 2> texts;
  for (std::size_t tier = 0; tier < texts.size(); ++tier)
    texts[tier] = "# Changelog\n\n" + chapter_markdown(latest[tier], false);
  std::vector<ChapterNote> notes = chronicle_.notes_of(to);
  // Both tiers of a chapter after each other: their trees are read once.
  for (std::optional<SideSource> at = from; at;) {
    std::optional<SideSource> earlier = before(at->version, out);
    for (std::size_t tier = 0; tier < texts.size(); ++tier)
      texts[tier] += "\n" + earlier_chapter(*at, earlier, latest[tier].audience, notes, out);
    at = std::move(earlier);
  }
  return texts;
}

}  // namespace bindery
