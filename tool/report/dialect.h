// What `dialect check` prints.
#pragma once

#include <string>
#include <vector>

#include "dialect/check.h"
#include "report/diagnostics.h"

namespace bindery {

// A line each: files and bytes that it writes, its rows, and how many settings it carries.
std::string dialects_text(const std::vector<DialectTally>& tallies);
// {"dialects": [...], "diagnostics": [...]}
std::string dialects_json(const std::vector<DialectTally>& tallies, const Diagnostics& found, const Sources& sources);

}  // namespace bindery
