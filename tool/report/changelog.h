// A chapter of the changelog, for readers and for programs.
#pragma once

#include <string>

#include "chronicle/chapter.h"

namespace bindery {

// One version in Markdown: `## VERSION - DATE`, then sections by what they are about, what can hurt first. `list` names
// every profile that a line reaches.
std::string chapter_markdown(const Chapter& chapter, bool list);

// The same as one JSON document: applied to the old resolved set it gives the new one.
std::string chapter_json(const Chapter& chapter);

}  // namespace bindery
