// What an edit could change at all. The check is full resolution: whatever the finder leaves out must be equal.
#include "changes/reach.h"

#include "../comparison.h"
#include "changes/pairs.h"

using namespace bindery;
using test::Files;
using test::mixed_tree;
using test::small_tree;
using test::Twins;

namespace {

// How much of m/p/q is looked at: "all", "nothing", or keys with a blank between, and "scripts".
std::string reach(const Files& before, const Files& after) {
  Twins twins(before, after);
  EditTable edits = twins.edits();
  ReachFinder finder(twins.tree[0], twins.tree[1], edits, twins.map, twins.keys);
  const Reach& found = finder.of(twins.selection[0].profiles.at(0).triple, twins.selection[1].profiles.at(0).triple);
  if (found.all) return "all";
  if (found.nothing()) return "nothing";
  std::set<std::string> words;
  for (std::uint32_t number : found.numbers)
    words.emplace(twins.tree[1].dictionary.settings[twins.keys.key[1][number]].key);
  if (found.scripts) words.emplace("scripts");
  return fmt::format("{}", fmt::join(words, " "));
}

// Resolves every pair of profiles whole; what differs must be in the reach. Gives how many differences there were, and
// how many settings were left out.
struct Tally {
  std::size_t differences = 0, left_out = 0;
};
Tally check_whole(const Files& before, const Files& after) {
  Twins twins(before, after);
  EditTable edits = twins.edits();
  ReachFinder finder(twins.tree[0], twins.tree[1], edits, twins.map, twins.keys);
  std::array<Resolver, 2> resolvers = {Resolver(twins.tree[0]), Resolver(twins.tree[1])};
  Tally tally;
  for (const Pair& pair : pair_profiles(twins.side(0), twins.side(1), twins.map, Tier::supporter)) {
    if (!pair.old || !pair.now) continue;
    const Triple &old = twins.selection[0].profiles[*pair.old].triple,
                 &now = twins.selection[1].profiles[*pair.now].triple;
    const Reach& found = finder.of(old, now);
    std::array<Profile, 2> whole = {resolvers[0].resolve(old, twins.diagnostics[0]),
                                    resolvers[1].resolve(now, twins.diagnostics[1])};
    for (std::uint32_t number = 0; number < twins.keys.size(); ++number) {
      KeyId left = twins.keys.key[0][number], right = twins.keys.key[1][number];
      bool looked_at = found.all || std::binary_search(found.numbers.begin(), found.numbers.end(), number);
      bool same = left != no_key && right != no_key &&
                  written_equal(twins.tree[0].dictionary.settings[left], whole[0].cells[left].value,
                                twins.tree[1].dictionary.settings[right], whole[1].cells[right].value) &&
                  (whole[0].cells[left].cap < 0) == (whole[1].cells[right].cap < 0);
      tally.differences += same ? 0 : 1;
      tally.left_out += looked_at ? 0 : 1;
      if (!looked_at) CHECK_MESSAGE(same, profile_id(twins.tree[1], now), " ", number);
    }
    if (!found.all && !found.scripts) CHECK(whole[0].scripts == whole[1].scripts);
  }
  return tally;
}

}  // namespace

