#include "base/kept.h"

#include "../support.h"
#include "base/digest.h"

using namespace bindery;
using test::Folder;

TEST_SUITE("base/kept") {

TEST_CASE("what was kept is read back, and nothing else") {
  Folder folder;
  std::filesystem::path path = folder.path / ".bindery/part/thing";
  CHECK_FALSE(read_kept(path, 1000));
  REQUIRE(write_kept(path, "body"));
  CHECK(read_kept(path, 1000) == "body");
  CHECK_FALSE(read_kept(path, 60));
  REQUIRE(write_kept(path, "another"));
  CHECK(read_kept(path, 1000) == "another");
  CHECK(std::filesystem::exists(folder.path / ".bindery/.gitignore"));
  CHECK(std::distance(std::filesystem::directory_iterator(path.parent_path()), {}) == 1);
  std::ofstream(path, std::ios::app) << "x";
  CHECK_FALSE(read_kept(path, 1000));
  // What somebody else wrote, digest and all.
  std::ofstream(path) << sha256("body") << "body";
  CHECK_FALSE(read_kept(path, 1000));
  std::filesystem::remove(path);
  std::filesystem::create_symlink("/etc/hostname", path);
  CHECK_FALSE(read_kept(path, 1000));
}

TEST_CASE("where no folder can be made, nothing is kept") {
  Folder folder;
  folder.write(".bindery", "a file");
  CHECK_FALSE(write_kept(folder.path / ".bindery/part/thing", "body"));
}

}
