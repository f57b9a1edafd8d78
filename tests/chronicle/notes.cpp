// Which hand-written notes belong to a version. Release contract: "A note without `version` belongs to the first
// release whose tree holds its file (so it retires by itself); `version: 1.0.0` puts it to that version, also
// afterwards: a correction of a past version's note is the edit of its file."
#include "../support.h"
#include "chronicle/chapter.h"

using namespace bindery;

namespace {

using Notes = std::vector<ChapterNote>;

ChapterNote note(std::string path, std::string version = "", std::string text = "", std::string section = "Fixed",
                 Tier tier = Tier::supporter) {
  if (text.empty()) text = path;
  return {std::move(section), std::move(text), std::move(path), std::move(version), tier};
}

// The texts, a blank between.
std::string texts(std::string_view version, const Notes& own, const Notes& before, const Notes& today,
                  Tier audience = Tier::supporter, std::string_view from = "1.0.0") {
  auto known = [](std::string_view text) { return text.empty() ? std::nullopt : parse_version(text); };
  std::vector<std::string> out;
  for (const ChapterNote& each : notes_for(known(version), known(from), own, before, today, audience))
    out.push_back(each.text);
  return fmt::format("{}", fmt::join(out, " "));
}

}  // namespace

TEST_SUITE("chronicle/notes") {

TEST_CASE("a note without a version belongs to the first release that holds its file") {
  const Notes first = {note("a")}, second = {note("a"), note("b")};
  CHECK(texts("1.0.0", first, {}, second) == "a");
  CHECK(texts("1.1.0", second, first, second) == "b");
  CHECK(texts("", second, second, second) == "");
}

TEST_CASE("a note of the tree that is not yet released is told") {
  CHECK(texts("", {note("a"), note("b")}, {note("a")}, {note("a"), note("b")}) == "b");
}

TEST_CASE("a note with a version belongs to that version alone") {
  const Notes all = {note("a", "1.1.0")};
  CHECK(texts("1.1.0", all, {}, all) == "a");
  CHECK(texts("1.0.0", all, {}, all) == "");
  CHECK(texts("1.2.0", all, all, all) == "");
  CHECK(texts("1.2.0", all, {}, all) == "");
}

TEST_CASE("a note with a version that is to come is told of what is not yet released, one with a past version is not") {
  const Notes all = {note("next", "1.1.0"), note("past", "1.0.0"), note("older", "0.9.0")};
  CHECK(texts("", all, {}, all) == "next");
  CHECK(texts("", all, all, all) == "next");
  CHECK(texts("", all, {}, all, Tier::supporter, "") == "next older past");  // nothing was released yet
}

TEST_CASE("a note that is written later for a past version is told there") {
  CHECK(texts("1.0.0", {}, {}, {note("late", "1.0.0")}) == "late");
  CHECK(texts("1.1.0", {}, {}, {note("late", "1.0.0")}) == "");
}

TEST_CASE("a note that names its version stays with it, though an earlier release held its file") {
  CHECK(texts("1.1.0", {note("a", "1.1.0")}, {note("a", "1.1.0")}, {note("a", "1.1.0")}) == "a");
}

TEST_CASE("what the file says today is what is told of a past version") {
  CHECK(texts("1.0.0", {note("a", "", "wrong")}, {}, {note("a", "", "right")}) == "right");
  CHECK(texts("1.0.0", {note("a", "1.0.0", "wrong")}, {}, {note("a", "1.0.0", "right")}) == "right");
}

TEST_CASE("a note whose file is gone today is told as it was") {
  CHECK(texts("1.0.0", {note("a", "", "as it was")}, {}, {}) == "as it was");
}

TEST_CASE("a version is compared by precedence: build metadata does not count") {
  CHECK(texts("1.0.0+x", {note("a", "1.0.0")}, {}, {note("a", "1.0.0")}) == "a");
}

TEST_CASE("the free audience is told the notes that say free") {
  const Notes own = {note("a", "", "paid"), note("b", "", "free", "Fixed", Tier::free)};
  CHECK(texts("1.0.0", own, {}, own, Tier::free) == "free");
  CHECK(texts("1.0.0", own, {}, own) == "paid free");
}

TEST_CASE("a note whose tier was corrected is told to whom it says today") {
  CHECK(texts("1.0.0", {note("a", "", "x", "Fixed", Tier::free)}, {}, {note("a", "", "x")}, Tier::free) == "");
  CHECK(texts("1.0.0", {note("a", "", "x")}, {}, {note("a", "", "x", "Fixed", Tier::free)}, Tier::free) == "x");
}

TEST_CASE("notes stand by section, what can hurt first, then by path") {
  const Notes own = {note("f", "", "", "Removed"), note("e", "", "", "Fixed"),  note("d", "", "", "Changed"),
                     note("c", "", "", "Added"),   note("b", "", "", "Safety"), note("a", "", "", "Fixed")};
  CHECK(texts("1.0.0", own, {}, own) == "b c d a e f");
}

}
