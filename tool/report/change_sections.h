// What changed, as items of Markdown by the sections of a changelog.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "changes/changes.h"

namespace bindery {

// Items by section, one of note_sections; each ends with a line break.
using Sections = std::map<std::string, std::vector<std::string>>;

struct SectionView {
  bool list = false;   // name every profile that a line reaches
  bool first = false;  // there was nothing before
  bool known = true;   // what came before is known
};

Sections change_sections(const Changes& changes, const SectionView& view);

// The sections that hold something, what can hurt first, each below a heading that `marks` start, as in "###".
std::string sections_markdown(const Sections& sections, std::string_view marks);

// What is said where no section holds anything.
std::string no_sections_words(const Changes& changes);

}  // namespace bindery
