// The difference of two texts, line by line.
#pragma once

#include <string_view>
#include <vector>

namespace bindery {

struct DiffLine {
  enum class Side { both, left, right } side = Side::both;
  std::string_view text;
};

// A shortest edit from `left` to `right` as a sequence of lines; each side read alone gives its text back. Beyond
// four million comparisons the differing middle is given whole, the left one first.
std::vector<DiffLine> line_diff(std::string_view left, std::string_view right);

}  // namespace bindery
