// Two texts as a unified diff, as POSIX describes it for `diff -u`; what lacks a last line break is marked.
#include <algorithm>

#include <fmt/format.h>

#include "edit/edit.h"
#include "report/line_diff.h"

namespace bindery {

namespace {

using Side = DiffLine::Side;

constexpr std::size_t context = 3;

struct Line {
  Side side = Side::both;
  std::string_view text;
  bool open = false;  // without a line break
};

bool is_open(std::string_view text) { return !text.empty() && text.back() != '\n'; }

// The lines of both texts; in each run of differing ones those of the left stand first.
std::vector<Line> compare(std::string_view before, std::string_view after) {
  auto lines = line_diff(before, after);
  std::size_t last_left = lines.size(), last_right = lines.size();
  for (std::size_t i = 0; i < lines.size(); ++i) {
    if (lines[i].side != Side::right && is_open(before)) last_left = i;
    if (lines[i].side != Side::left && is_open(after)) last_right = i;
  }
  std::vector<Line> out, added;
  auto flush = [&] {
    out.insert(out.end(), added.begin(), added.end());
    added.clear();
  };
  for (std::size_t i = 0; i < lines.size(); ++i) {
    bool left = i == last_left, right = i == last_right;
    if (lines[i].side == Side::both && left == right) {
      flush();
      out.push_back({Side::both, lines[i].text, left});
      continue;
    }
    if (lines[i].side != Side::right) out.push_back({Side::left, lines[i].text, left});
    if (lines[i].side != Side::left) added.push_back({Side::right, lines[i].text, right});
  }
  flush();
  return out;
}

// `7,3`: the first line and how many; of none the line before them, of one no count.
std::string range(std::size_t first, std::size_t count) {
  if (count == 1) return fmt::format("{}", first);
  return fmt::format("{},{}", count == 0 ? first - 1 : first, count);
}

}  // namespace

std::string unified_diff(std::string_view path, std::string_view before, std::string_view after) {
  if (before == after) return {};
  // A tab ends a name that holds blanks.
  std::string_view ending = path.find(' ') == std::string_view::npos ? "" : "\t";
  std::string out = fmt::format("--- a/{}{}\n+++ b/{}{}\n", path, ending, path, ending);
  auto lines = compare(before, after);
  auto differs = [&](std::size_t i) { return lines[i].side != Side::both; };
  std::size_t left = 1, right = 1, at = 0;  // the next line of each text, and of both together
  auto pass = [&](std::size_t end, bool write) {
    for (; at < end; ++at) {
      const Line& line = lines[at];
      if (line.side != Side::right) ++left;
      if (line.side != Side::left) ++right;
      if (!write) continue;
      out += line.side == Side::both ? ' ' : line.side == Side::left ? '-' : '+';
      out.append(line.text).append(line.open ? "\n\\ No newline at end of file\n" : "\n");
    }
  };
  for (std::size_t next = 0; next < lines.size();) {
    if (!differs(next)) {
      ++next;
      continue;
    }
    // The hunk goes on where no more lines are alike than the context of two changes holds.
    std::size_t end = next + 1;
    for (std::size_t i = end; i < lines.size() && i <= end + 2 * context; ++i) {
      if (differs(i)) end = i + 1;
    }
    pass(std::max(at, next - std::min(next, context)), false);
    std::size_t stop = std::min(end + context, lines.size()), of_left = 0, of_right = 0;
    for (std::size_t i = at; i < stop; ++i) {
      if (lines[i].side != Side::right) ++of_left;
      if (lines[i].side != Side::left) ++of_right;
    }
    out += fmt::format("@@ -{} +{} @@\n", range(left, of_left), range(right, of_right));
    pass(stop, true);
    next = stop;
  }
  return out;
}

}  // namespace bindery
