// Edits of a fragment's YAML that leave all else as it stands: comments, order, blank lines, style.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/diagnostic.h"
#include "source/source.h"
#include "syntax/fragment.h"

namespace bindery {

// One key of a fragment given another value, in `settings` or in `adjust` of its own part (never in a `when` block).
struct FragmentEdit {
  std::string fragment;  // its name: "heron-220", or "heron-220+0.4" for a fitting of that file
  bool adjust = false;
  std::string key;
  OpKind op = OpKind::set;
  std::string scalar;              // of set, calc, add, scale: as the language writes it, `150 mm/s`
  std::vector<std::string> items;  // of a list (is_list), append and remove
  bool is_list = false;
};

// The text of the file after the edit. Where the key is written already, its value alone is replaced, and of a value of
// the same operation the scalar alone; otherwise a line is added where its neighbours stand: below the deepest mapping
// that its beginning has already, else dotted at the end of `settings` or `adjust`, which is added where there is none,
// before what comes later in the order of the language. Block or flow style, line breaks and depth are kept as they are
// there. Scalars are quoted where YAML asks for it. The result is read again before it is given: it holds the value at
// the key, and beside it all that the file held. Gives nothing after a report where the file is no fragment, has none
// of that name, or has no place for the key, as where the key is the beginning of others.
std::optional<std::string> apply_edit(FileId id, const SourceFile& file, const FragmentEdit& edit, Diagnostics& out);

// The difference of two texts as a unified diff: a head of two lines with the path, three lines of context.
// Empty where they are the same.
std::string unified_diff(std::string_view path, std::string_view before, std::string_view after);

}  // namespace bindery
