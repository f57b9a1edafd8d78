#include "release/version.h"

#include "base/semver.h"

#include "../support.h"

using namespace bindery;

TEST_SUITE("release/version") {

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
