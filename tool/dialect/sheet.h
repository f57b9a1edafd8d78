// Sheets: plain texts after a template, in which `@{key}` stands for what the row of that key writes. A line whose
// placeholders are all left out is left out. In a sheet for all profiles the lines between a line `@{each}` and a line
// `@{end}` stand once for each.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "dialect/dialect.h"

namespace bindery {

// What is wrong with a template, at bytes of its text.
struct SheetFault {
  std::size_t at = 0, length = 0;
  std::string message, help;
};
std::vector<SheetFault> check_sheet(const DialectFile& file);

// The text of a sound template with the entries of each part; a sheet of one profile has one part.
std::string write_sheet(const DialectFile& file, const std::vector<std::vector<Entry>>& parts);

// Reads a sheet back; entries of a sheet for all profiles stand in sections "1", "2" ... Reports the first line that is
// not as the template has it, and gives nothing.
std::optional<FileContent> read_sheet(const DialectFile& file, FileId id, const SourceFile& source, Diagnostics& out);

}  // namespace bindery
