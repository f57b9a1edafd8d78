#include <cstdlib>

#include <nlohmann/json.hpp>

#include "../support.h"
#include "base/digest.h"
#include "archive/archive.h"
#include "../release/bound.h"

using namespace bindery;
using test::Files;
using Json = nlohmann::json;

namespace {

const std::string plan = "name: demo\nsets:\n  starter: { tier: free, take: [ { machine: \"*\", material: \"*\", process: q } ] }\n  whole: { tier: supporter, take: [ {} ] }\n";

// One free machine and process, and what is for supporters beside it.
Files free_tree() {
  return test::small_tree("title: A machine\nsettings: { travel.speed: 120 mm/s }\nscripts: { start: \"M104 S${heat.nozzle}\\nG28\" }\n", "title: A material\n", "title: A process\nlimits: { travel.speed: { at_most: 100 mm/s } }\n",
                          {{"release/plan.yaml", plan}, {"release/notes/a.yaml", "section: Added\ntier: free\ntext: For all.\n"}});
}
Files whole_tree() {
  Files files = free_tree();
  files["profiles-src/process/slow.yaml"] = "tier: supporter\nsettings: { travel.speed: 50 mm/s }\n";
  files["profiles-src/machine/n.yaml"] = "tier: supporter\n";
  files["release/notes/b.yaml"] = "section: Added\ntext: For supporters.\n";
  return files;
}

Release bind_all(const Files& files, unsigned jobs = 1, std::string version = "1.2.3") {
  setenv("TZ", "UTC0", 1);  // as the program sets it
  test::World world(files);
  Selection selection = select_profiles(world.tree, world.diagnostics);
  REQUIRE(world.said() == "");
  return test::bound(world.tree, selection, {std::move(version), "stable", "", false, 1577934245}, jobs);
}

const std::string& file(const TierRelease& tier, std::string_view name) {
  for (const ReleaseFile& each : tier.files) {
    if (each.name == name) return each.bytes;
  }
  FAIL("no file " << name);
  return tier.files.front().bytes;
}

std::map<std::string, std::string> unpacked(const TierRelease& tier) { return read_archive(tier.files.front().bytes); }

}  // namespace

