// Diagnostics as SARIF 2.1.0 (OASIS), for viewers and forges.
#pragma once

#include <string>

#include "base/diagnostic.h"
#include "source/source.h"

namespace bindery {

// One run of one tool; every code that occurs is a rule. What has no place is told at the publisher's file.
std::string sarif_report(const Diagnostics& diagnostics, const Sources& sources, std::string_view tool_version);

}  // namespace bindery
