// A verdict on a contribution: Markdown ready to paste into a review, and JSON for programs.
#pragma once

#include <string>

#include "base/json.h"
#include "judge/judge.h"

namespace bindery {

// What the reader should know of the contribution besides the verdict.
struct ImpactView {
  std::string base;                // "commit 0123456789" or "the tree as it stands"
  std::vector<std::string> files;  // touched, as far as the audience may know of them
  bool strict = false;             // warnings count as well
};

// "passes: no errors", "has 2 errors and 1 warning".
std::string verdict_words(const Verdict& verdict);

std::string impact_markdown(const Verdict& verdict, const Sources& sources, const ImpactView& view);

// The member `impact`: profiles, values, highest, capped, tiers.
void impact_json(const Verdict& verdict, JsonWriter& json);

// Problems as Markdown: a list of severity, code, place, message and cure.
std::string problems_markdown(const Diagnostics& diagnostics, const Sources& sources);

}  // namespace bindery
