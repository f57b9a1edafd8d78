#include "report/line_diff.h"

#include "../support.h"

using namespace bindery;

namespace {

// The lines of one side, those of both included.
std::string side(const std::vector<DiffLine>& lines, DiffLine::Side wanted) {
  std::string out;
  for (const DiffLine& line : lines) {
    if (line.side == wanted || line.side == DiffLine::Side::both) out.append(line.text).append("\n");
  }
  return out;
}

std::size_t changed(const std::vector<DiffLine>& lines) {
  return static_cast<std::size_t>(std::count_if(lines.begin(), lines.end(), [](const DiffLine& line) { return line.side != DiffLine::Side::both; }));
}

}  // namespace

TEST_SUITE("report/line_diff") {

TEST_CASE("each side read alone gives its text back") {
  for (const auto& pair : {std::pair<std::string, std::string>{"a\nb\nc\n", "a\nx\nc\n"}, {"", "a\n"}, {"a\n", ""}, {"a\nb\n", "b\na\n"}, {"a\na\na\n", "a\n"}, {"a\n\nb\n", "a\nb\n\n"}}) {
    const std::string &left = pair.first, &right = pair.second;
    CAPTURE(left);
    CAPTURE(right);
    auto lines = line_diff(left, right);
    CHECK(side(lines, DiffLine::Side::left) == left);
    CHECK(side(lines, DiffLine::Side::right) == right);
  }
}

// The example of Myers, "An O(ND) Difference Algorithm", 1986 (from memory): ABCABBA to CBABAC takes 5 edits.
TEST_CASE("an edit is the shortest") {
  CHECK(changed(line_diff("A\nB\nC\nA\nB\nB\nA\n", "C\nB\nA\nB\nA\nC\n")) == 5);
  CHECK(changed(line_diff("a\nb\nc\n", "a\nb\nc\n")) == 0);
  CHECK(changed(line_diff("a\nb\nc\nd\n", "a\nc\nd\n")) == 1);
}

TEST_CASE("long texts that differ everywhere are still told in time") {
  std::string left, right;
  for (int i = 0; i < 20000; ++i) {
    left += fmt::format("left {}\n", i);
    right += fmt::format("right {}\n", i);
  }
  auto lines = line_diff(left, right);
  CHECK(lines.size() == 40000);
  CHECK(side(lines, DiffLine::Side::left) == left);
  CHECK(side(lines, DiffLine::Side::right) == right);
}

}
