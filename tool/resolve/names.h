// The names that a condition admits: of `when`, `fits`, `take` and `leave`.
//
// They match a triple's own three names, fittings included, never ancestors. `*` matches any run of characters; a
// leading `!` excludes; the items of a list are alternatives, and the keys of a condition all hold.
#pragma once

#include <array>
#include <string_view>
#include <vector>

#include "base/diagnostic.h"
#include "syntax/fragment.h"
#include "syntax/limits.h"

namespace bindery {

struct Tree;
using FragmentId = std::uint32_t;

struct NamePattern {
  std::string_view glob;
  bool exclude = false;
  Span span;
};

// By kind; an empty list admits every name.
using NameCondition = std::array<std::vector<NamePattern>, kind_count>;

NameCondition name_condition(const Condition& raw);

// Do the patterns admit the name? `work`, if given, grows by what the tests take, in operations of formulas.
bool admits(const std::vector<NamePattern>& patterns, std::string_view name, std::uint64_t* work = nullptr);

// Do the names of a triple (its fragments by kind) satisfy the condition?
bool names_hold(const Tree& tree, const NameCondition& condition, const std::array<FragmentId, kind_count>& triple,
                std::uint64_t* work = nullptr);

// What looking for names has taken so far, over many conditions.
struct NameSearch {
  std::uint64_t work = 0;
  bool told = false;  // that it took too much
  bool spent() const { return work > most::name_work; }
};

// Reports names and globs that match no fragment, unless one may stand in a file that was not read: a warning in
// conditions (Code::pattern_unmatched), an error in `take` (Code::take_unmatched). Where `search` is spent, that is
// told once, and no more is looked for.
void report_unmatched(const Tree& tree, const NameCondition& condition, Code code, NameSearch& search,
                      Diagnostics& out);

}  // namespace bindery
