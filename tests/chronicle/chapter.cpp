// What one version says of itself, told from a history.
#include "chronicle/chapter.h"

#include "../comparison.h"
#include "../repository.h"

using namespace bindery;
using test::Repository;

namespace {

constexpr const char* q = "profiles-src/process/q.yaml";

// 1.0.0, 1.1.0 (travel speed), 2.0.0-rc.1 (a profile less), and a working tree with more.
struct Story : Repository {
  Story() {
    for (const auto& [path, text] :
         test::small_tree("", "", "title: Q\n", {{"profiles-src/process/old.yaml", "title: Old\n"}}))
      folder.write(path, text);
    folder.write("release/notes/first.yaml", "section: Added\ntier: free\ntext: The first.\n");
    commit("first", "2020-01-02T00:00:00Z", "--author='A. Author <a@example.org>'");
    git("tag v1.0.0");
    folder.write(q, "title: Q\nsettings: { travel.speed: 100 mm/s }\n");
    folder.write("release/notes/second.yaml", "section: Fixed\ntext: The second.\n");
    commit("second", "2020-02-02T00:00:00Z", "--author='B. Author <b@example.org>'");
    git("tag v1.1.0");
    std::filesystem::remove(folder.path / "profiles-src/process/old.yaml");
    commit("third", "2020-03-02T00:00:00Z", "--author='C. Author <c@example.org>'");
    git("tag v2.0.0-rc.1");
  }
  Chapter tell(const std::string& from, const std::string& to, const View& view = {}, bool remember = false) const {
    Chronicle chronicle(folder.path, 2, remember);
    std::optional<SideSource> old;
    if (!from.empty()) old = chronicle.side(from);
    SideSource now = chronicle.side(to);
    std::optional<BrokenSide> broken;
    auto chapter =
        chronicle.tell(old ? &*old : nullptr, now, nullptr, chronicle.notes_of(chronicle.side(".")), view, broken);
    REQUIRE_FALSE(broken.has_value());
    REQUIRE(chapter.has_value());
    return std::move(*chapter);
  }
  std::string before(std::string_view version) const {
    auto side = Chronicle(folder.path, 1, false).before(version.empty() ? std::nullopt : parse_version(version));
    return side ? side->name : "none";
  }
};

std::string notes(const Chapter& chapter) {
  std::vector<std::string> out;
  for (const ChapterNote& note : chapter.notes) out.push_back(note.text);
  return fmt::format("{}", fmt::join(out, " "));
}

}  // namespace

