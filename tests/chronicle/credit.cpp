// Who made an edit, and by which commits.
#include "../comparison.h"
#include "../repository.h"
#include "chronicle/chapter.h"

using namespace bindery;
using test::Files;
using test::Repository;
using test::small_tree;

namespace {

constexpr const char* by_a = "--author='A. Author <a@example.org>'";
constexpr const char* by_b = "--author='B. Author <b@example.org>'";
constexpr const char* by_c = "--author='C. Author <c@example.org>'";

// A tree under version control, told step by step.
class History {
 public:
  explicit History(const Files& files) : before_(files), now_(files) {
    write(files);
    repository.commit("start", "2020-01-01T00:00:00Z");
    start_.id = repository.id();
  }

  // The next commit, with these files written; an empty text takes a file away. Its letter is "1", "2"...
  void step(const Files& files, const char* author) {
    write(files);
    repository.commit("step", fmt::format("2020-01-0{}T00:00:00Z", steps_.size() + 2), author);
    steps_.push_back(repository.id());
  }
  void note_step(const std::string& id) { steps_.push_back(id); }

  // What is told at the end: "process/q settings wall.count: 1 2", a line each edit, and the contributors.
  std::string told() {
    test::Twins twins(before_, now_);
    Chapter chapter;
    chapter.changes = twins.changes();
    credit(repository.folder.path, &start_, {repository.id(), 0}, chapter);
    std::set<std::string> lines;
    REQUIRE(chapter.commits.size() == chapter.changes.edits.size());
    for (std::size_t i = 0; i < chapter.commits.size(); ++i) {
      std::string line = test::edit_line(chapter.changes.edits[i]) + ":";
      for (const std::string& commit : chapter.commits[i])
        line += fmt::format(" {}", std::find(steps_.begin(), steps_.end(), commit) - steps_.begin() + 1);
      lines.insert(line);
    }
    return fmt::format("{}\n{}", fmt::join(lines, "\n"), fmt::join(chapter.contributors, ", "));
  }

  Repository repository;

  void write(const Files& files) {
    for (const auto& [path, text] : files) {
      if (text.empty()) std::filesystem::remove(repository.folder.path / path);
      else repository.folder.write(path, text);
      if (text.empty()) now_.erase(path);
      else now_[path] = text;
    }
  }

 private:
  Files before_, now_;
  Commit start_;
  std::vector<std::string> steps_;
};

constexpr const char* q = "profiles-src/process/q.yaml";
constexpr const char* m = "profiles-src/machine/m.yaml";

std::string process(int count, int fan, std::string_view more = "") {
  return fmt::format("settings:\n  wall.count: {}\n  fan.duty: {} %\n{}", count, fan, more);
}

}  // namespace

