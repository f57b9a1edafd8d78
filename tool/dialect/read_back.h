// Program's files to values: what a program's files have otherwise than the profile that they are versions of.
#pragma once

#include <string>
#include <vector>

#include "dialect/cell.h"
#include "dialect/press.h"

namespace bindery {

// A setting that the files give another value.
struct ReadValue {
  KeyId key = no_key;
  std::optional<CellValue> value;  // in the setting's unit; absent: it has none
  std::string row_key, text;       // what stands in the file
  Span span;                       // of the text
};

// What stands in the files and becomes no value.
struct Remainder {
  enum class Of : std::uint8_t {
    no_row,    // the dialect has no row for the key
    missing,   // the file lacks what the dialect writes
    left_out,  // a row that is not written for this profile
    constant,  // the row writes the same for all profiles
    script,    // another text than the script's
    formula,   // the row's formula cannot be turned back
  } of = Of::no_row;
  std::string key, text, expected;
  Span span;
};

struct ReadBack {
  std::vector<ReadValue> values;  // by the dictionary's order, once a setting
  std::vector<Remainder> rest;
  std::vector<std::pair<std::string, std::string>> files;  // path of each file read, and the dialect's name for it
};

// Reads the files, the texts of `sources`, which the program wrote for a profile that was resolved with `axes`.
// Reports, at their places, what is no file of the dialect, what a row cannot read, and two values for one setting.
ReadBack read_back(const Tree& tree, const Press& press, const Sources& sources, const Selected& selected,
                   const Profile& profile, const Resolver::Axes& axes, Diagnostics& out);

}  // namespace bindery
