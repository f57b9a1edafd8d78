// What is taken over from the last build: whatever is made of the same, to the byte, and nothing else.
#include "release/stock.h"

#include <filesystem>
#include <fstream>

#include "../support.h"
#include "archive/archive.h"
#include "base/digest.h"
#include "check/check.h"

using namespace bindery;

namespace {

namespace fs = std::filesystem;

test::Files tree_of(const std::string& base = "wall.speed: 100 mm/s", const test::Files& more = {}) {
  test::Files files = {
      {"profiles-src/process/base.yaml", "abstract: true\nsettings: { " + base + " }\n"},
      {"profiles-src/process/calm.yaml", "extends: base\nsettings: { layer.height: 0.1 mm }\n"},
      {"profiles-src/process/loud.yaml", "settings: { wall.speed: 140 mm/s }\n"},
      {"release/plan.yaml", "sets:\n  all: { tier: free, take: [ { process: \"*\" } ] }\n"}};
  for (const auto& [path, text] : more) files[path] = text;
  return test::small_tree("", "", "", files);
}

// One build of a tree with what was kept below `root`: which profiles were taken over, and the files of all.
class Built {
 public:
  Built(const fs::path& root, const test::Files& files, std::vector<std::string> said = {}, std::vector<PlacedSection> sections = {}) : world_(files) {
    setenv("TZ", "UTC0", 1);  // as the program sets it
    REQUIRE(world_.said() == "");
    Selection selection = select_profiles(world_.tree, world_.diagnostics);
    REQUIRE(selection.profiles.size() >= 3);
    Stock stock(root);
    stock.open();
    Snapshot now = take_snapshot(world_.tree, selection, 0, 1);
    stock.match(now, 1);
    std::vector<PackedProfile> packed(selection.profiles.size());
    std::vector<char> marks(packed.size(), 0);
    Resolver resolver(world_.tree);
    ProfilePacker packer(world_.tree);
    for (std::size_t i = 0; i < packed.size(); ++i) {
      const Selected& each = selection.profiles[i];
      Diagnostics out;
      PackedProfile fresh = packer.pack(each, resolver.resolve(each.triple, out));
      std::string process(world_.tree[each.triple.of[2]].name());
      // Of which something was said is there all the same.
      held += stock.holds(i, false) ? (held.empty() ? "" : " ") + process : "";
      if (stock.take(i, true, packed[i])) {
        taken += (taken.empty() ? "" : " ") + process;
        same &= packed[i].capped == fresh.capped && packed[i].title == fresh.title && packed[i].tier == fresh.tier &&
                packed[i].status == fresh.status && alike(packed[i].entry, fresh.entry);
      } else {
        packed[i] = std::move(fresh);
      }
      if (std::find(said.begin(), said.end(), process) != said.end()) marks[i] = 1;
    }
    std::vector<std::pair<const PackedEntry*, std::size_t>> order;
    for (std::size_t i = 0; i < packed.size(); ++i) order.emplace_back(&packed[i].entry, i);
    std::sort(order.begin(), order.end(), [](const auto& a, const auto& b) { return a.first->path < b.first->path; });
    std::vector<const PackedEntry*> entries;
    for (const auto& [entry, number] : order) entries.push_back(entry);
    fs::create_directories(root / "out");
    fs::remove(root / "out/all.zip");
    TierRelease whole;
    whole.sections = std::move(sections);
    {
      std::ofstream file(root / "out/all.zip", std::ios::binary);
      std::vector<std::uint64_t> places = ArchiveWriter(entries, 0).finish({[&](std::string_view bytes) { whole.checksum = checksum(bytes, whole.checksum); }, [&](std::string_view bytes) { file << bytes; }});
      REQUIRE(places.size() == packed.size());
      whole.places.resize(places.size());
      for (std::size_t i = 0; i < places.size(); ++i) whole.places[order[i].second] = places[i];
    }
    stock.require_unchanged();
    stock.replace(packed, marks);
    REQUIRE(stock.keep_index(whole));
    stock.keep_archive(root / "out/all.zip");
  }

  std::string taken;  // the processes of those that were taken over
  std::string held;   // those of the ones that could be, whatever was said of them
  bool same = true;   // as if they had been made

 private:
  static std::string stored(const PackedEntry& entry) {
    if (entry.lent.file == nullptr) return entry.data;
    std::string out(entry.lent.length, ' ');
    REQUIRE(entry.lent.file->read(entry.lent.at, out.data(), out.size()));
    return out;
  }
  static bool alike(const PackedEntry& a, const PackedEntry& b) {
    return a.path == b.path && stored(a) == stored(b) && a.deflated == b.deflated && a.size == b.size && a.crc == b.crc && a.digest == b.digest;
  }

  test::World world_;
};

std::string taken_after(const test::Files& before, const test::Files& after) {
  test::Folder folder;
  Built first(folder.path, before);
  REQUIRE(first.taken.empty());
  Built second(folder.path, after);
  CHECK(second.same);
  return second.taken;
}

}  // namespace

