#include "one_edit.h"

using namespace bindery;
using namespace bindery::test;

namespace {

std::string numbered(int from, int to) {
  std::string out;
  for (int i = from; i <= to; ++i) out += fmt::format("{}\n", i);
  return out;
}

}  // namespace

TEST_SUITE("edit/unified") {

TEST_CASE("the same texts have no difference") {
  CHECK(unified_diff("p.yaml", "", "") == "");
  CHECK(unified_diff("p.yaml", "a\n", "a\n") == "");
  CHECK(unified_diff("p.yaml", "a", "a") == "");
}

// Python's difflib.unified_diff and `diff -u` give the same hunks.
TEST_CASE("a change stands between three lines of context") {
  CHECK(unified_diff("a/p.yaml", numbered(1, 9), numbered(1, 4) + "x\n" + numbered(6, 9)) == R"(--- a/a/p.yaml
+++ b/a/p.yaml
@@ -2,7 +2,7 @@
 2
 3
 4
-5
+x
 6
 7
 8
)");
  CHECK(unified_diff("p", "a\n", "b\n") == "--- a/p\n+++ b/p\n@@ -1 +1 @@\n-a\n+b\n");
  CHECK(unified_diff("p", "", "a\nb\n") == "--- a/p\n+++ b/p\n@@ -0,0 +1,2 @@\n+a\n+b\n");
  CHECK(unified_diff("p", "a\n", "") == "--- a/p\n+++ b/p\n@@ -1 +0,0 @@\n-a\n");
}

TEST_CASE("changes share a hunk while their contexts touch") {
  std::string near = unified_diff("p", numbered(1, 20), "x\n" + numbered(2, 7) + "y\n" + numbered(9, 20));
  CHECK(near.find("@@ -1,11 +1,11 @@\n") != std::string::npos);
  CHECK(near.find("@@", near.find("@@\n") + 2) == std::string::npos);
  std::string far = unified_diff("p", numbered(1, 20), "x\n" + numbered(2, 8) + numbered(10, 20));
  CHECK(far.find("@@ -1,4 +1,4 @@\n-1\n+x\n 2\n 3\n 4\n@@ -6,7 +6,6 @@\n 6\n 7\n 8\n-9\n 10\n 11\n 12\n") != std::string::npos);
}

TEST_CASE("a missing last line break is marked") {
  CHECK(unified_diff("p", "a\nb", "a\nb\n") == "--- a/p\n+++ b/p\n@@ -1,2 +1,2 @@\n a\n-b\n\\ No newline at end of file\n+b\n");
  CHECK(unified_diff("p", "a\nb\n", "a\nb") == "--- a/p\n+++ b/p\n@@ -1,2 +1,2 @@\n a\n-b\n+b\n\\ No newline at end of file\n");
  CHECK(unified_diff("p", "a\nb", "x\nb") == "--- a/p\n+++ b/p\n@@ -1,2 +1,2 @@\n-a\n+x\n b\n\\ No newline at end of file\n");
  CHECK(unified_diff("p", "a", "a\nb\n") == "--- a/p\n+++ b/p\n@@ -1 +1,2 @@\n-a\n\\ No newline at end of file\n+a\n+b\n");
  CHECK(unified_diff("p", "a\nb\n", "a") == "--- a/p\n+++ b/p\n@@ -1,2 +1 @@\n-a\n-b\n+a\n\\ No newline at end of file\n");
}

TEST_CASE("a path with blanks ends with a tab, so that programs take it whole") {
  CHECK(unified_diff("my p", "a\n", "b\n").starts_with("--- a/my p\t\n+++ b/my p\t\n@@"));
}

}
