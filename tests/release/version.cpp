#include "release/version.h"

#include "../support.h"

using namespace bindery;

TEST_SUITE("release/version") {

TEST_CASE("the version after a release is its next patch") {
  CHECK(version_after({"1.2.3"}).text() == "1.2.4");
  CHECK(version_after({"v1.2.9"}).text() == "1.2.10");
  CHECK(version_after({"1.2.99999999999999999999"}).text() == "1.2.100000000000000000000");
  CHECK(version_after({"1.2.3+build"}).text() == "1.2.4");
}

TEST_CASE("the version after a pre-release is what it prepares") {
  CHECK(version_after({"v1.3.0-beta.2"}).text() == "1.3.0");
  CHECK(version_after({"v1.3.0-beta.2", "v1.2.9"}).text() == "1.3.0");
  CHECK(version_after({"v1.3.0-beta.2", "v1.3.0"}).text() == "1.3.1");
}

// The previous release is the highest tag that is a version, not the nearest.
TEST_CASE("the highest tag counts, and other tags are passed over") {
  CHECK(version_after({"v1.10.0", "v1.9.9", "release", "v2", "latest-3.0.0"}).text() == "1.10.1");
  CHECK(version_after({}).text() == "0.1.0");
  CHECK(version_after({"first", "v1"}).text() == "0.1.0");
}

TEST_CASE("the program and its libraries tell their versions") {
  CHECK(parse_version(tool_version()).has_value());
  auto libraries = library_versions();
  CHECK(std::is_sorted(libraries.begin(), libraries.end()));
  for (std::string_view name : {"libdeflate", "libzip", "yaml-cpp", "libudunits2.so", "fmt"}) {
    auto at = std::find_if(libraries.begin(), libraries.end(), [&](const auto& each) { return each.first == name; });
    REQUIRE_MESSAGE(at != libraries.end(), name);
    CHECK_MESSAGE(std::isdigit(static_cast<unsigned char>(at->second[0])), name);
  }
}

}
