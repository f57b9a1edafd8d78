// Two trees side by side, and one name for equal contents.
#include "../repository.h"
#include "base/digest.h"
#include "source/git.h"

using namespace bindery;
using test::Files;
using test::Folder;
using test::Repository;

namespace {

std::string digest(const Files& files) { return content_digest(test::sources_of(files)); }

const Files tree = {{"profiles-src/bindery.yaml", "publisher: Example Workshop\n"},
                    {"profiles-src/machine/m.yaml", "title: M\n"},
                    {"release/plan.yaml", "name: demo\n"},
                    {"schema/a.yaml", "settings: {}\n"}};

Files with(std::string_view path, std::string_view text) {
  Files out = tree;
  out[std::string(path)] = text;
  return out;
}

}  // namespace

TEST_SUITE("source/pair") {

TEST_CASE("aligned trees have equal numbers for equal paths") {
  Sources a = test::sources_of({{"a", "1"}, {"c", "2"}}), b = test::sources_of({{"b", "3"}, {"c", "4"}, {"d", "5"}});
  Diagnostics of_a, of_b;
  align(a, of_a, b, of_b);
  REQUIRE(a.files.size() == 4);
  REQUIRE(b.files.size() == 4);
  for (FileId id = 0; id < 4; ++id) CHECK(a[id].path == b[id].path);
  CHECK(std::is_sorted(a.files.begin(), a.files.end(),
                       [](const SourceFile& x, const SourceFile& y) { return x.path < y.path; }));
  std::string present;
  for (FileId id = 0; id < 4; ++id)
    present += fmt::format("{}{} ", a[id].present ? a[id].text : "-", b[id].present ? b[id].text : "-");
  CHECK(present == "1- -3 24 -5 ");
}

TEST_CASE("the reports of both are renumbered with their files") {
  Sources a = test::sources_of({{"a", "1"}, {"c", "2"}}), b = test::sources_of({{"b", "3"}});
  Diagnostics of_a, of_b;
  of_a.add(Code::file_unreadable, {1, 0, 1}, "in c").with_related({0, 0, 1}, "in a");
  of_b.add(Code::file_unreadable, {0, 0, 1}, "in b");
  of_b.add(Code::file_unreadable, {}, "nowhere");
  align(a, of_a, b, of_b);
  CHECK(a[of_a.items()[0].span.file].path == "c");
  CHECK(a[of_a.items()[0].related[0].span.file].path == "a");
  CHECK(b[of_b.items()[0].span.file].path == "b");
  CHECK_FALSE(of_b.items()[1].span.known());
}

TEST_CASE("equal contents have one digest, and any byte of what shapes profiles gives another") {
  CHECK(digest(tree) == digest(tree));
  CHECK(digest(tree).size() == 64);
  for (const auto& [path, text] : tree) {
    const auto& told = path;
    CAPTURE(told);
    CHECK(digest(with(path, text + " ")) != digest(tree));
  }
  CHECK(digest(with("profiles-src/process/q.yaml", "")) != digest(tree));
  Files moved = tree;
  moved["profiles-src/machine/n.yaml"] = moved["profiles-src/machine/m.yaml"];
  moved.erase("profiles-src/machine/m.yaml");
  CHECK(digest(moved) != digest(tree));
}

TEST_CASE("notes and the ledger do not count in the digest") {
  for (std::string_view path : {"release/notes/a.yaml", "release/ledger.yaml"})
    CHECK(digest(with(path, "x")) == digest(tree));
}

TEST_CASE("a file that only the other tree has does not count in the digest") {
  Sources a = test::sources_of(tree), b = test::sources_of(with("profiles-src/process/q.yaml", "title: Q\n"));
  Diagnostics of_a, of_b;
  align(a, of_a, b, of_b);
  CHECK(content_digest(a) == digest(tree));
  CHECK(content_digest(b) != digest(tree));
}

TEST_CASE("a file that was refused gives another digest than a sound one") {
  Sources unsound = test::sources_of(tree);
  unsound.files[1].sound = false;
  CHECK(content_digest(unsound) != digest(tree));
}

TEST_CASE("a folder and a revision with the same bytes have the same digest") {
  Repository repository;
  for (const auto& [path, text] : tree) repository.folder.write(path, text);
  repository.folder.write("README.md", "not of the tree\n");
  repository.commit("start", "2020-01-01T00:00:00Z");
  Diagnostics out;
  Revision revision = find_revision(repository.folder.path, "HEAD");
  CHECK(content_digest(revision) == digest(tree));
  CHECK(content_digest(read_revision(repository.folder.path, revision, out)) == digest(tree));
  CHECK(content_digest(read_folder(repository.folder.path, 1, out)) == digest(tree));
}

}
