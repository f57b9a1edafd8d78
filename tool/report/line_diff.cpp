#include "report/line_diff.h"

#include <algorithm>
#include <cstdint>

namespace bindery {

namespace {

constexpr std::size_t most_comparisons = 4'000'000;

std::vector<std::string_view> split_lines(std::string_view text) {
  std::vector<std::string_view> lines;
  while (!text.empty()) {
    std::size_t end = std::min(text.find('\n'), text.size());
    lines.push_back(text.substr(0, end));
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return lines;
}

}  // namespace

std::vector<DiffLine> line_diff(std::string_view left, std::string_view right) {
  auto a = split_lines(left), b = split_lines(right);
  std::size_t head = 0, tail = 0, shorter = std::min(a.size(), b.size());
  while (head < shorter && a[head] == b[head]) ++head;
  while (tail < shorter - head && a[a.size() - 1 - tail] == b[b.size() - 1 - tail]) ++tail;
  std::vector<DiffLine> out;
  using Side = DiffLine::Side;
  for (std::size_t i = 0; i < head; ++i) out.push_back({Side::both, a[i]});
  std::size_t n = a.size() - head - tail, m = b.size() - head - tail;
  std::size_t i = 0, j = 0;
  if (n != 0 && m != 0 && n * m <= most_comparisons) {
    // common[i][j]: the longest common sequence of what is left from i and j on.
    std::vector<std::uint32_t> common((n + 1) * (m + 1), 0);
    auto at = [&](std::size_t x, std::size_t y) -> std::uint32_t& { return common[x * (m + 1) + y]; };
    for (std::size_t x = n; x-- > 0;) {
      for (std::size_t y = m; y-- > 0;)
        at(x, y) = a[head + x] == b[head + y] ? at(x + 1, y + 1) + 1 : std::max(at(x + 1, y), at(x, y + 1));
    }
    while (i < n && j < m) {
      if (a[head + i] == b[head + j]) {
        out.push_back({Side::both, a[head + i]});
        ++i;
        ++j;
      } else if (at(i + 1, j) >= at(i, j + 1)) {
        out.push_back({Side::left, a[head + i++]});
      } else {
        out.push_back({Side::right, b[head + j++]});
      }
    }
  }
  for (; i < n; ++i) out.push_back({Side::left, a[head + i]});
  for (; j < m; ++j) out.push_back({Side::right, b[head + j]});
  for (std::size_t k = a.size() - tail; k < a.size(); ++k) out.push_back({Side::both, a[k]});
  return out;
}

}  // namespace bindery
