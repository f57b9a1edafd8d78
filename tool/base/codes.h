// The codes of diagnostics, from the one table in codes.def.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

namespace bindery {

enum class Severity : std::uint8_t { error, warning, note };
std::string_view name_of(Severity severity);

enum class Code : std::uint16_t {
#define X(name, severity, title, explanation) name,
#include "base/codes.def"
#undef X
};

struct CodeEntry {
  Code code;
  std::string_view name;  // with hyphens: "setting-unknown"
  Severity severity;
  std::string_view title;
  std::string_view explanation;
};

const CodeEntry& describe(Code code);
std::span<const CodeEntry> all_codes();

}  // namespace bindery
