// Reading `macros:` of a machine.
#pragma once

#include <vector>

#include "syntax/fields.h"
#include "syntax/fragment.h"

namespace bindery {

std::vector<RawMacro> read_macros(const Document& doc, const Field& field, Diagnostics& out);

}  // namespace bindery
