// Dialects against the profiles of the sets: what is carried, what would be lost, what collides.
#pragma once

#include <vector>

#include "dialect/press.h"

namespace bindery {

// What came of one dialect.
struct DialectTally {
  const Dialect* dialect = nullptr;
  std::size_t files = 0, bytes = 0;       // that it writes for the sets; bytes only where it was thorough
  std::size_t rows = 0, unfed = 0;        // of all its files; unfed: that no profile gives a value
  std::size_t alone = 0, in_formula = 0;  // settings that a row carries alone, or in formulas only
  std::size_t without = 0;                // settings that it says the program has no place for
  std::size_t uncarried = 0;              // others that profiles set away from the default
};

struct DialectForm {
  unsigned jobs = 1;
  bool thorough = false;  // also rows that are never written, settings that no row carries, and files that do not read
                          // back as they were written
  bool bounded = false;   // refuse more than most::dialect_work, as for what strangers send
  bool by_tier = false;   // mark the reports on what is for supporters alone
};

// Presses every profile of the selection, on all cores, with the dialects that are not broken. Reports what is lossy,
// and files that two profiles make differently.
std::vector<DialectTally> check_dialects(const Tree& tree, const std::vector<Dialect>& dialects,
                                         const Selection& selection, const DialectForm& form, Diagnostics& out);

}  // namespace bindery
