// Sides that are known by what was published of them alone.
#include "changes/published.h"

#include <cstdlib>

#include "../comparison.h"
#include "archive/archive.h"
#include "base/failure.h"
#include "../release/bound.h"

using namespace bindery;
using test::change_of;
using test::Files;
using test::Folder;
using test::ids_of;
using test::small_tree;
using test::Twins;

namespace {

Published published(const Twins& twins, std::size_t side, Tier audience = Tier::supporter) {
  Diagnostics out;
  Published made = publish(twins.side(side), audience, 2, out);
  REQUIRE(out.items().empty());
  return made;
}

// Every effect as "m/p/q travel.speed 100 120", sorted.
std::set<std::string> effects(const Changes& changes) {
  std::set<std::string> out;
  for (const Change& change : changes.changes) {
    for (const Effect& effect : change.effects)
      out.insert(fmt::format("{} {} {} {}", changes.profiles[effect.profile].id, changes.settings[effect.setting].key,
                             changes.values[effect.before].json, changes.values[effect.after].json));
  }
  for (const ScriptChange& change : changes.scripts) {
    for (const ScriptEffect& effect : change.effects)
      out.insert(fmt::format("{} {} {} {}", changes.profiles[effect.profile].id, name_of(effect.slot),
                             changes.texts[effect.before], changes.texts[effect.after]));
  }
  return out;
}

// A release as a folder: two profiles of two tiers, written by hand.
struct Unpacked {
  Folder folder;
  std::string contents =
      R"({"name": "demo", "version": "1.0.0", "tier": "supporter", "profiles": [
 {"id": "m/p/q", "path": "profiles/m/p/q.json", "tier": "free", "status": "stable"},
 {"id": "m/p/r", "path": "profiles/m/p/r.json", "tier": "supporter", "status": "beta"}]})";
  std::string settings =
      R"([{"key": "travel.speed", "title": "Travel speed", "unit": "mm/s"}, {"key": "wall.count", "title": "Walls", "unit": null},
 {"key": "heat.nozzle", "title": "Nozzle", "unit": "degC"}, {"key": "order.words", "title": "Order", "unit": null}])";
  std::string profile =
      R"({"settings": {"travel.speed": "120.5 mm/s", "wall.count": 3, "heat.nozzle": "215 degC", "order.words": ["inner", "outer"]}, "scripts": {"start": "G28\n"}})";

  void write() const {
    for (const auto& [name, bytes] : files()) folder.write(name, bytes);
  }
  std::map<std::string, std::string> files() const {
    return {{"contents.json", contents},
            {"settings.json", settings},
            {"profiles/m/p/q.json", profile},
            {"profiles/m/p/r.json", profile}};
  }
  void write_zip(const std::string& name) const {
    setenv("TZ", "UTC0", 1);  // as the program sets it
    std::vector<PackedEntry> packed;
    for (const auto& [path, bytes] : files()) packed.push_back(pack(path, bytes));
    std::vector<const PackedEntry*> entries;
    for (const PackedEntry& each : packed) entries.push_back(&each);
    folder.write(name, write_archive(entries, 1577934245));
  }
  Published read(const std::string& name = "contents.json") const { return read_published(folder.path / name); }
};

}  // namespace

