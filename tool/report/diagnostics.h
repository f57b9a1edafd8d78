// Diagnostics as text for a person and as JSON for a program.
#pragma once

#include <string>

#include "base/diagnostic.h"
#include "base/json.h"
#include "source/source.h"

namespace bindery {

// Escape sequences round the parts of a message, or nothing.
struct Palette {
  std::string_view error, warning, note, place, help, plain;
  static Palette of(bool colour);
};

// `file:line:column: error[code]: message`, the source line with carets, related places, the help.
std::string diagnostics_text(const Diagnostics& diagnostics, const Sources& sources, const Palette& palette);

// "2 errors, 1 warning"; "no errors".
std::string tally(const Diagnostics& diagnostics);

// A list of the contract's objects: code, severity, message, place, help, related; and rule, profile, profiles.
void diagnostics_json(const Diagnostics& diagnostics, const Sources& sources, JsonWriter& json);

// "profiles-src/process/everyday.yaml:12:9", or the path alone for a whole file.
std::string place_text(const Sources& sources, Span span);

// The line that holds a place, without its indentation.
std::string_view line_at(const Sources& sources, Span span);

}  // namespace bindery
