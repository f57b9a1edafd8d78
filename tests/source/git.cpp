#include "source/git.h"

#include "../repository.h"
#include "base/failure.h"

using namespace bindery;
using test::Folder;

namespace {

// A repository with one commit of a small tree.
struct Repository : test::Repository {
  Repository() {
    folder.write("profiles-src/machine/m.yaml", "title: first\n");
    folder.write("schema/a.yaml", "settings: {}\n");
    folder.write("README.md", "not of the tree\n");
    commit("first", "2020-01-02T03:04:05Z");
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
  CHECK_FALSE(state->shallow);
  auto tags = list_tags(repository.folder.path);
  REQUIRE(tags.size() == 1);
  CHECK(tags.at("v1.0.0").id == state->head.id);
  CHECK(head_commit(repository.folder.path)->id == state->head.id);
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
  Diagnostics out;
  Revision revision = find_revision(repository.folder.path, "HEAD~1");
  Sources sources = read_revision(repository.folder.path, revision, out);
  Commit commit = revision.commit;
  REQUIRE(sources.files.size() == 2);
  CHECK(sources[0].path == "profiles-src/machine/m.yaml");
  CHECK(sources[0].text == "title: first\n");
  CHECK(sources[1].path == "schema/a.yaml");
  CHECK(commit.time == 1577934245);
  CHECK(out.items().empty());
}

TEST_CASE("an unknown revision is a mistake of the command line") {
  Repository repository;
  CHECK_THROWS_AS(find_revision(repository.folder.path, "no-such-thing"), UsageError);
}

TEST_CASE("annotated tags are followed to their commit, tags of other things left out") {
  Repository repository;
  repository.git("tag -a v1.0.0 -m words");
  repository.git("tag a-file HEAD:README.md");
  auto tags = list_tags(repository.folder.path);
  REQUIRE(tags.size() == 1);
  CHECK(tags.at("v1.0.0").id == repository.id());
  Folder folder;
  CHECK(list_tags(folder.path).empty());
}

TEST_CASE("commits that are not here are told apart") {
  Repository repository;
  const std::string other(40, '1');
  CHECK(missing_commits(repository.folder.path, {repository.id(), other}) == std::vector<std::string>{other});
  Folder folder;
  CHECK(missing_commits(folder.path, {other}) == std::vector<std::string>{other});
}

TEST_CASE("the ledger alone does not make a tree changed") {
  Repository repository;
  repository.folder.write("release/ledger.yaml", "releases: []\n");
  CHECK_FALSE(git_state(repository.folder.path)->changed);
  repository.folder.write("release/plan.yaml", "name: demo\n");
  CHECK(git_state(repository.folder.path)->changed);
}

TEST_CASE("a shallow clone is told as such") {
  Repository repository;
  repository.folder.write("schema/a.yaml", "settings: {}\nrules: {}\n");
  repository.commit("second", "2021-01-02T03:04:05Z");
  Folder clones;
  repository.git(fmt::format("clone -q --depth 1 'file://{}' '{}'", repository.folder.path.string(), (clones.path / "clone").string()));
  CHECK(git_state(clones.path / "clone")->shallow);
}

TEST_CASE("a repository without a commit has a head without digits") {
  test::Repository repository;
  repository.folder.write("profiles-src/machine/m.yaml", "title: first\n");
  auto head = head_commit(repository.folder.path);
  REQUIRE(head.has_value());
  CHECK(head->id == "");
  CHECK(git_state(repository.folder.path)->changed);
}

TEST_CASE("what another tree holds with the same bytes is taken from there") {
  Repository repository;
  Diagnostics out;
  Revision revision = find_revision(repository.folder.path, "HEAD");
  Sources like = read_revision(repository.folder.path, revision, out), again = read_revision(repository.folder.path, revision, out, &like, 3);
  REQUIRE(again.files.size() == 2);
  for (FileId id = 0; id < 2; ++id) {
    CHECK(again[id].text == like[id].text);
    CHECK(again[id].blob == repository.id("HEAD:" + again[id].path));
  }
}

}
