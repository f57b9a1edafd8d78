#include "changes/level.h"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "base/words.h"

namespace bindery {

namespace {

std::string one_more(std::string digits) {
  auto at = digits.rbegin();
  while (at != digits.rend() && *at == '9') *at++ = '0';
  if (at == digits.rend()) return "1" + digits;
  ++*at;
  return digits;
}

// How many profiles have a value or a script that differs.
std::size_t profiles_changed(const Changes& changes) {
  std::set<std::uint32_t> seen;
  for (const Change& change : changes.changes) {
    for (const Effect& effect : change.effects) seen.insert(effect.profile);
  }
  for (const ScriptChange& change : changes.scripts) {
    for (const ScriptEffect& effect : change.effects) seen.insert(effect.profile);
  }
  return seen.size();
}

std::size_t moved_up(const Changes& changes) {
  return static_cast<std::size_t>(std::count_if(changes.moved.begin(), changes.moved.end(),
                                                [](const Move& move) { return move.tier > move.old_tier; }));
}

}  // namespace

std::string_view name_of(Level level) {
  constexpr std::string_view names[] = {"none", "patch", "minor", "major"};
  return names[static_cast<std::size_t>(level)];
}

Level level_of(const Changes& changes) {
  if (!changes.removed.empty() || moved_up(changes) > 0) return Level::major;
  if (!changes.added.empty() || !changes.renamed.empty() || !changes.moved.empty() || !changes.changes.empty() ||
      !changes.scripts.empty())
    return Level::minor;
  return changes.empty() ? Level::none : Level::patch;
}

std::string reason_of(Level level, const Changes& changes) {
  if (level == Level::none) return "none: nothing changed";
  std::vector<std::string> parts;
  auto count = [&](std::size_t number, std::string_view what) {
    if (number > 0) parts.push_back(fmt::format("{} {}", counted(number, "profile"), what));
  };
  std::size_t up = moved_up(changes);
  count(changes.removed.size(), "removed");
  count(up, "moved to supporters");
  count(changes.added.size(), "added");
  count(changes.renamed.size(), "renamed");
  count(changes.moved.size() - up, "moved");
  count(profiles_changed(changes), "changed");
  if (parts.empty()) parts.emplace_back("no value changed");
  if (changes.removed.empty() && up == 0) parts.emplace_back("nothing removed");
  return fmt::format("{}: {}", name_of(level), fmt::join(parts, "; "));
}

Version next_version(const Version& from, Level level) {
  Version next = from;
  next.pre_release.clear();
  next.build.clear();
  bool pre = from.is_pre_release();
  switch (level) {
    case Level::major:
      if (pre && from.minor == "0" && from.patch == "0") return next;
      return {one_more(next.major), "0", "0", {}, {}};
    case Level::minor:
      if (pre && from.patch == "0") return next;
      return {next.major, one_more(next.minor), "0", {}, {}};
    case Level::patch:
      if (!pre) next.patch = one_more(next.patch);
      return next;
    default: return from;
  }
}

}  // namespace bindery