TEST_SUITE("release/stock") {

TEST_CASE("sections of long texts are found again where they lie") {
  test::Folder folder;
  Built built(folder.path, tree_of(), {}, {{{sha256("second"), 30}, 40}, {{sha256("first"), 12}, 0}, {{sha256("outside"), 10}, 1u << 30}, {{sha256("beyond"), 1u << 30}, 10}});
  std::ifstream file(folder.path / "out/all.zip", std::ios::binary);
  std::string archive(std::istreambuf_iterator<char>(file), {});
  REQUIRE(archive.size() > 70);
  Stock stock(folder.path);
  std::string out = "before";
  CHECK_FALSE(stock.append(sha256("first"), out));  // not opened yet
  stock.open();
  CHECK(stock.append(sha256("first"), out));
  CHECK(stock.append(sha256("second"), out));
  for (const std::string& digest : {sha256("outside"), sha256("beyond"), std::string("first"), std::string()}) CHECK_FALSE(stock.append(digest, out));
  for (char digit : std::string("0123456789abcdef")) CHECK_FALSE(stock.append(std::string(64, digit), out));
  CHECK(out == "before" + archive.substr(0, 12) + archive.substr(40, 30));
}

TEST_CASE("where nothing was edited all is taken over, as if it had been made") {
  CHECK(taken_after(tree_of(), tree_of()) == "calm loud q");
}

TEST_CASE("an edit of a fragment reaches the profiles that are made of it, through bases too") {
  CHECK(taken_after(tree_of(), tree_of("wall.speed: 101 mm/s")) == "loud q");
  CHECK(taken_after(tree_of(), tree_of("wall.speed: 100 mm/s", {{"profiles-src/process/loud.yaml", "title: Loud\n"}})) == "calm q");
  CHECK(taken_after(tree_of(), tree_of("wall.speed: 100 mm/s", {{"profiles-src/machine/m.yaml", "title: Another\n"}})).empty());
}

TEST_CASE("a fragment that comes or goes leaves the others alone") {
  test::Files more = tree_of();
  more["profiles-src/process/amid.yaml"] = "title: Amid\n";
  CHECK(taken_after(tree_of(), more) == "calm loud q");
  CHECK(taken_after(more, tree_of()) == "calm loud q");
}

TEST_CASE("a parent that moves to another file with the same text is taken for another") {
  std::string text = "abstract: true\nfittings:\n  a: { settings: { wall.speed: 90 mm/s } }\n  b: { settings: { wall.speed: 90 mm/s } }\n";
  test::Files before = tree_of("wall.speed: 100 mm/s", {{"profiles-src/process/base.yaml", text}});
  before["profiles-src/process/calm.yaml"] = "extends: base+a\n";
  test::Files after = before;
  after["profiles-src/process/calm.yaml"] = "extends: base+b\n";
  CHECK(taken_after(before, after).find("calm") == std::string::npos);
}

TEST_CASE("what is for all profiles reaches all") {
  test::Files plan = tree_of(), schema = tree_of();
  plan["release/plan.yaml"] = "sets:\n  all: { tier: supporter, take: [ { process: \"*\" } ] }\n";
  std::string& settings = schema["schema/settings.yaml"];
  std::size_t at = settings.find("default: 0.2 mm");
  REQUIRE(at != std::string::npos);
  settings.replace(at, 15, "default: 0.3 mm");
  CHECK(taken_after(tree_of(), plan).empty());
  CHECK(taken_after(tree_of(), schema).empty());
}

TEST_CASE("a profile of which something was said is made again") {
  test::Folder folder;
  Built(folder.path, tree_of(), {"loud"});
  Built again(folder.path, tree_of());
  CHECK(again.taken == "calm q");
  CHECK(again.held == "calm loud q");
  CHECK(Built(folder.path, tree_of()).taken == "calm loud q");
}

TEST_CASE("the archive stays when what was built is removed, and is not believed when its bytes are others") {
  for (bool removed : {true, false}) {
    CAPTURE(removed);
    test::Folder folder;
    Built(folder.path, tree_of());
    fs::path out = folder.path / "out/all.zip", kept = folder.path / ".bindery/packed/archive";
    REQUIRE(fs::exists(kept));
    if (removed) {
      fs::remove(out);
    } else {
      std::fstream file(out, std::ios::in | std::ios::out | std::ios::binary);
      file.seekp(60);
      file.put('\x7f');
    }
    CHECK(Built(folder.path, tree_of()).taken == (removed ? "calm loud q" : ""));
  }
}

TEST_CASE("an index without its archive, or with another's, is nothing") {
  test::Folder folder;
  fs::path kept = folder.path / ".bindery/packed";
  Built(folder.path, tree_of());
  fs::copy_file(kept / "archive", folder.path / "earlier");
  fs::remove(kept / "archive");
  CHECK(Built(folder.path, tree_of("wall.speed: 99 mm/s")).taken.empty());
  fs::rename(folder.path / "earlier", kept / "archive");
  CHECK(Built(folder.path, tree_of("wall.speed: 99 mm/s")).taken.empty());
  fs::remove(kept / "index");
  CHECK(Built(folder.path, tree_of("wall.speed: 99 mm/s")).taken.empty());
  CHECK(Built(folder.path, tree_of("wall.speed: 99 mm/s")).taken == "calm loud q");
}

}