TEST_SUITE("chronicle/chapter") {

TEST_CASE("a chapter tells what a release changed, by whom, and its notes") {
  Chapter chapter = Story().tell("1.0.0", "1.1.0");
  CHECK(chapter.from == "1.0.0");
  CHECK(chapter.to == "1.1.0");
  CHECK(chapter.date == "2020-02-02");
  CHECK_FALSE(chapter.first);
  CHECK(test::change_of(chapter.changes, "travel.speed") == "150 -> 100 by process/q settings travel.speed");
  CHECK(chapter.contributors == std::vector<std::string>{"B. Author"});
  CHECK(notes(chapter) == "The second.");
  CHECK(chapter.suggested == "1.1.0");
  CHECK(chapter.reason == "minor: 1 profile changed; nothing removed");
}

TEST_CASE("the free audience is told the free notes alone") {
  Story story;
  CHECK(notes(story.tell("1.0.0", "1.1.0", {Tier::free, false})) == "");
  CHECK(notes(story.tell("", "1.0.0", {Tier::free, false})) == "The first.");
}

TEST_CASE("a first release has all its profiles for news, and no edits") {
  Chapter chapter = Story().tell("", "1.0.0");
  CHECK(chapter.first);
  CHECK(chapter.from == "");
  CHECK(chapter.reason == "a first release");
  CHECK(chapter.changes.added.size() == 2);
  CHECK(chapter.changes.edits.empty());
  CHECK(notes(chapter) == "The first.");
}

TEST_CASE("the working tree is told as it stands, with its next version") {
  Story story;
  story.folder.write(q, "title: Q\nsettings: { travel.speed: 90 mm/s }\n");
  Chapter chapter = story.tell("1.1.0", ".");
  CHECK(chapter.to == "working tree");
  CHECK(test::change_of(chapter.changes, "travel.speed") == "100 -> 90 by process/q settings travel.speed");
  CHECK(chapter.suggested == "2.0.0");  // a profile is gone since
  CHECK(chapter.reason.starts_with("major: 1 profile removed"));
}

TEST_CASE("a note alone is a patch") {
  Story story;
  story.folder.write("release/notes/late.yaml", "section: Fixed\ntext: Words.\n");
  Chapter chapter = story.tell("2.0.0-rc.1", ".");
  CHECK(chapter.changes.empty());
  CHECK(chapter.level == Level::patch);
  CHECK(chapter.suggested == "2.0.0");
}

TEST_CASE("without any change the version stays") {
  Chapter chapter = Story().tell("2.0.0-rc.1", ".");
  CHECK(chapter.level == Level::none);
  CHECK(chapter.suggested == "2.0.0-rc.1");
  CHECK(chapter.reason == "none: nothing changed");
}

TEST_CASE("the release before is found by precedence, and by the ledger where that says otherwise") {
  Story story;
  CHECK(story.before("") == "1.1.0");  // pre-releases are passed over
  CHECK(story.before("2.0.0-rc.2") == "2.0.0-rc.1");
  CHECK(story.before("1.1.0") == "1.0.0");
  CHECK(story.before("1.0.0") == "none");
  story.folder.write("release/ledger.yaml", "releases:\n  - version: 2.0.0\n    date: 2020-05-05\n    since: 1.0.0\n");
  CHECK(story.before("2.0.0") == "1.0.0");
}

TEST_CASE("what is remembered is told as what is found anew, also with the contents of what was added") {
  Story story;
  story.folder.write("profiles-src/process/new.yaml", "title: New\n");
  for (bool contents : {false, true}) {
    const View view{Tier::supporter, contents};
    const std::string fresh = test::dump(story.tell("1.0.0", ".", view).changes);
    CHECK(test::dump(story.tell("1.0.0", ".", view, true).changes) == fresh);  // kept
    CHECK(test::dump(story.tell("1.0.0", ".", view, true).changes) == fresh);  // found again
  }
  CHECK(std::filesystem::exists(story.folder.path / ".bindery" / "changes"));
  CHECK(story.tell("1.0.0", ".", {Tier::supporter, true}, true).changes.contents.size() == 1);
}

TEST_CASE("a damaged memory is not believed") {
  Story story;
  const std::string fresh = test::dump(story.tell("1.0.0", "1.1.0", {}, true).changes);
  for (const auto& entry : std::filesystem::directory_iterator(story.folder.path / ".bindery" / "changes")) {
    std::fstream file(entry.path(), std::ios::binary | std::ios::in | std::ios::out);
    file.seekp(200);
    file.put('\x7f');
  }
  CHECK(test::dump(story.tell("1.0.0", "1.1.0", {}, true).changes) == fresh);
}

TEST_CASE("an edit after it was remembered is told all the same") {
  Story story;
  story.tell("1.0.0", ".", {}, true);
  story.folder.write(q, "title: Q\nsettings: { travel.speed: 80 mm/s }\n");
  CHECK(test::change_of(story.tell("1.0.0", ".", {}, true).changes, "travel.speed") ==
        "150 -> 80 by process/q settings travel.speed");
}

TEST_CASE("a side with an error is named, and nothing is told") {
  Story story;
  story.folder.write(q, "settings: { no.such.key: 1 }\n");
  Chronicle chronicle(story.folder.path, 1, false);
  SideSource old = chronicle.side("1.0.0"), now = chronicle.side(".");
  std::optional<BrokenSide> broken;
  CHECK_FALSE(chronicle.tell(&old, now, nullptr, {}, {}, broken).has_value());
  REQUIRE(broken.has_value());
  CHECK(broken->name == "working tree");
  CHECK(broken->side.diagnostics.any_errors());
}

}
