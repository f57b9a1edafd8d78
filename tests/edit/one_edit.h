// What the tests of edits share: one edit of one text.
#pragma once

#include <algorithm>
#include <string>
#include <utility>
#include <vector>

#include "../support.h"
#include "edit/edit.h"
#include "syntax/document.h"
#include "syntax/fragment.h"

namespace bindery::test {

inline FragmentEdit set_to(std::string key, std::string scalar, std::string fragment = "q") {
  FragmentEdit edit;
  edit.fragment = std::move(fragment);
  edit.key = std::move(key);
  edit.scalar = std::move(scalar);
  return edit;
}

inline FragmentEdit operate(std::string key, OpKind op, std::string scalar, std::string fragment = "q") {
  FragmentEdit edit = set_to(std::move(key), std::move(scalar), std::move(fragment));
  edit.op = op;
  return edit;
}

inline FragmentEdit list_to(std::string key, OpKind op, std::vector<std::string> items, std::string fragment = "q") {
  FragmentEdit edit = operate(std::move(key), op, "", std::move(fragment));
  edit.items = std::move(items);
  edit.is_list = true;
  return edit;
}

inline FragmentEdit in_adjust(FragmentEdit edit) {
  edit.adjust = true;
  return edit;
}

// The text after the edit; what was said, and of which bytes, where it was refused.
inline std::string edited(std::string text, const FragmentEdit& edit, std::string path = "profiles-src/process/q.yaml") {
  Sources sources = sources_of({{std::move(path), std::move(text)}});
  Diagnostics out;
  auto result = apply_edit(0, sources[0], edit, out);
  CHECK(result.has_value() == !out.any_errors());
  return result ? *result : told(out, sources);
}

}  // namespace bindery::test