TEST_SUITE("changes/reach") {

TEST_CASE("an edit reaches its own setting and those that read it, however deep") {
  CHECK(reach(small_tree(), small_tree("settings: { fan.duty: 60 % }\n")) == "fan.duty");
  const std::string process =
      "settings: { travel.speed: { calc: 2 * wall.speed }, wall.speed: { calc: wall.count * 20 mm/s } }\n";
  CHECK(reach(small_tree("settings: { wall.count: 3 }\n", "", process),
              small_tree("settings: { wall.count: 4 }\n", "", process)) == "travel.speed wall.count wall.speed");
}

TEST_CASE("an edit of what a bead is made of reaches the speeds that the flow limit caps") {
  CHECK(reach(small_tree(), small_tree("", "", "settings: { wall.width: 0.5 mm }\n")) == "wall.speed wall.width");
  CHECK(reach(small_tree(), small_tree("settings: { flow.limit: 9 mm^3/s }\n")) ==
        "flow.limit thread.speed wall.speed");
}

TEST_CASE("an edit of a limit reaches the settings that it binds") {
  CHECK(reach(small_tree(), small_tree("limits: { \"*.speed\": { at_most: 90 mm/s } }\n")) ==
        "thread.speed travel.speed wall.speed");
  CHECK(reach(small_tree("limits: { travel.speed: { at_most: 90 mm/s } }\n"),
              small_tree("limits: { travel.speed: none }\n")) == "travel.speed");
}

TEST_CASE("a setting that a script holds reaches the scripts") {
  const std::string script = "scripts: { start: \"M104 S${heat.nozzle}\" }\n";
  CHECK(reach(small_tree(script), small_tree(script, "settings: { heat.nozzle: 220 degC }\n")) ==
        "heat.nozzle scripts");
  CHECK(reach(small_tree(script), small_tree("scripts: { start: G28 }\n")) == "scripts");
}

TEST_CASE("a fact reaches everything, for conditions ask for it") {
  CHECK(reach(small_tree(), small_tree("settings: { nozzle.bore: 0.6 mm }\n")) == "all");
}

TEST_CASE("inheritance, conditions, names and units reach everything") {
  const Files base = {{"profiles-src/machine/base.yaml", "abstract: true\n"}};
  CHECK(reach(small_tree("title: M\n", "", "", base), small_tree("title: M\nextends: base\n", "", "", base)) == "all");
  auto block = [](std::string_view name) {
    return small_tree("", "",
                      fmt::format("when:\n  - if: {{ material: {} }}\n    settings: {{ wall.count: 4 }}\n", name));
  };
  CHECK(reach(block("p"), block("\"*\"")) == "all");
  Files renamed = small_tree("", "", "", {{"profiles-src/material/new.yaml", "title: Material\nreplaces: [p]\n"}});
  renamed.erase("profiles-src/material/p.yaml");
  CHECK(reach(small_tree(), renamed) == "all");
  std::string text(test::dictionary);
  text.replace(text.find("unit: mm/s, default: 150 mm/s"), 29, "unit: m/s, default: 150 mm/s");
  CHECK(reach(small_tree(), small_tree("", "", "", {{"schema/settings.yaml", text}})) == "all");
}

TEST_CASE("words, statuses, `fits` and other fragments reach nothing") {
  CHECK(reach(small_tree(), small_tree("title: Another\nabout: Words.\nstatus: stable\nfits: { material: p }\n")) ==
        "nothing");
  CHECK(reach(small_tree(),
              small_tree("", "", "", {{"profiles-src/process/r.yaml", "settings: { wall.count: 9 }\n"}})) == "nothing");
}

TEST_CASE("what is left out is equal, by full resolution, for each edit alone and for many together") {
  Tally tally;
  auto add = [&](unsigned before, unsigned after) {
    CAPTURE(before);
    CAPTURE(after);
    Tally each = check_whole(mixed_tree(before), mixed_tree(after));
    tally.differences += each.differences;
    tally.left_out += each.left_out;
  };
  for (unsigned bit = 0; bit < test::mixed_edits; ++bit) {
    add(0, 1u << bit);
    add(1u << bit, 0);
    add(test::all_mixed_edits, test::all_mixed_edits ^ 1u << bit);
  }
  unsigned state = 12345;
  for (int round = 0; round < 40; ++round) {
    state = state * 1664525u + 1013904223u;
    unsigned before = state >> 10 & test::all_mixed_edits;
    state = state * 1664525u + 1013904223u;
    add(before, before ^ (state >> 10 & state >> 14 & state >> 18 & test::all_mixed_edits));
  }
  CHECK(tally.differences > 300);  // else the check would prove little
  CHECK(tally.left_out > 1000);
}

}
