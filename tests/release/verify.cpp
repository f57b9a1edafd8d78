#include "release/verify.h"
#include "release/write.h"

#include <cstdlib>
#include <fstream>
#include <sstream>

#include "../support.h"
#include "base/failure.h"
#include "../release/bound.h"

using namespace bindery;
namespace fs = std::filesystem;

namespace {

// A release of two tiers in a folder of its own.
struct Published {
  test::Folder folder;
  fs::path version = folder.path / "out/1.0.0";

  Published() {
    setenv("TZ", "UTC0", 1);  // as the program sets it
    test::World world(test::small_tree("", "", "", {{"profiles-src/process/slow.yaml", "tier: supporter\n"}}));
    Selection selection = select_profiles(world.tree, world.diagnostics);
    Edition edition{"1.0.0", "stable", "", false, 0};
    ReleaseWriter writer(folder.path / "out", false);
    writer.begin(edition);
    writer.finish(test::bound(world.tree, selection, edition));
  }
  std::string codes(const fs::path& path) const {
    Diagnostics out;
    verify_release(path, out);
    std::string told;
    for (const Diagnostic& item : out.items()) told += fmt::format("{}{}", told.empty() ? "" : " ", describe(item.code).name);
    return told;
  }
  std::string read(const std::string& name) const {
    std::ostringstream bytes;
    bytes << std::ifstream(version / name, std::ios::binary).rdbuf();
    return bytes.str();
  }
  void write(const std::string& name, std::string_view bytes) const { std::ofstream(version / name, std::ios::binary) << bytes; }
};

}  // namespace

TEST_SUITE("release/verify") {

TEST_CASE("a release as it was written is sound, by archive, tier or version") {
  Published release;
  CHECK(release.codes(release.version) == "");
  CHECK(release.codes(release.version / "free") == "");
  CHECK(release.codes(release.version / "supporter/profiles-1.0.0-supporter.zip") == "");
  Diagnostics out;
  Verified done = verify_release(release.version, out);
  CHECK(done.archives == 2);
  CHECK(done.profiles == 3);
}

TEST_CASE("a changed file is found by its checksum") {
  Published release;
  release.write("free/CHANGELOG.md", release.read("free/CHANGELOG.md") + "x");
  CHECK(release.codes(release.version / "free").find("checksum-wrong") != std::string::npos);
  CHECK(release.codes(release.version / "supporter") == "");
}

TEST_CASE("a changed archive is damaged or differs from its checksum") {
  Published release;
  std::string zip = release.read("free/profiles-1.0.0-free.zip");
  zip[zip.size() / 3] = static_cast<char>(zip[zip.size() / 3] ^ 1);
  release.write("free/profiles-1.0.0-free.zip", zip);
  CHECK(release.codes(release.version / "free").find("checksum-wrong") != std::string::npos);
  CHECK(release.codes(release.version / "free/profiles-1.0.0-free.zip") != "");
}

TEST_CASE("a file that is missing or not listed is told") {
  Published release;
  fs::remove(release.version / "free/CHANGELOG.md");
  CHECK(release.codes(release.version / "free").find("entry-missing") != std::string::npos);
  release.write("supporter/more.txt", "x");
  CHECK(release.codes(release.version / "supporter") == "entry-unlisted");
}

TEST_CASE("a tier whose archive is gone is told") {
  Published release;
  fs::remove(release.version / "free/profiles-1.0.0-free.zip");
  CHECK(release.codes(release.version / "free").find("entry-missing") != std::string::npos);
}

TEST_CASE("what is no release is a mistake of the command line") {
  test::Folder folder;
  Diagnostics out;
  CHECK_THROWS_AS(verify_release(folder.path / "nothing", out), UsageError);
  CHECK_THROWS_AS(verify_release(folder.path, out), UsageError);
  folder.write("x.zip", "no archive");
  verify_release(folder.path / "x.zip", out);
  REQUIRE(out.items().size() == 1);
  CHECK(describe(out.items()[0].code).name == "archive-damaged");
}

}
