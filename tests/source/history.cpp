#include "source/history.h"

#include "../repository.h"
#include "base/digest.h"
#include "base/failure.h"

using namespace bindery;
using test::Folder;
using test::Repository;

namespace {

const std::vector<std::string> wanted = {"profiles-src/machine/m.yaml", "profiles-src/material/p.yaml",
                                         "profiles-src/process/q.yaml"};

void write(const Repository& repository, std::string_view name, std::string_view text) {
  const std::map<std::string_view, std::string> paths = {{"m", wanted[0]}, {"p", wanted[1]}, {"q", wanted[2]}};
  repository.folder.write(paths.at(name), text);
}

// One commit with all three files.
struct Started : Repository {
  Started() {
    for (std::string_view each : {"m", "p", "q"}) write(*this, each, "title: one\n");
    commit("start", "2020-01-01T00:00:00Z");
    git("tag start");
  }
  // "m by A. Author; p, q by B. Author and C. Author": each commit since `from`, the older first.
  std::string told(const std::string& from = "start", const std::vector<std::string>& paths = wanted) const {
    std::string out;
    for (const HistoryCommit& each : read_history(folder.path, from.empty() ? "" : id(from), id(), paths).commits) {
      CHECK(each.id.size() == 40);
      std::vector<std::string> names;
      for (const TouchedFile& file : each.touched) names.push_back(std::filesystem::path(file.path).stem().string());
      out +=
          fmt::format("{}{} by {}", out.empty() ? "" : "; ", fmt::join(names, ", "), fmt::join(each.people, " and "));
    }
    return out;
  }
};

constexpr const char* by_a = "--author='A. Author <a@example.org>'";
constexpr const char* by_b = "--author='B. Author <b@example.org>'";

}  // namespace

