// The edits between two trees, by fragment, dictionary and plan, as far as an audience may know of them.
#include "changes/edits.h"

#include "../comparison.h"

using namespace bindery;
using test::Files;
using test::small_tree;
using test::Twins;

namespace {

std::string edits(const Files& before, const Files& after, Tier audience = Tier::supporter) {
  return test::edit_lines(Twins(before, after).edits(audience).edits);
}

Files with_dictionary(std::string_view old, std::string_view now) {
  std::string text(test::dictionary);
  std::size_t at = text.find(old);
  REQUIRE_MESSAGE(at != std::string::npos, old);
  return small_tree("", "", "", {{"schema/settings.yaml", text.replace(at, old.size(), now)}});
}

// What the dictionary's edit is told as.
std::string schema_edits(std::string_view old, std::string_view now) {
  return edits(small_tree(), with_dictionary(old, now));
}

// The only edit.
Edit only(const Files& before, const Files& after) {
  auto found = Twins(before, after).edits().edits;
  REQUIRE(found.size() == 1);
  return found[0];
}

}  // namespace

TEST_SUITE("changes/edits") {

TEST_CASE("equal trees have no edits") {
  Twins twins(small_tree("settings: { wall.count: 3 }\n"), small_tree("settings: { wall.count: 3 }\n"));
  CHECK(twins.edits().edits.empty());
  CHECK(twins.changes().empty());
}

TEST_CASE("a file that merely moved between folders is no edit, and its edits tell both places") {
  Files before = small_tree(), after = small_tree();
  before["profiles-src/process/r.yaml"] = "settings: { wall.count: 3 }\n";
  after["profiles-src/process/slow/r.yaml"] = "settings: { wall.count: 3 }\n";
  CHECK(edits(before, after) == "");
  after["profiles-src/process/slow/r.yaml"] = "settings: { wall.count: 4 }\n";
  Edit edit = only(before, after);
  CHECK(edit.file == "profiles-src/process/slow/r.yaml");
  CHECK(edit.old_file == "profiles-src/process/r.yaml");
}

TEST_CASE("an edit tells the file where it stands, or stood") {
  const Files with = small_tree("", "", "", {{"profiles-src/process/r.yaml", "title: R\n"}});
  for (const Edit& edit : {only(small_tree(), with), only(with, small_tree())}) {
    CHECK(edit.part == Part::fragment);
    CHECK(edit.fragment == "process/r");
    CHECK(edit.file == "profiles-src/process/r.yaml");
    CHECK(edit.old_file == "");
  }
}

TEST_CASE("fragments are paired by name, then by `replaces`") {
  Files before = small_tree(),
        after = small_tree("", "", "", {{"profiles-src/process/r.yaml", "title: Process\nreplaces: [q]\n"}});
  after.erase("profiles-src/process/q.yaml");
  Twins twins(before, after);
  FragmentId old = twins.tree[0].find(Kind::process, "q"), now = twins.tree[1].find(Kind::process, "r");
  CHECK(twins.map.of(0, old) == now);
  CHECK(twins.map.of(1, now) == old);
  CHECK(test::edit_lines(twins.edits().edits) ==
        "process/r replaces name: q -> r\nprocess/r replaces replaces:  -> [q]");
  CHECK(twins.edits().edits[0].old_fragment == "process/q");
}

TEST_CASE("`replaces` on a base carries its fittings along") {
  Files before = small_tree("fittings: { \"a\": {}, \"b\": {} }\n"), after = small_tree();
  after.erase("profiles-src/machine/m.yaml");
  after["profiles-src/machine/n.yaml"] = "replaces: [m]\nfittings: { \"a\": {}, \"b\": {} }\n";
  Twins twins(before, after);
  CHECK(twins.map.of(0, twins.tree[0].find(Kind::machine, "m+b")) == twins.tree[1].find(Kind::machine, "n+b"));
}

TEST_CASE("without `replaces` a new name is another fragment") {
  Files before = small_tree(), after = small_tree("", "", "", {{"profiles-src/process/r.yaml", "title: Process\n"}});
  after.erase("profiles-src/process/q.yaml");
  CHECK(edits(before, after) == "process/q fragment fragment: there -> \nprocess/r fragment fragment:  -> there");
}

TEST_CASE("an edit is found by its place on either side") {
  Twins twins(small_tree("settings: { wall.count: 3 }\n"),
              small_tree("settings: { wall.count: 4, wall.speed: 60 mm/s }\n"));
  EditTable table = twins.edits();
  FragmentId m = twins.tree[0].find(Kind::machine, "m");
  std::uint32_t count = table.find(0, {m, 0, Part::settings, "wall.count"});
  REQUIRE(count != EditTable::none);
  CHECK(table.edits[count].before == "3");
  CHECK(table.find(1, {m, 0, Part::settings, "wall.count"}) == count);
  CHECK(table.find(0, {m, 0, Part::settings, "wall.speed"}) == EditTable::none);  // it is not there
  CHECK(table.find(1, {m, 0, Part::settings, "wall.speed"}) != EditTable::none);
  CHECK(table.find(1, {m, 0, Part::adjust, "wall.count"}) == EditTable::none);
}

TEST_CASE("an edit of a temperature, or of what shifts one, is thermal") {
  CHECK(only(small_tree("", "settings: { heat.nozzle: 200 degC }\n"),
             small_tree("", "settings: { heat.nozzle: 210 degC }\n"))
            .thermal);
  CHECK(
      only(small_tree("adjust: { heat.nozzle: { add: 5 K } }\n"), small_tree("adjust: { heat.nozzle: { add: 6 K } }\n"))
          .thermal);
  CHECK(only(small_tree("limits: { \"heat.*\": { at_most: 280 degC, else: refuse } }\n"),
             small_tree("limits: { \"heat.*\": { at_most: 270 degC, else: refuse } }\n"))
            .thermal);
  CHECK_FALSE(only(small_tree("settings: { wall.count: 3 }\n"), small_tree("settings: { wall.count: 4 }\n")).thermal);
}

// Tiers: what the free audience gets is the same whatever supporter-only sources say, or without them.
TEST_CASE("to the free audience a supporter's fragment is not there") {
  auto tree = [](int count) {
    return small_tree(
        "", "", "",
        {{"profiles-src/process/paid.yaml", fmt::format("tier: supporter\nsettings: {{ wall.count: {} }}\n", count)}});
  };
  CHECK(edits(tree(3), tree(4)) == "process/paid settings wall.count: 3 -> 4");
  CHECK(edits(tree(3), tree(4), Tier::free) == "");
  CHECK(edits(small_tree(), tree(4), Tier::free) == "");
}

TEST_CASE("to the free audience what extends a supporter's fragment is not there either") {
  auto tree = [](int count) {
    return small_tree(
        "", "", "",
        {{"profiles-src/process/paid.yaml", "abstract: true\ntier: supporter\n"},
         {"profiles-src/process/below.yaml", fmt::format("extends: paid\nsettings: {{ wall.count: {} }}\n", count)}});
  };
  CHECK(edits(tree(3), tree(4), Tier::free) == "");
}

TEST_CASE("to the free audience a fragment that changed its tier came or went") {
  const Files free = small_tree("", "", "title: Q\n"), paid = small_tree("", "", "title: Q\ntier: supporter\n");
  CHECK(edits(free, paid) == "process/q tier tier:  -> supporter");
  CHECK(edits(free, paid, Tier::free) == "process/q fragment fragment: there -> ");
  CHECK(edits(paid, free, Tier::free) == "process/q fragment fragment:  -> there");
}

TEST_CASE("to the free audience a condition tells no names") {
  auto tree = [](std::string_view material) {
    return small_tree("", "",
                      fmt::format("title: Q\nfits: {{ material: [p, {}], where: nozzle.bore > 0.1 mm }}\n", material));
  };
  const std::string masked = "material: [...], where: nozzle.bore > 0.1 mm";
  CHECK(edits(tree("paid-*"), tree("dear-*"), Tier::free) ==
        fmt::format("process/q fits fits: {} -> {}", masked, masked));
}

TEST_CASE("each part of the dictionary's entry is an edit of its own") {
  const std::string_view height =
      "layer.height: { kinds: [process], unit: mm, default: 0.2 mm, range: [0.05, 1], typical: [0.1, 0.4] }";
  CHECK(schema_edits(height,
                     "layer.height: { kinds: [process, material], unit: mm, default: 0.3 mm, range: [0.05, 2], "
                     "typical: [0.1, 0.6], required: true, over_limit: refuse }") ==
        "schema default layer.height: 0.2 mm -> 0.3 mm\nschema kinds layer.height: process -> material and "
        "process\nschema over_limit layer.height: cap -> refuse\n"
        "schema range layer.height: 0.05 to 1 mm -> 0.05 to 2 mm\nschema required layer.height: false -> true\nschema "
        "typical layer.height: 0.1 to 0.4 mm -> 0.1 to 0.6 mm");
}

TEST_CASE("choices, kinds that adjust and beads of the dictionary are edits") {
  CHECK(schema_edits("choices: [rear, corner, spread]", "choices: [rear, corner]") ==
        "schema choices seam.place: rear, corner, spread -> rear, corner");
  CHECK(schema_edits("adjustable_by: [process], unit: \"%\"", "adjustable_by: [process, machine], unit: \"%\"") ==
        "schema kinds flow.ratio: machine and material, adjustable by process -> machine and material, adjustable by "
        "machine and process");
  CHECK(schema_edits("extrudes: { area: thread.area }", "extrudes: { width: wall.width, height: layer.height }") ==
        "schema extrudes thread.speed: { area: thread.area } -> { width: wall.width, height: layer.height }");
}

TEST_CASE("a setting that came or went is one edit") {
  const std::string_view fan = "  fan.duty:";
  CHECK(schema_edits(fan, "  skirt.loops: { kinds: [process], type: count, default: 2 }\n  fan.duty:") ==
        "schema setting skirt.loops:  -> there");
}

TEST_CASE("words of the dictionary are an edit, told as such") {
  CHECK(only(small_tree(), with_dictionary("How fast walls are laid.", "How fast a wall is laid.")).part ==
        Part::words);
}

TEST_CASE("roles and the job's names are edits") {
  CHECK(schema_edits(", flow_limit: flow.limit", "") == "schema role flow_limit: flow.limit -> ");
  CHECK(schema_edits("job: [layer.number]", "job: [layer.number, layer.z]") ==
        "schema job job: layer.number -> layer.number, layer.z");
}

TEST_CASE("rules are edits by their name") {
  auto tree = [](std::string_view rules) {
    return small_tree("", "", "", {{"schema/rules.yaml", std::string(rules)}});
  };
  const std::string_view one =
      "rules:\n  low: { assert: layer.height < 0.5 mm, severity: warning, say: too high, source: common practice }\n";
  const std::string_view other =
      "rules:\n  low: { assert: layer.height < 0.4 mm, severity: error, say: too high, source: common practice }\n";
  CHECK(edits(small_tree(), tree(one)) == "schema rule low:  -> warning: layer.height < 0.5 mm");
  CHECK(edits(tree(one), tree(other)) ==
        "schema rule low: warning: layer.height < 0.5 mm -> error: layer.height < 0.4 mm");
  CHECK(edits(tree(other), small_tree()) == "schema rule low: error: layer.height < 0.4 mm -> ");
}

TEST_CASE("sets of the plan are edits by their name, those of the audience alone") {
  auto tree = [](std::string_view process) {
    return small_tree("", "", "",
                      {{"release/plan.yaml", fmt::format("sets:\n  all: {{ tier: supporter, take: [ {{ process: {} }} "
                                                         "] }}\n  some: {{ tier: free, take: [ {{ process: q }} ] }}\n",
                                                         process)}});
  };
  CHECK(edits(tree("q"), tree("\"*\"")) ==
        "plan set all: supporter; take { process: [q] } -> supporter; take { process: [*] }");
  CHECK(edits(tree("q"), tree("\"*\""), Tier::free) == "");
  CHECK(edits(tree("q"), small_tree(), Tier::free) ==
        "plan set some: free; take { process: [...] } -> ");  // names may be those of supporters
}

TEST_CASE("notes and the ledger are no edits, texts of the archive are words") {
  CHECK(edits(small_tree(), small_tree("", "", "",
                                       {{"release/notes/a.yaml", "section: Fixed\ntext: A slip.\n"},
                                        {"release/ledger.yaml", "releases: []\n"}})) == "");
  CHECK(only(small_tree(), small_tree("", "", "", {{"release/texts/licence.txt", "Free.\n"}})).part == Part::words);
}

}