TEST_SUITE("release/bind") {

// The release: the files of a tier's folder and of an archive.
TEST_CASE("each tier has an archive, a changelog, a manifest and checksums") {
  Release release = bind_all(whole_tree());
  REQUIRE(release.tiers.size() == 2);
  for (const TierRelease& tier : release.tiers) {
    std::string names;
    for (const ReleaseFile& each : tier.files) names += each.name + " ";
    CHECK(names == fmt::format("demo-1.2.3-{}.zip CHANGELOG.md release.json SHA256SUMS ", name_of(tier.tier)));
  }
  CHECK(release.tiers[0].profiles == 1);
  CHECK(release.tiers[1].profiles == 4);
  std::string paths;
  for (const auto& [path, bytes] : unpacked(release.tiers[0])) paths += path + " ";
  CHECK(paths == "CHANGELOG.md LICENSE.txt READ-ME-FIRST.txt SHA256SUMS contents.json profiles/m/p/q.json settings.json ");
}

TEST_CASE("entries stand in the archive in order of their paths") {
  const Release release = bind_all(whole_tree());
  const std::string& zip = release.tiers[1].files.front().bytes;
  std::vector<std::string> names;
  for (std::size_t at = zip.find("PK\x01\x02"); at != std::string::npos; at = zip.find("PK\x01\x02", at + 1)) {
    names.push_back(zip.substr(at + 46, static_cast<unsigned char>(zip[at + 28])));
  }
  CHECK(names.size() == 10);
  CHECK(std::is_sorted(names.begin(), names.end()));
}

TEST_CASE("a tier without a profile of its own has no release") {
  Files files = whole_tree();
  files["profiles-src/machine/m.yaml"] += "tier: supporter\n";
  Release release = bind_all(files);
  REQUIRE(release.tiers.size() == 1);
  CHECK(release.tiers[0].tier == Tier::supporter);
}

// Resolution: "what the free audience gets is, byte for byte, the same whatever supporter-only sources say, or without them".
TEST_CASE("the free release is the same, byte for byte, without supporter sources") {
  Release with = bind_all(whole_tree()), without = bind_all(free_tree());
  Files changed_tree = whole_tree();
  changed_tree["profiles-src/process/slow.yaml"] = "tier: supporter\nsettings: { travel.speed: 55 mm/s }\n";
  changed_tree["release/notes/b.yaml"] = "section: Safety\ntext: Other words.\n";
  Release changed = bind_all(changed_tree);
  REQUIRE(with.tiers[0].files.size() == 4);
  for (std::size_t i = 0; i < 4; ++i) {
    CAPTURE(with.tiers[0].files[i].name);
    CHECK(with.tiers[0].files[i].bytes == without.tiers[0].files[i].bytes);
    CHECK(with.tiers[0].files[i].bytes == changed.tiers[0].files[i].bytes);
  }
  CHECK(with.tiers[1].files[0].bytes != changed.tiers[1].files[0].bytes);
}

TEST_CASE("the release is the same on one thread and on four") {
  Files files = whole_tree();
  for (int i = 0; i < 80; ++i) files[fmt::format("profiles-src/material/x{:02}.yaml", i)] = fmt::format("settings: {{ travel.speed: {} mm/s }}\n", 20 + i);
  Release one = bind_all(files, 1), four = bind_all(files, 4);
  for (std::size_t t = 0; t < 2; ++t) {
    for (std::size_t i = 0; i < 4; ++i) CHECK(one.tiers[t].files[i].bytes == four.tiers[t].files[i].bytes);
  }
}

// The release: values "as the language writes them, ... counts and flags bare ... the fragment reader could read it back".
TEST_CASE("a profile's file holds its values as the language writes them") {
  auto files = unpacked(bind_all(free_tree()).tiers[0]);
  Json profile = Json::parse(files.at("profiles/m/p/q.json"));
  CHECK(profile["title"] == "A machine / A material / A process");
  CHECK(profile["tier"] == "free");
  CHECK(profile["status"] == "beta");
  CHECK(profile["settings"]["travel.speed"] == "100 mm/s");
  CHECK(profile["settings"]["heat.nozzle"] == "210 degC");
  CHECK(profile["settings"]["wall.count"] == 3);
  CHECK(profile["settings"]["spiral.on"] == false);
  CHECK(profile["settings"]["order.words"] == Json({"inner", "outer"}));
  CHECK_FALSE(profile["settings"].contains("wipe.length"));
  CHECK(profile["scripts"]["start"] == "M104 S210\nG28");
}

TEST_CASE("the fragment reader reads a profile's file back") {
  auto files = unpacked(bind_all(free_tree()).tiers[0]);
  Sources sources = test::sources_of({{"profiles-src/process/back.yaml", files.at("profiles/m/p/q.json")}});
  Diagnostics out;
  FragmentFile back = read_fragment(0, sources[0], out);
  CHECK(test::told(out, sources) == "");
  CHECK(back.fragments.front().layers.front().settings.size() == Json::parse(files.at("profiles/m/p/q.json"))["settings"].size());
  CHECK(back.fragments.front().layers.front().scripts.front().text.text == "M104 S210\nG28");
}

TEST_CASE("contents and checksums name every file with its digest") {
  auto files = unpacked(bind_all(whole_tree()).tiers[1]);
  std::string sums;
  for (const auto& [path, bytes] : files) {
    if (path != "SHA256SUMS") sums += fmt::format("{}  {}\n", sha256(bytes), path);
  }
  CHECK(files.at("SHA256SUMS") == sums);
  Json contents = Json::parse(files.at("contents.json"));
  REQUIRE(contents["profiles"].size() == 4);
  for (const Json& each : contents["profiles"]) CHECK(each["sha256"] == sha256(files.at(each["path"])));
}

TEST_CASE("the manifest tells version, date, tool, libraries and digests") {
  const Release bound = bind_all(whole_tree());
  const TierRelease& tier = bound.tiers[0];
  Json release = Json::parse(file(tier, "release.json"));
  CHECK(release["version"] == "1.2.3");
  CHECK(release["channel"] == "stable");
  CHECK(release["tier"] == "free");
  CHECK(release["date"] == "2020-01-02");
  CHECK(release["commit"].is_null());
  CHECK(release["libraries"].contains("libdeflate"));
  REQUIRE(release["files"].size() == 2);
  for (const Json& each : release["files"]) CHECK(each["sha256"] == sha256(file(tier, each["name"].get<std::string>())));
}

TEST_CASE("capped values are counted") {
  Release release = bind_all(free_tree());
  CHECK(release.tiers[0].capped == 1);
}

}