TEST_SUITE("source/history") {

TEST_CASE("each commit tells the files that it wrote otherwise, the older first") {
  Started repository;
  write(repository, "m", "title: two\n");
  repository.commit("second", "2020-01-02T00:00:00Z", by_a);
  write(repository, "q", "title: two\n");
  write(repository, "p", "title: two\n");
  repository.commit("third", "2020-01-03T00:00:00Z", by_b);
  CHECK(repository.told() == "m by A. Author; p, q by B. Author");
  CHECK(repository.told("") == "m, p, q by Tester; m by A. Author; p, q by B. Author");
  CHECK(repository.told("HEAD") == "");
}

TEST_CASE("files that are not asked for do not count") {
  Started repository;
  repository.folder.write("README.md", "words\n");
  repository.folder.write("profiles-src/machine/other.yaml", "title: other\n");
  repository.commit("second", "2020-01-02T00:00:00Z", by_a);
  CHECK(repository.told() == "");
  CHECK(repository.told("start", {}) == "");
}

TEST_CASE("the names of the bytes before and after are git's own") {
  Started repository;
  write(repository, "m", "title: two\n");
  std::filesystem::remove(repository.folder.path / wanted[1]);
  repository.commit("second", "2020-01-02T00:00:00Z");
  History history = read_history(repository.folder.path, repository.id("start"), repository.id(), wanted);
  REQUIRE(history.commits.size() == 1);
  REQUIRE(history.commits[0].touched.size() == 2);
  const TouchedFile &changed = history.commits[0].touched[0], &gone = history.commits[0].touched[1];
  CHECK(changed.olds == std::vector<std::string>{repository.id("start:" + wanted[0])});
  CHECK(changed.now == repository.id("HEAD:" + wanted[0]));
  CHECK(changed.now == blob_name("title: two\n"));
  CHECK(gone.now == "");
  CHECK(read_blob(repository.folder.path, changed.olds.at(0)) == "title: one\n");
  CHECK(read_blob(repository.folder.path, changed.now) == "title: two\n");
  CHECK(read_blob(repository.folder.path, "") == "");
  CHECK_THROWS_AS(read_blob(repository.folder.path, std::string(40, '1')), SystemError);
}

TEST_CASE("a mode alone is no change of a file") {
  Started repository;
  std::filesystem::permissions(repository.folder.path / wanted[0], std::filesystem::perms::owner_all);
  repository.commit("executable", "2020-01-02T00:00:00Z");
  CHECK(repository.told() == "");
}

TEST_CASE("what a merge takes from one of its sides was made there") {
  Started repository;
  repository.git("checkout -q -b side");
  write(repository, "p", "title: two\n");
  repository.commit("aside", "2020-01-02T00:00:00Z", by_a);
  repository.git("checkout -q main");
  write(repository, "m", "title: two\n");
  repository.commit("ahead", "2020-01-03T00:00:00Z", by_b);
  repository.git("merge -q --no-edit --no-ff side");
  CHECK(repository.told() == "p by A. Author; m by B. Author");
}

TEST_CASE("what a merge writes otherwise than all its sides is its own") {
  Started repository;
  repository.git("checkout -q -b side");
  write(repository, "p", "title: two\n");
  repository.commit("aside", "2020-01-02T00:00:00Z", by_a);
  repository.git("checkout -q main");
  write(repository, "m", "title: two\n");
  repository.commit("ahead", "2020-01-03T00:00:00Z", by_b);
  repository.git("merge -q --no-ff --no-commit side");
  write(repository, "q", "title: by hand\n");
  repository.commit("merge", "2020-01-04T00:00:00Z");
  CHECK(repository.told() == "p by A. Author; m by B. Author; q by Tester");
  History history = read_history(repository.folder.path, repository.id("start"), repository.id(), wanted);
  const std::string old = repository.id("start:" + wanted[2]);
  CHECK(history.commits.at(2).touched.at(0).olds == std::vector<std::string>{old, old});  // in each parent
}

TEST_CASE("the first commit of all has nothing before it") {
  Started repository;
  History history = read_history(repository.folder.path, "", repository.id(), wanted);
  REQUIRE(history.commits.size() == 1);
  CHECK(history.commits[0].touched.at(0).olds == std::vector<std::string>{""});
}

// Trailers of a commit message: git interpret-trailers(1); by its key, whatever the case of letters.
TEST_CASE("who is named in a Co-authored-by trailer takes part, once") {
  Started repository;
  write(repository, "m", "title: two\n");
  repository.commit(
      "second\n\nWords.\n\nCo-authored-by: C. Author <c@example.org>\nco-authored-by: A. Author "
      "<a@example.org>\nReviewed-by: D. Reader <d@example.org>",
      "2020-01-02T00:00:00Z", by_a);
  CHECK(repository.told() == "m by A. Author and C. Author");
}

// gitmailmap(5): "Proper Name <proper@email.xx> Commit Name <commit@email.xx>".
TEST_CASE("names are those of .mailmap") {
  Started repository;
  repository.folder.write(".mailmap",
                          "Ada Author <ada@example.org> A. Author <a@example.org>\nCleo Author <c@example.org>\n");
  write(repository, "m", "title: two\n");
  repository.commit("second\n\nCo-authored-by: C. Author <c@example.org>", "2020-01-02T00:00:00Z", by_a);
  CHECK(repository.told() == "m by Ada Author and Cleo Author");
}

TEST_CASE("a tree in a folder of the repository has its own paths") {
  Repository repository;
  repository.folder.write("below/profiles-src/machine/m.yaml", "title: one\n");
  repository.commit("start", "2020-01-01T00:00:00Z");
  History history = read_history(repository.folder.path / "below", "", repository.id(), wanted);
  REQUIRE(history.commits.size() == 1);
  CHECK(history.commits[0].touched.at(0).path == "profiles-src/machine/m.yaml");
}

TEST_CASE("a shallow clone says that some of the history is not here") {
  Started repository;
  for (std::string_view text : {"title: two\n", "title: three\n"}) {
    write(repository, "m", text);
    repository.commit("more", "2020-01-02T00:00:00Z", by_a);
  }
  Folder clones;
  repository.git(fmt::format("clone -q --depth 1 'file://{}' '{}'", repository.folder.path.string(),
                             (clones.path / "clone").string()));
  History cut = read_history(clones.path / "clone", repository.id("start"), repository.id(), wanted);
  CHECK(cut.cut);
  CHECK_FALSE(read_history(repository.folder.path, repository.id("start"), repository.id(), wanted).cut);
}

TEST_CASE("outside git there is no history") {
  Folder folder;
  CHECK(read_history(folder.path, "", std::string(40, 'a'), wanted).commits.empty());
}

}
