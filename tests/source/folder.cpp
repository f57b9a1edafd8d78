#include "../support.h"

#include <sys/stat.h>
#include <unistd.h>

#include "base/failure.h"

using namespace bindery;
using test::Folder;

namespace {

std::string paths(const Sources& sources) {
  std::string out;
  for (const SourceFile& file : sources.files) out += (out.empty() ? "" : " ") + file.path + (file.sound ? "" : "!");
  return out;
}

// Root reads everything, so what must not be readable is read as nobody.
template <typename Work>
auto as_nobody(Work&& work) {
  uid_t self = geteuid();
  if (self == 0) REQUIRE(seteuid(65534) == 0);
  auto out = work();
  if (self == 0) REQUIRE(seteuid(self) == 0);
  return out;
}

}  // namespace

TEST_SUITE("source/folder") {

TEST_CASE("the texts of a tree are those that the design names") {
  for (std::string_view path : {"profiles-src/bindery.yaml", "profiles-src/machine/m.yaml", "profiles-src/process/deep/down/q.yaml", "schema/a.yaml", "release/plan.yaml", "release/notes/n.yaml",
                                "release/texts/licence.txt"}) {
    CHECK_MESSAGE(is_source_path(path), path);
  }
  for (std::string_view path : {"profiles-src/other.yaml", "profiles-src/part/p.yaml", "profiles-src/machine/m.yml", "profiles-src/machine/m.yaml.bak", "schema/sub/a.yaml", "schema/README.md", "release/other.yaml",
                                "release/notes/sub/n.yaml", "release/texts/sub/x.txt", "release/ledger.txt", "tool/x.yaml", "profiles-src/machines/m.yaml"}) {
    CHECK_FALSE_MESSAGE(is_source_path(path), path);
  }
}

TEST_CASE("a folder is read in order of paths, and what is no text of the tree is left alone") {
  Folder folder;
  folder.write("schema/b.yaml", "b");
  folder.write("schema/a.yaml", "a");
  folder.write("schema/README.md", "not read");
  folder.write("profiles-src/machine/z/m.yaml", "m");
  folder.write("profiles-src/README.md", "not read");
  folder.write("profiles-src/part/cube.yaml", "for later");
  folder.write("profiles-src/machine/.hidden.yaml", "not read");
  folder.write("tests/x.yaml", "not read");
  Diagnostics out;
  Sources sources = read_folder(folder.path, 2, out);
  CHECK(paths(sources) == "profiles-src/machine/z/m.yaml schema/a.yaml schema/b.yaml");
  CHECK(sources[1].text == "a");
  CHECK(out.items().empty());
}

TEST_CASE("a YAML file that no folder of the tree takes is a warning") {
  Folder folder;
  folder.write("profiles-src/machine/m.yml", "x");
  folder.write("profiles-src/loose.yaml", "x");
  Diagnostics out;
  Sources sources = read_folder(folder.path, 2, out);
  CHECK(test::told(out, sources) == "file-stray loose.yaml:1:1\nfile-stray m.yml:1:1");
  CHECK_FALSE(out.any_errors());
}

TEST_CASE("symbolic links, folders, pipes and large files are no texts") {
  Folder folder;
  folder.write("profiles-src/machine/sound.yaml", "title: x\n");
  folder.write("profiles-src/machine/large.yaml", std::string(300 * 1024, '#'));
  std::filesystem::create_directories(folder.path / "profiles-src/machine/nest.yaml");
  std::filesystem::create_symlink("/etc/hostname", folder.path / "profiles-src/machine/link.yaml");
  REQUIRE(mkfifo((folder.path / "profiles-src/machine/pipe.yaml").c_str(), 0600) == 0);
  Diagnostics out;
  Sources sources = read_folder(folder.path, 2, out);
  out.settle();
  CHECK(test::told(out, sources) == "file-too-large large.yaml:1:1\nfile-irregular link.yaml:1:1\nfile-irregular nest.yaml:1:1\nfile-irregular pipe.yaml:1:1");
  CHECK(paths(sources) == "profiles-src/machine/large.yaml! profiles-src/machine/link.yaml! profiles-src/machine/nest.yaml! profiles-src/machine/pipe.yaml! profiles-src/machine/sound.yaml");
  for (const SourceFile& file : sources.files) {
    if (!file.sound) CHECK(file.text.empty());
  }
}

TEST_CASE("a folder that is a symbolic link is not followed") {
  Folder folder, elsewhere;
  folder.write("profiles-src/machine/m.yaml", "title: x\n");
  elsewhere.write("stranger.yaml", "title: y\n");
  std::filesystem::create_directory_symlink(elsewhere.path, folder.path / "profiles-src/machine/more");
  Diagnostics out;
  Sources sources = read_folder(folder.path, 2, out);
  CHECK(test::told(out, sources) == "file-irregular more:1:1");
  CHECK(sources.find("profiles-src/machine/more/stranger.yaml") == no_file);
}

TEST_CASE("an unreadable file or folder is reported") {
  Folder folder;
  for (const char* kind : {"machine/m", "material/shut/p", "process/listed/q"}) folder.write(fmt::format("profiles-src/{}.yaml", kind), "title: x\n");
  using std::filesystem::perms;
  auto permit = [&](const char* path, perms granted) { std::filesystem::permissions(folder.path / path, granted); };
  permit(".", static_cast<perms>(0755));
  permit("profiles-src/machine/m.yaml", perms::none);
  permit("profiles-src/material/shut", perms::none);
  permit("profiles-src/process/listed", static_cast<perms>(0444));  // its names can be listed, and nothing behind them
  Diagnostics out;
  Sources sources = as_nobody([&] { return read_folder(folder.path, 2, out); });
  permit("profiles-src/material/shut", perms::owner_all);
  permit("profiles-src/process/listed", perms::owner_all);
  REQUIRE(out.items().size() == 3);
  for (const Diagnostic& item : out.items()) CHECK(describe(item.code).name == "file-unreadable");
  CHECK(paths(sources) == "profiles-src/machine/m.yaml! profiles-src/material/shut! profiles-src/process/listed!");
}

TEST_CASE("the root is the nearest folder upward that holds profiles-src") {
  Folder folder;
  folder.write("profiles-src/machine/m.yaml", "");
  folder.write("inner/profiles-src/machine/m.yaml", "");
  folder.write("other/deep/x", "");
  auto same = [&](const std::filesystem::path& a, const std::filesystem::path& b) { return std::filesystem::equivalent(a, b); };
  CHECK(same(find_root(folder.path / "other/deep"), folder.path));
  CHECK(same(find_root(folder.path / "profiles-src/machine"), folder.path));
  CHECK(same(find_root(folder.path / "inner/profiles-src"), folder.path / "inner"));
}

TEST_CASE("a folder outside every tree is a mistake of the command line") {
  Folder folder;
  CHECK_THROWS_AS(find_root(folder.path), UsageError);
  CHECK_THROWS_AS(find_root(folder.path / "missing"), UsageError);
}

}
