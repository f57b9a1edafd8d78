#include "source/git.h"

#include <cstdlib>

#include "../support.h"
#include "base/failure.h"

using namespace bindery;
using test::Folder;

namespace {

// A repository with one commit of a small tree, made by the git program.
struct Repository {
  Folder folder;

  Repository() {
    folder.write("profiles-src/machine/m.yaml", "title: first\n");
    folder.write("schema/a.yaml", "settings: {}\n");
    folder.write("README.md", "not of the tree\n");
    git("init -q");
    commit("first", "2020-01-02T03:04:05Z");
  }
  void git(const std::string& arguments) const {
    std::string command = fmt::format("cd '{}' && git -c user.name=Tester -c user.email=tester@example.org -c commit.gpgsign=false {} >/dev/null 2>&1", folder.path.string(), arguments);
    REQUIRE_MESSAGE(std::system(command.c_str()) == 0, command);
  }
  void commit(const std::string& message, const std::string& date) const {
    setenv("GIT_COMMITTER_DATE", date.c_str(), 1);
    git("add -A");
    git("commit -q -m " + message);
    unsetenv("GIT_COMMITTER_DATE");
  }
};

}  // namespace

TEST_SUITE("source/git") {

TEST_CASE("outside git nothing is known of a commit") {
  Folder folder;
  folder.write("profiles-src/machine/m.yaml", "");
  CHECK_FALSE(git_state(folder.path).has_value());
}

TEST_CASE("a clean tree tells its commit, the committer's time and its tags") {
  Repository repository;
  repository.git("tag v1.0.0");
  auto state = git_state(repository.folder.path);
  REQUIRE(state.has_value());
  CHECK_FALSE(state->changed);
  CHECK(state->head.id.size() == 40);
  CHECK(state->head.time == 1577934245);  // date -u -d 2020-01-02T03:04:05Z +%s
  CHECK(state->tags == std::vector<std::string>{"v1.0.0"});
}

TEST_CASE("a change below profiles-src counts, one elsewhere does not") {
  Repository repository;
  repository.folder.write("README.md", "changed\n");
  CHECK_FALSE(git_state(repository.folder.path)->changed);
  repository.folder.write("profiles-src/material/new.yaml", "title: new\n");
  CHECK(git_state(repository.folder.path)->changed);
}

TEST_CASE("a revision is read from the object store, whatever stands in the folder") {
  Repository repository;
  repository.folder.write("profiles-src/machine/m.yaml", "title: second\n");
  repository.commit("second", "2021-01-02T03:04:05Z");
  repository.folder.write("profiles-src/machine/m.yaml", "title: third, not committed\n");
  Commit commit;
  Diagnostics out;
  Sources sources = read_revision(repository.folder.path, "HEAD~1", commit, out);
  REQUIRE(sources.files.size() == 2);
  CHECK(sources[0].path == "profiles-src/machine/m.yaml");
  CHECK(sources[0].text == "title: first\n");
  CHECK(sources[1].path == "schema/a.yaml");
  CHECK(commit.time == 1577934245);
  CHECK(out.items().empty());
}

TEST_CASE("an unknown revision is a mistake of the command line") {
  Repository repository;
  Commit commit;
  Diagnostics out;
  CHECK_THROWS_AS(read_revision(repository.folder.path, "no-such-thing", commit, out), UsageError);
}

}
