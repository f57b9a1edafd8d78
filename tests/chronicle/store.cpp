#include "chronicle/store.h"

#include "../comparison.h"

using namespace bindery;
using test::dump;
using test::Folder;
using test::mixed_tree;
using test::Twins;

namespace {

// A difference with something in each of its lists.
const Changes& sample() {
  static const Changes changes = [] {
    test::Files before = mixed_tree(0), after = mixed_tree(test::all_mixed_edits);
    before["profiles-src/process/old.yaml"] = "title: Old\n";
    after["profiles-src/process/new.yaml"] = "title: New\nscripts: { pause: M0 }\n";
    after["profiles-src/process/harsh.yaml"] =
        "replaces: [rough]\nstatus: stable\nsettings: { layer.height: 0.3 mm }\n";
    after.erase("profiles-src/process/rough.yaml");
    after["profiles-src/material/other.yaml"] =
        "tier: supporter\nsettings: { wall.count: 7, order.words: [\"a \\\"b\\\" \\u00e4\"] }\n";
    after["profiles-src/machine/n.yaml"] = "extends: m\n";
    before["profiles-src/machine/n.yaml"] = "extends: m\n";
    return Twins(before, after).changes({Tier::supporter, true});
  }();
  return changes;
}

// Whatever stands in it can be read: numbers that point nowhere would be found by a walk over all of it.
std::size_t walk(const Changes& changes) {
  std::size_t sum = 0;
  for (const Edit& edit : changes.edits)
    sum += name_of(edit.part).size() + edit.fragment.size() + edit.before.size() + edit.after.size() + edit.file.size();
  for (const PlainValue& value : changes.values) sum += value.json.size();
  for (const std::string& text : changes.texts) sum += text.size();
  for (const ProfileName& profile : changes.profiles) sum += profile.id.size();
  for (const SettingName& setting : changes.settings) sum += setting.key.size();
  for (const Cast& cast : changes.cast) sum += cast.names.size() + cast.titles.size() + cast.families.size();
  for (const Change& change : changes.changes) sum += change.causes.size() + change.effects.size();
  for (const Content& content : changes.contents) sum += content.values.size();
  return sum;
}

}  // namespace

TEST_SUITE("chronicle/store") {

TEST_CASE("a difference is read back as it was packed") {
  const Changes& changes = sample();
  CHECK(!changes.added.empty());
  CHECK(!changes.removed.empty());
  CHECK(!changes.renamed.empty());
  CHECK(!changes.moved.empty());
  CHECK(!changes.contents.empty());
  CHECK(!changes.changes.empty());
  CHECK(!changes.caps.empty());
  CHECK(!changes.scripts.empty());
  CHECK(!changes.cast[0].families.empty());
  auto read = unpacked(packed(changes));
  REQUIRE(read.has_value());
  CHECK(dump(*read) == dump(changes));
  CHECK(read->edits == changes.edits);
  CHECK(read->values == changes.values);
  CHECK(read->cast[0].nozzles == changes.cast[0].nozzles);
}

TEST_CASE("one difference has one form in bytes") {
  const std::string bytes = packed(sample());
  CHECK(packed(*unpacked(bytes)) == bytes);
  Changes copy = sample();
  CHECK(packed(copy) == bytes);
}

TEST_CASE("an empty difference is read back too") {
  auto read = unpacked(packed(Changes()));
  REQUIRE(read.has_value());
  CHECK(read->empty());
}

TEST_CASE("bytes that end early, or do not end, are nothing") {
  const std::string bytes = packed(sample());
  for (std::size_t length = 0; length < bytes.size(); ++length)
    CHECK_FALSE(unpacked(std::string_view(bytes).substr(0, length)).has_value());
  CHECK_FALSE(unpacked(bytes + '\0').has_value());
}

TEST_CASE("bytes that were flipped are nothing, or a value that can be walked") {
  const std::string bytes = packed(sample());
  std::size_t nothing = 0;
  unsigned state = 7;
  for (int round = 0; round < 500; ++round) {
    state = state * 1664525u + 1013904223u;
    std::string flipped = bytes;
    std::size_t at = (state >> 4) % bytes.size();
    state = state * 1664525u + 1013904223u;
    flipped[at] = static_cast<char>(flipped[at] ^ static_cast<char>(1 + (state >> 8) % 255));
    auto read = unpacked(flipped);
    if (!read) ++nothing;
    else CHECK(walk(*read) > 0);
  }
  CHECK(nothing > 0);
}

TEST_CASE("a length that no file could hold asks for no memory") {
  std::string bytes = packed(sample());
  for (std::size_t i = 0; i < 8; ++i) bytes[i] = '\xff';  // how many edits there are
  CHECK_FALSE(unpacked(bytes).has_value());
}

TEST_CASE("a store gives back what it kept, and nothing else") {
  Folder folder;
  ChangeStore store(folder.path);
  CHECK_FALSE(store.find("a").has_value());
  store.keep("a", sample());
  auto read = store.find("a");
  REQUIRE(read.has_value());
  CHECK(dump(*read) == dump(sample()));
  CHECK_FALSE(store.find("b").has_value());
}

TEST_CASE("a store is in no version control, and leaves nothing half-written") {
  Folder folder;
  ChangeStore(folder.path).keep("a", sample());
  std::ifstream ignore(folder.path / ".bindery" / ".gitignore");
  std::string line;
  CHECK(std::getline(ignore, line));
  CHECK(line == "*");
  std::size_t files = 0;
  for (const auto& entry : std::filesystem::directory_iterator(folder.path / ".bindery" / "changes"))
    files += entry.path().filename() == "a" ? 1 : 100;
  CHECK(files == 1);
}

TEST_CASE("a store refuses a file of which any byte was flipped, or that was cut") {
  Folder folder;
  ChangeStore store(folder.path);
  store.keep("a", sample());
  const std::filesystem::path path = folder.path / ".bindery" / "changes" / "a";
  std::ifstream in(path, std::ios::binary);
  const std::string bytes{std::istreambuf_iterator<char>(in), {}};
  auto write = [&](std::string_view text) { std::ofstream(path, std::ios::binary | std::ios::trunc) << text; };
  for (std::size_t at = 0; at < bytes.size(); at += 97) {
    std::string flipped = bytes;
    flipped[at] = static_cast<char>(flipped[at] ^ 1);
    write(flipped);
    CHECK_FALSE(store.find("a").has_value());
  }
  for (std::size_t length : {std::size_t(0), std::size_t(10), std::size_t(64), bytes.size() - 1}) {
    write(std::string_view(bytes).substr(0, length));
    CHECK_FALSE(store.find("a").has_value());
  }
  write(bytes);
  CHECK(store.find("a").has_value());
}

TEST_CASE("a store keeps a few dozen, the newest among them") {
  Folder folder;
  ChangeStore store(folder.path);
  for (int i = 0; i < 80; ++i) store.keep(fmt::format("n{}", i), Changes());
  std::size_t files = 0;
  for (const auto& entry : std::filesystem::directory_iterator(folder.path / ".bindery" / "changes"))
    files += entry.is_regular_file() ? 1 : 0;
  CHECK(files < 60);
  CHECK(files > 10);
  CHECK(store.find("n79").has_value());
}

TEST_CASE("a store that cannot be written keeps nothing, and says nothing") {
  Folder folder;
  folder.write(".bindery", "a file where the folder would be");
  ChangeStore store(folder.path);
  store.keep("a", sample());
  CHECK_FALSE(store.find("a").has_value());
}

}
