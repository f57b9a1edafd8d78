// What the words of the command line name.
#include "chronicle/side.h"

#include "../repository.h"
#include "base/failure.h"

using namespace bindery;
using test::Folder;
using test::Repository;

namespace {

// Two releases: 1.0.0 with a tag, 1.1.0 in the ledger alone; and a commit since.
struct Shelf : Repository {
  std::string second;

  Shelf() {
    for (const auto& [path, text] : test::small_tree()) folder.write(path, text);
    commit("first", "2020-01-02T03:04:05Z");
    git("tag v1.0.0");
    folder.write("profiles-src/machine/m.yaml", "title: Second\n");
    commit("second", "2020-02-02T03:04:05Z");
    second = id();
    folder.write(
        "release/ledger.yaml",
        fmt::format("releases:\n  - version: 1.1.0\n    date: 2020-02-03\n    time: 1580688000\n    commit: {}\n",
                    second));
    folder.write("profiles-src/machine/m.yaml", "title: Third\n");
    commit("third", "2020-03-02T03:04:05Z");
  }
  SideSource side(const std::string& word) const { return find_side(folder.path, word, known_releases(folder.path)); }
  std::string machine(const SideSource& source) const {
    OpenSide open;
    read_side(folder.path, source, nullptr, 1, open);
    FileId file = open.sources->find("profiles-src/machine/m.yaml");
    return file == no_file ? "none" : (*open.sources)[file].text;
  }
};

}  // namespace

TEST_SUITE("chronicle/side") {

TEST_CASE("a dot, or nothing, is the tree as it stands") {
  Shelf shelf;
  shelf.folder.write("profiles-src/machine/m.yaml", "title: Not committed\n");
  for (std::string word : {"", "."}) {
    SideSource side = shelf.side(word);
    CHECK(side.of == SideSource::Of::folder);
    CHECK(side.name == "working tree");
    CHECK(side.commit->id == shelf.id());
    CHECK_FALSE(side.version.has_value());
    CHECK(shelf.machine(side) == "title: Not committed\n");
  }
}

TEST_CASE("a version is that release, by its tag or by the ledger") {
  Shelf shelf;
  for (std::string word : {"1.0.0", "v1.0.0"}) {
    SideSource side = shelf.side(word);
    CHECK(side.name == "1.0.0");
    CHECK(side.version->text() == "1.0.0");
    CHECK(side.date == "2020-01-02");
    CHECK(side.commit->id == shelf.id("v1.0.0"));
    CHECK(shelf.machine(side) == "title: Machine\n");
  }
  SideSource ledger = shelf.side("1.1.0");
  CHECK(ledger.date == "2020-02-03");
  CHECK(ledger.commit->id == shelf.second);
  CHECK(shelf.machine(ledger) == "title: Second\n");
}

TEST_CASE("a branch or a commit is a revision without a version") {
  Shelf shelf;
  for (std::string word : {std::string("main"), shelf.id(), std::string("HEAD")}) {
    SideSource side = shelf.side(word);
    CHECK(side.of == SideSource::Of::revision);
    CHECK(side.name == word);
    CHECK_FALSE(side.version.has_value());
    CHECK(shelf.machine(side) == "title: Third\n");
  }
}

TEST_CASE("what is none of these is a mistake of the command line") {
  Shelf shelf;
  shelf.folder.write("notes.txt", "words");
  for (std::string word :
       {std::string("no-such-branch"), std::string("9.9.9"), (shelf.folder.path / "notes.txt").string(),
        (shelf.folder.path / "schema").string(), std::string(40, '1')}) {
    CAPTURE(word);
    CHECK_THROWS_AS(shelf.side(word), UsageError);
  }
}

TEST_CASE("a release whose commit is not here says how to get it") {
  Shelf shelf;
  shelf.folder.write(
      "release/ledger.yaml",
      fmt::format("releases:\n  - version: 1.2.0\n    date: 2020-02-03\n    commit: {}\n", std::string(40, '1')));
  auto releases = known_releases(shelf.folder.path);
  REQUIRE(releases.size() == 2);
  CHECK(releases[0].readable);
  CHECK_FALSE(releases[1].readable);
  try {
    shelf.side("1.2.0");
    FAIL("it was found");
  } catch (const UsageError& error) {
    CHECK(std::string(error.what()).find("1.2.0") != std::string::npos);
    CHECK(error.help.find("git fetch") != std::string::npos);
  }
}

TEST_CASE("outside git the tree alone is a side, and the ledger's releases cannot be read") {
  Folder folder;
  folder.write("release/ledger.yaml", "releases:\n  - version: 1.0.0\n    date: 2020-02-03\n");
  auto releases = known_releases(folder.path);
  REQUIRE(releases.size() == 1);
  CHECK_FALSE(releases[0].readable);
  CHECK_FALSE(find_side(folder.path, ".", releases).commit.has_value());
  CHECK_THROWS_AS(find_side(folder.path, "main", releases), UsageError);
}

}