TEST_SUITE("changes/published") {

TEST_CASE("what is published of a tree is what the audience gets") {
  Twins twins(small_tree("scripts: { start: G28 }\n", "", "",
                         {{"profiles-src/process/paid.yaml", "tier: supporter\nsettings: { wall.count: 9 }\n"}}),
              small_tree());
  Published free = published(twins, 0, Tier::free), whole = published(twins, 0);
  CHECK(free.profiles.size() == 1);
  REQUIRE(whole.profiles.size() == 2);
  CHECK(whole.profiles.at("m/p/paid").tier == Tier::supporter);
  CHECK(whole.profiles.at("m/p/paid").settings.at("wall.count").json == "9");
  const PublishedProfile& profile = whole.profiles.at("m/p/q");
  CHECK(profile.settings.at("travel.speed").json == "150");
  CHECK(profile.settings.at("order.words").json == "[\"inner\",\"outer\"]");
  CHECK_FALSE(profile.settings.contains("wipe.length"));  // unset
  CHECK(profile.scripts[0] == "G28");
  CHECK(whole.settings.at("heat.nozzle").thermal);
}

TEST_CASE("two published sides differ in what their trees differ in") {
  const Files before = small_tree("settings: { travel.speed: 100 mm/s }\nscripts: { start: G28 }\n", "", "",
                                  {{"profiles-src/process/old.yaml", "title: Old\n"}});
  const Files after = small_tree("settings: { travel.speed: 120 mm/s, wipe.length: 2 mm }\nscripts: { start: G28 X }\n",
                                 "status: stable\n", "limits: { \"*.speed\": { at_most: 110 mm/s } }\n",
                                 {{"profiles-src/process/new.yaml", "title: New\n"}});
  Twins twins(before, after);
  Changes of_trees = twins.changes(),
          of_releases = compare_published(published(twins, 0), published(twins, 1), {}, nullptr);
  CHECK(effects(of_releases) == effects(of_trees));
  CHECK(effects(of_releases).size() == 3);
  CHECK(ids_of(of_releases, of_releases.added) == ids_of(of_trees, of_trees.added));
  CHECK(ids_of(of_releases, of_releases.removed) == ids_of(of_trees, of_trees.removed));
}

TEST_CASE("without a tree there are no causes, and no renames") {
  Files after = small_tree("settings: { travel.speed: 120 mm/s }\n", "", "",
                           {{"profiles-src/material/new.yaml", "title: Material\nreplaces: [p]\n"}});
  after.erase("profiles-src/material/p.yaml");
  Twins twins(small_tree("settings: { travel.speed: 100 mm/s }\n"), after),
      plain(small_tree("settings: { travel.speed: 100 mm/s }\n"), small_tree("settings: { travel.speed: 120 mm/s }\n"));
  CHECK(change_of(compare_published(published(plain, 0), published(plain, 1), {}, nullptr), "travel.speed") ==
        "100 -> 120 by nothing");
  Changes apart = compare_published(published(twins, 0), published(twins, 1), {}, nullptr);
  CHECK(ids_of(apart, apart.added) == "m/new/q");
  CHECK(ids_of(apart, apart.removed) == "m/p/q");
  CHECK(apart.renamed.empty());
}

TEST_CASE("with the new tree renames are followed, and the operation that makes the value is its cause") {
  Files after = small_tree("settings: { travel.speed: 120 mm/s }\n", "", "",
                           {{"profiles-src/material/new.yaml", "title: Material\nreplaces: [p]\n"}});
  after.erase("profiles-src/material/p.yaml");
  Twins twins(small_tree("settings: { travel.speed: 100 mm/s }\n"), after);
  Side tree = twins.side(1);
  Changes changes = compare_published(published(twins, 0), published(twins, 1), {}, &tree);
  REQUIRE(changes.renamed.size() == 1);
  CHECK(changes.profiles[changes.renamed[0].first].id == "m/p/q");
  CHECK(changes.profiles[changes.renamed[0].second].id == "m/new/q");
  CHECK(change_of(changes, "travel.speed", "m/new/q") == "100 -> 120 by machine/m settings travel.speed");
  REQUIRE(changes.edits.size() == 1);
  CHECK_FALSE(changes.edits[0].traced);  // what it was before is not known
  CHECK(changes.edits[0].after == "120 mm/s");
  CHECK(changes.edits[0].file == "profiles-src/machine/m.yaml");
}

TEST_CASE("a tier or status alone is a move, and a supporter's profile is none of the free audience's") {
  Twins twins(small_tree("", "", "title: Q\n"), small_tree("", "", "title: Q\ntier: supporter\n"));
  Changes whole = compare_published(published(twins, 0), published(twins, 1), {}, nullptr),
          free = compare_published(published(twins, 0), published(twins, 1), {Tier::free, false}, nullptr);
  REQUIRE(whole.moved.size() == 1);
  CHECK(whole.moved[0].tier == Tier::supporter);
  CHECK(free.moved.empty());
  CHECK(ids_of(free, free.removed) == "m/p/q");
}

TEST_CASE("an archive of a tree is read back as what was published") {
  setenv("TZ", "UTC0", 1);
  Twins twins(small_tree("scripts: { start: \"M104 S${heat.nozzle}\\nG28\" }\n",
                         "settings: { heat.nozzle: 220.5 degC, fan.duty: 35 % }\nstatus: stable\n", "",
                         {{"profiles-src/process/paid.yaml", "tier: supporter\nsettings: { spiral.on: true }\n"}}),
              small_tree());
  Release release = test::bound(twins.tree[0], twins.selection[0], {"1.0.0", "stable", "", false, 1577934245});
  for (const TierRelease& tier : release.tiers) {
    Folder folder;
    for (const ReleaseFile& each : tier.files) folder.write(each.name, each.bytes);
    for (const std::string& name : {tier.files.front().name, std::string("release.json")}) {
      CAPTURE(name);
      CHECK(is_published(folder.path / name));
      Published read = read_published(folder.path / name), made = published(twins, 0, tier.tier);
      CHECK(read.version == "1.0.0");
      CHECK(read.tier == tier.tier);
      REQUIRE(read.profiles.size() == made.profiles.size());
      for (const auto& [id, profile] : made.profiles) {
        const PublishedProfile& twin = read.profiles.at(id);
        CHECK(twin.settings == profile.settings);
        CHECK(twin.scripts == profile.scripts);
        CHECK(twin.tier == profile.tier);
        CHECK(twin.status == profile.status);
      }
    }
  }
}

TEST_CASE("an unpacked archive is read by its contents.json, a packed one by itself or its release.json") {
  Unpacked release;
  release.write();
  release.write_zip("demo-1.0.0.zip");
  release.folder.write("release.json", R"({"files": [{"name": "CHANGELOG.md"}, {"name": "demo-1.0.0.zip"}]})");
  for (std::string name : {"contents.json", "demo-1.0.0.zip", "release.json"}) {
    CAPTURE(name);
    Published read = release.read(name);
    CHECK(read.version == "1.0.0");
    REQUIRE(read.profiles.size() == 2);
    const PublishedProfile& profile = read.profiles.at("m/p/q");
    CHECK(profile.status == Status::stable);
    CHECK(profile.settings.at("travel.speed") == PlainValue{"120.5", 120.5});
    CHECK(profile.settings.at("wall.count") == PlainValue{"3", 3});
    CHECK(profile.settings.at("order.words").json == "[\"inner\",\"outer\"]");
    CHECK(profile.scripts[0] == "G28\n");
    CHECK(read.profiles.at("m/p/r").tier == Tier::supporter);
    CHECK(read.settings.at("heat.nozzle").thermal);
    CHECK_FALSE(read.settings.at("travel.speed").thermal);
  }
}

TEST_CASE("what is no release is none") {
  Folder folder;
  folder.write("notes.txt", "x");
  folder.write("a.zip/inside", "x");
  CHECK_FALSE(is_published(folder.path / "notes.txt"));
  CHECK_FALSE(is_published(folder.path / "a.zip"));  // a folder
  CHECK_FALSE(is_published(folder.path / "missing.zip"));
}

TEST_CASE("a damaged or unsafe release is a mistake of the command line") {
  auto refused = [](void (*damage)(Unpacked&)) {
    Unpacked release;
    damage(release);
    release.write();
    CHECK_THROWS_AS(release.read(), UsageError);
  };
  refused([](Unpacked& r) { r.contents = "{"; });
  refused([](Unpacked& r) { r.contents = "{}"; });
  refused([](Unpacked& r) { r.contents = "[]"; });
  refused([](Unpacked& r) { r.settings = "nothing"; });
  refused([](Unpacked& r) { r.profile = "[1]"; });
  refused([](Unpacked& r) { r.contents = R"({"profiles": [{"id": "m/p/q", "path": "../../secret.json"}]})"; });
  refused([](Unpacked& r) { r.contents = R"({"profiles": [{"id": "m/p/q", "path": "/etc/hostname"}]})"; });
  refused([](Unpacked& r) { r.contents = R"({"profiles": [7]})"; });
  Unpacked torn;
  torn.write_zip("torn.zip");
  std::string path = (torn.folder.path / "torn.zip").string();
  std::filesystem::resize_file(path, std::filesystem::file_size(path) / 2);
  CHECK_THROWS_AS(torn.read("torn.zip"), UsageError);
  torn.folder.write("release.json", R"({"files": [{"name": "gone.zip"}]})");
  CHECK_THROWS_AS(torn.read("release.json"), UsageError);
}

}
