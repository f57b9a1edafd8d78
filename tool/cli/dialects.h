// What the commands about dialects share.
#pragma once

#include "check/check.h"
#include "cli/session.h"
#include "dialect/check.h"

namespace bindery {

// The dialect of that name. Throws UsageError, with the nearest, where there is none.
Dialect find_dialect(const std::vector<Dialect>& dialects, const std::string& name);

// A file that another program wrote, under the path it was given; not sound where it is larger than what is read.
// Throws UsageError where it is no file.
SourceFile read_exported(const std::string& path);

// `dialect draft`.
Exit run_draft(const Options& options);

}  // namespace bindery