TEST_SUITE("chronicle/credit") {

TEST_CASE("a commit that touches files which are no fragments is read like any other") {
  History history(small_tree("", "", process(1, 40)));
  history.step({{q, process(2, 40)},
                {"profiles-src/dialect/d.yaml", "files: { f: { family: ini, path: x, rows: [ { key: a, text: b } ] } }\n"},
                {"profiles-src/trial/t.yaml", "profile: m/p/q\n"}},
               by_a);
  CHECK(history.told() == "dialect/d words table:\nprocess/q settings wall.count: 1\nA. Author");
}

TEST_CASE("two commits on one file are credited each for its own edit") {
  History history(small_tree("", "", process(3, 50)));
  history.step({{q, process(4, 50)}}, by_a);
  history.step({{q, process(4, 60)}}, by_b);
  CHECK(history.told() == "process/q settings fan.duty: 2\nprocess/q settings wall.count: 1\nA. Author, B. Author");
}

TEST_CASE("an edit in several steps has all their commits, the older first") {
  History history(small_tree("", "", process(3, 50)));
  history.step({{q, process(4, 50)}}, by_a);
  history.step({{q, process(4, 60)}}, by_b);
  history.step({{q, process(5, 60)}}, by_c);
  CHECK(history.told() ==
        "process/q settings fan.duty: 2\nprocess/q settings wall.count: 1 3\nA. Author, B. Author, C. Author");
}

TEST_CASE("a commit that lays a file out anew is credited for nothing") {
  History history(small_tree("", "", process(3, 50)));
  history.step({{q, process(4, 50)}}, by_a);
  history.step({{q, "# words\nsettings: { wall: { count: 4 }, fan.duty: 50 % }\n"}}, by_b);
  CHECK(history.told() == "process/q settings wall.count: 1\nA. Author");
}

TEST_CASE("who edited what changes nothing is no contributor") {
  History history(small_tree("settings: { wall.count: 7 }\n", "", process(3, 50)));
  history.step({{m, "settings: { wall.count: 8 }\n"}}, by_a);
  history.step({{q, process(4, 50)}}, by_b);
  CHECK(history.told() == "machine/m settings wall.count: 1\nprocess/q settings wall.count: 2\nB. Author");
}

TEST_CASE("a fragment that came or went is credited to who brought or took it") {
  History history(small_tree("", "", "", {{"profiles-src/process/old.yaml", "title: Old\n"}}));
  history.step({{"profiles-src/process/new.yaml", "title: New\n"}}, by_a);
  history.step({{"profiles-src/process/old.yaml", ""}}, by_b);
  CHECK(history.told() == "process/new fragment fragment: 1\nprocess/old fragment fragment: 2\nA. Author, B. Author");
}

TEST_CASE("an edit of the dictionary is credited by its entry") {
  std::string text(test::dictionary);
  History history(small_tree());
  text.replace(text.find("default: 150 mm/s"), 17, "default: 160 mm/s");
  history.step({{"schema/settings.yaml", text}}, by_a);
  text.replace(text.find("default: 50 %"), 13, "default: 55 %");
  history.step({{"schema/settings.yaml", text}}, by_b);
  CHECK(history.told() == "schema default fan.duty: 2\nschema default travel.speed: 1\nA. Author, B. Author");
}

TEST_CASE("an edit before a file moved keeps its commit") {
  History history(small_tree("", "", process(3, 50)));
  history.step({{q, process(4, 50)}}, by_a);
  history.step({{q, ""}, {"profiles-src/process/slow/q.yaml", process(4, 50)}}, by_b);
  CHECK(history.told() == "process/q settings wall.count: 1\nA. Author");
}

TEST_CASE("a clean merge is credited for nothing") {
  History history(small_tree("", "", process(3, 50)));
  history.repository.git("checkout -q -b side");
  history.step({{q, process(4, 50)}}, by_a);
  history.repository.git("checkout -q main");
  history.step({{m, "title: Machine\nsettings: { travel.speed: 100 mm/s }\n"}}, by_b);
  history.repository.git("merge -q --no-ff --no-edit side");
  history.note_step(history.repository.id());
  CHECK(history.told() == "machine/m settings travel.speed: 2\nprocess/q settings wall.count: 1\nA. Author, B. Author");
}

TEST_CASE("a clean merge of two edits of one file is credited for neither") {
  const std::string rest = "  wall.width: 0.5 mm\n  layer.height: 0.2 mm\n  spiral.on: false\n  seam.place: rear\n";
  auto file = [&](int first, int last) {
    return fmt::format("settings:\n  wall.count: {}\n{}  fan.duty: {} %\n", first, rest, last);
  };
  History history(small_tree("", "", file(3, 50)));
  history.repository.git("checkout -q -b side");
  history.step({{q, file(4, 50)}}, by_a);
  history.repository.git("checkout -q main");
  history.step({{q, file(3, 60)}}, by_b);
  history.repository.git("merge -q --no-ff --no-edit side");
  history.note_step(history.repository.id());
  history.write({{q, file(4, 60)}});
  CHECK(history.told() == "process/q settings fan.duty: 2\nprocess/q settings wall.count: 1\nA. Author, B. Author");
}

TEST_CASE("an edit inside a block is not credited to who edited the same setting outside") {
  auto file = [](int outside, int inside) {
    return fmt::format(
        "settings: {{ wall.count: {} }}\nwhen:\n  - if: {{ material: p }}\n    settings: {{ wall.count: {} }}\n",
        outside, inside);
  };
  History history(small_tree("", "", file(3, 5)));
  history.step({{q, file(4, 5)}}, by_a);
  history.step({{q, file(4, 6)}}, by_b);
  CHECK(history.told() ==
        "process/q settings wall.count [material: [p]]: 2\nprocess/q settings wall.count: 1\nB. Author");
}

TEST_CASE("who edits another part of a dictionary's entry is not credited for its default") {
  std::string text(test::dictionary);
  History history(small_tree());
  text.replace(text.find("default: 0.2 mm, range: [0.05, 1]"), 33, "default: 0.2 mm, range: [0.05, 2]");
  history.step({{"schema/settings.yaml", text}}, by_a);
  text.replace(text.find("default: 0.2 mm"), 15, "default: 0.3 mm");
  history.step({{"schema/settings.yaml", text}}, by_b);
  CHECK(history.told() == "schema default layer.height: 2\nschema range layer.height: 1\nA. Author, B. Author");
}

TEST_CASE("without an earlier commit the whole history is looked at") {
  Repository repository;
  for (const auto& [path, text] : small_tree("", "", process(3, 50))) repository.folder.write(path, text);
  repository.commit("start", "2020-01-01T00:00:00Z", by_a);
  test::Twins twins(small_tree("", "", process(2, 50)), small_tree("", "", process(3, 50)));
  Chapter chapter;
  chapter.changes = twins.changes();
  credit(repository.folder.path, nullptr, {repository.id(), 0}, chapter);
  REQUIRE(chapter.commits.size() == 1);
  CHECK(chapter.commits[0] == std::vector<std::string>{repository.id()});
  CHECK(chapter.contributors == std::vector<std::string>{"A. Author"});
  CHECK_FALSE(chapter.cut);
}

TEST_CASE("who edits words alone is no contributor") {
  std::string text(test::dictionary);
  History history(small_tree("title: M\n"));
  text.replace(text.find("How fast walls are laid."), 24, "How fast a wall is laid.");
  history.step({{"schema/settings.yaml", text}}, by_a);
  history.step({{m, "title: Other\n"}}, by_b);
  CHECK(history.told() == "machine/m words title: 2\nschema words wall.speed: 1\n");
}

}
