// Which hand-written notes belong to a version.
#include <algorithm>
#include <map>

#include "chronicle/chapter.h"

namespace bindery {

std::vector<ChapterNote> notes_for(const std::optional<Version>& version, const std::optional<Version>& from,
                                   const std::vector<ChapterNote>& own, const std::vector<ChapterNote>& before,
                                   const std::vector<ChapterNote>& today, Tier audience) {
  std::map<std::string, const ChapterNote*> earlier, current;
  for (const ChapterNote& note : before) earlier.emplace(note.path, &note);
  for (const ChapterNote& note : today) current.emplace(note.path, &note);
  auto names_this = [&](const ChapterNote& note) {
    auto said = parse_version(note.version);
    return said && version && precedence(*said, *version) == 0;
  };
  // Labelled with a version that is to come, or not long enough ago to have been told.
  auto unreleased = [&](const ChapterNote& note) {
    auto said = parse_version(note.version);
    if (version || !said) return false;
    return from ? precedence(*said, *from) > 0 : !earlier.contains(note.path);
  };
  std::vector<ChapterNote> out;
  for (const ChapterNote& note : own) {
    auto now = current.find(note.path);
    const ChapterNote& text = now == current.end() ? note : *now->second;
    bool said = !text.version.empty();
    bool wanted = said ? names_this(text) || unreleased(text) : !earlier.contains(note.path);
    if (wanted) out.push_back(text);
  }
  // Written later for this version.
  for (const ChapterNote& note : today) {
    bool known = std::any_of(own.begin(), own.end(), [&](const ChapterNote& each) { return each.path == note.path; });
    if (!known && names_this(note)) out.push_back(note);
  }
  std::erase_if(out, [&](const ChapterNote& note) { return note.tier > audience; });
  auto section = [](const ChapterNote& note) {
    return std::find(note_sections.begin(), note_sections.end(), note.section);
  };
  std::stable_sort(out.begin(), out.end(), [&](const ChapterNote& a, const ChapterNote& b) {
    return std::pair(section(a), a.path) < std::pair(section(b), b.path);
  });
  return out;
}

}  // namespace bindery
