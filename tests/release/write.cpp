#include <cstdlib>
#include <fstream>
#include <iterator>
#include <utility>

#include "../support.h"
#include "base/failure.h"
#include "release/write.h"
#include "../release/bound.h"

using namespace bindery;

namespace {

const Edition edition{"1.2.3", "stable", "", false, 1577934245};

// A release of a small tree, with both tiers or the free one alone.
Release release_of(bool with_supporter) {
  setenv("TZ", "UTC0", 1);  // as the program sets it
  test::Files files = test::small_tree("", "", "", {{"release/plan.yaml", "sets:\n  a: { tier: free, take: [ { process: q } ] }\n  b: { tier: supporter, take: [ { process: \"*\" } ] }\n"}});
  if (with_supporter) files["profiles-src/process/slow.yaml"] = "tier: supporter\n";
  test::World world(files);
  Selection selection = select_profiles(world.tree, world.diagnostics);
  REQUIRE(world.said() == "");
  return test::bound(world.tree, selection, edition);
}

void write(const Release& release, const Edition& as, const std::filesystem::path& out, bool ignored) {
  ReleaseWriter writer(out, ignored);
  writer.begin(as);
  writer.finish(release);
}

std::string text_of(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

}  // namespace

TEST_SUITE("release/write") {

TEST_CASE("an archive that comes in parts is not written again") {
  test::Folder folder;
  Release release = release_of(true);
  ReleaseFile& archive = release.tiers.back().files.front();
  ReleaseWriter writer(folder.path / "out", false);
  writer.begin(edition);
  for (char each : archive.bytes) writer.take(Tier::supporter, archive.name, {&each, 1});
  std::string bytes = std::exchange(archive.bytes, "");
  writer.finish(release);
  CHECK(text_of(folder.path / "out/1.2.3/supporter" / archive.name) == bytes);
  CHECK(text_of(folder.path / "out/1.2.3/free" / release.tiers.front().files.front().name) == release.tiers.front().files.front().bytes);
}

TEST_CASE("a release that is not finished leaves nothing, and what stood there stands") {
  test::Folder folder;
  write(release_of(true), edition, folder.path / "out", false);
  std::string before = text_of(folder.path / "out/1.2.3/free/release.json");
  {
    ReleaseWriter writer(folder.path / "out", false);
    writer.begin(edition);
    writer.take(Tier::free, "part.zip", "some bytes");
  }
  CHECK(text_of(folder.path / "out/1.2.3/free/release.json") == before);
  CHECK(std::distance(std::filesystem::directory_iterator(folder.path / "out"), {}) == 2);
}

TEST_CASE("a release is written below its version, and an earlier one is replaced whole") {
  test::Folder folder;
  write(release_of(true), edition, folder.path / "out", false);
  CHECK(std::filesystem::exists(folder.path / "out/1.2.3/supporter/profiles-1.2.3-supporter.zip"));
  folder.write("out/1.2.3/free/stale.txt", "from before");
  write(release_of(false), edition, folder.path / "out", false);
  CHECK(std::filesystem::exists(folder.path / "out/1.2.3/free/profiles-1.2.3-free.zip"));
  CHECK_FALSE(std::filesystem::exists(folder.path / "out/1.2.3/free/stale.txt"));
}

TEST_CASE("nothing but the release and its ignoring itself is left in the folder") {
  test::Folder folder;
  write(release_of(true), edition, folder.path / "out", false);
  write(release_of(true), edition, folder.path / "out", false);
  std::vector<std::string> left;
  for (const auto& each : std::filesystem::directory_iterator(folder.path / "out")) left.push_back(each.path().filename().string());
  std::sort(left.begin(), left.end());
  CHECK(left == std::vector<std::string>{".gitignore", "1.2.3"});
}

TEST_CASE("a folder that was there gets no file that ignores it, unless it is asked for") {
  test::Folder folder;
  std::filesystem::create_directory(folder.path / "out");
  write(release_of(false), edition, folder.path / "out", false);
  CHECK_FALSE(std::filesystem::exists(folder.path / "out/.gitignore"));
  write(release_of(false), edition, folder.path / "out", true);
  CHECK(std::filesystem::exists(folder.path / "out/.gitignore"));
}

TEST_CASE("a release of another version is left alone") {
  test::Folder folder;
  folder.write("out/1.2.2/free/x.txt", "earlier");
  write(release_of(true), edition, folder.path / "out", false);
  CHECK(std::filesystem::exists(folder.path / "out/1.2.2/free/x.txt"));
  CHECK(std::filesystem::exists(folder.path / "out/1.2.3/free/release.json"));
}

TEST_CASE("a release that cannot be written leaves what stood there") {
  test::Folder folder;
  folder.write("out", "a file where the folder should be");
  CHECK_THROWS_AS(write(release_of(true), edition, folder.path / "out", false), SystemError);
  CHECK(std::filesystem::is_regular_file(folder.path / "out"));
}

}
