#include "chronicle/past.h"

#include "../support.h"

using namespace bindery;

namespace {

using Tags = std::map<std::string, Commit>;

LedgerEntry entry(std::string version, std::string commit = "", std::string date = "2020-02-03") {
  LedgerEntry out;
  out.version = std::move(version);
  out.commit = std::move(commit);
  out.date = std::move(date);
  out.time = 1580688000;  // date -u -d 2020-02-03 +%s
  return out;
}

// The versions, a blank between.
std::string versions(const std::vector<PastRelease>& releases) {
  std::vector<std::string> out;
  for (const PastRelease& each : releases) out.push_back(each.version.text());
  return fmt::format("{}", fmt::join(out, " "));
}

std::string before(const std::vector<PastRelease>& releases, std::string_view version, bool readable = false) {
  const PastRelease* found =
      release_before(releases, version.empty() ? std::nullopt : parse_version(version), readable);
  return found == nullptr ? "none" : found->version.text();
}

std::vector<PastRelease> tagged(std::initializer_list<const char*> tags) {
  Tags out;
  for (const char* tag : tags) out[tag] = {std::string(40, 'a'), 1577934245};
  return past_releases(out, {});
}

}  // namespace

TEST_SUITE("chronicle/past") {

TEST_CASE("a tag is a release where it is a version, with a `v` in front or without") {
  CHECK(versions(tagged({"v1.0.0", "1.1.0", "latest", "1.2", "vv2.0.0", "release-3.0.0", "v01.0.0"})) == "1.0.0 1.1.0");
  CHECK(version_of_tag("v1.2.3-rc.1")->text() == "1.2.3-rc.1");
  CHECK_FALSE(version_of_tag("V1.2.3").has_value());
  CHECK_FALSE(version_of_tag("").has_value());
}

// SemVer 2.0.0, section 11: "1.0.0-alpha < 1.0.0-alpha.1 < 1.0.0-alpha.beta < 1.0.0-beta < 1.0.0-beta.2 <
// 1.0.0-beta.11 < 1.0.0-rc.1 < 1.0.0", and "1.0.0 < 2.0.0 < 2.1.0 < 2.1.1".
TEST_CASE("releases stand in the order of precedence, not of text") {
  CHECK(versions(tagged({"1.0.0", "1.0.0-beta.11", "1.0.0-alpha.beta", "2.1.1", "1.0.0-rc.1", "1.0.0-alpha", "2.0.0",
                         "1.0.0-beta.2", "1.0.0-beta", "2.1.0", "1.0.0-alpha.1"})) ==
        "1.0.0-alpha 1.0.0-alpha.1 1.0.0-alpha.beta 1.0.0-beta 1.0.0-beta.2 1.0.0-beta.11 1.0.0-rc.1 1.0.0 2.0.0 2.1.0 "
        "2.1.1");
  CHECK(versions(tagged({"1.10.0", "1.9.0"})) == "1.9.0 1.10.0");
}

TEST_CASE("a release of tag and ledger stands once, with the tag's commit and the ledger's date") {
  auto releases =
      past_releases({{"v1.0.0", {std::string(40, 'a'), 1577934245}}}, {entry("1.0.0", std::string(40, 'b'))});
  REQUIRE(releases.size() == 1);
  CHECK(releases[0].tag == "v1.0.0");
  CHECK(releases[0].commit == std::string(40, 'a'));
  CHECK(releases[0].date == "2020-02-03");
  CHECK(releases[0].time == 1580688000);
}

TEST_CASE("a tag alone gives the date of its commit, the ledger alone its own commit") {
  auto releases =
      past_releases({{"1.0.0", {std::string(40, 'a'), 1577934245}}}, {entry("1.1.0", std::string(40, 'b'))});
  REQUIRE(releases.size() == 2);
  CHECK(releases[0].date == "2020-01-02");
  CHECK(releases[1].tag == "");
  CHECK(releases[1].commit == std::string(40, 'b'));
}

TEST_CASE("the release before is the highest below, and before the next one the highest of all") {
  auto releases = tagged({"1.0.0", "1.1.0", "2.0.0"});
  CHECK(before(releases, "1.1.0") == "1.0.0");
  CHECK(before(releases, "1.5.0") == "1.1.0");  // a later patch of an older line
  CHECK(before(releases, "1.0.0") == "none");
  CHECK(before(releases, "") == "2.0.0");
  CHECK(before({}, "") == "none");
}

// Release contract: "pre-releases skipped unless TO is one".
TEST_CASE("pre-releases are passed over unless the version is one") {
  auto releases = tagged({"1.0.0", "1.1.0-rc.1", "1.1.0-rc.2"});
  CHECK(before(releases, "1.1.0") == "1.0.0");
  CHECK(before(releases, "") == "1.0.0");
  CHECK(before(releases, "1.1.0-rc.2") == "1.1.0-rc.1");
  CHECK(before(releases, "1.1.0-rc.1") == "1.0.0");
}

// SemVer 2.0.0, section 10: "Build metadata MUST be ignored when determining version precedence."
TEST_CASE("a version that differs in build metadata alone is not before it") {
  CHECK(before(tagged({"1.0.0", "1.1.0+first"}), "1.1.0+second") == "1.0.0");
}

TEST_CASE("a release whose commit is not here is passed over where it is to be read") {
  auto releases = tagged({"1.0.0", "1.1.0"});
  releases[1].readable = false;
  CHECK(before(releases, "") == "1.1.0");
  CHECK(before(releases, "", true) == "1.0.0");
}

TEST_CASE("a release is found by its version") {
  auto releases = tagged({"v1.0.0", "1.1.0"});
  REQUIRE(find_release(releases, *parse_version("1.0.0")) != nullptr);
  CHECK(find_release(releases, *parse_version("1.0.0"))->tag == "v1.0.0");
  CHECK(find_release(releases, *parse_version("1.2.0")) == nullptr);
}

}
