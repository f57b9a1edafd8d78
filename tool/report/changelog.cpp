#include "report/changelog.h"

#include <fmt/format.h>

#include "base/words.h"
#include "report/change_sections.h"
#include "report/markdown.h"

namespace bindery {

namespace {

std::string note_item(const ChapterNote& note) {
  std::string item = "- ", text = tame_markdown(note.text);
  for (std::size_t i = 0; i < text.size(); ++i) {
    item += text[i];
    if (text[i] == '\n' && i + 1 < text.size() && text[i + 1] != '\n') item += "  ";
  }
  return item + '\n';
}

}  // namespace

std::string chapter_markdown(const Chapter& chapter, bool list) {
  std::string version = chapter.to_version ? chapter.to_version->text() : "Unreleased";
  std::string out = fmt::format("## {}{}\n", version, chapter.date.empty() ? "" : " - " + chapter.date);
  bool known = !chapter.from.empty() || chapter.first;
  if (chapter.untold) out += "\nWhat changed in this version can no longer be told.\n";
  else if (!known) out += "\nThe release before cannot be read here, so that notes alone are told.\n";
  if (!chapter.from.empty()) out += fmt::format("\nChanges since {}.\n", plain_text(chapter.from));
  Sections sections = change_sections(chapter.changes, {list, chapter.first, known});
  for (const ChapterNote& note : chapter.notes) sections[note.section].push_back(note_item(note));
  std::string told = sections_markdown(sections, "###");
  if (told.empty() && known) told = no_sections_words(chapter.changes);
  out += told;
  if (!chapter.contributors.empty()) {
    std::vector<std::string> names;
    for (const std::string& name : chapter.contributors) names.push_back(plain_text(name));
    out += fmt::format("\n### Contributors\n\n{}.\n", join_words(names));
  }
  return out;
}

}  // namespace bindery
