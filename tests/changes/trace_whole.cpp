// Causes checked by resolving trees anew: with the edits that are named as causes and no others, each value that
// differs comes out as it does with all.
#include "../comparison.h"

using namespace bindery;
using test::mixed_edits;
using test::mixed_tree;
using test::Twins;
using test::World;

namespace {

// The edit of mixed_tree() that an edit between two of its trees is.
unsigned bit_of(const Edit& edit) {
  static const std::map<std::string, unsigned> known = {{"machine/m extends extends", 0},
                                                        {"machine/m settings nozzle.bore", 1},
                                                        {"machine/m settings flow.limit", 2},
                                                        {"machine/m settings travel.speed", 3},
                                                        {"machine/m limits *.speed", 4},
                                                        {"machine/m scripts start", 5},
                                                        {"material/p settings heat.nozzle", 6},
                                                        {"material/p settings flow.ratio", 7},
                                                        {"process/q settings layer.height", 8},
                                                        {"process/q settings wall.count", 9},
                                                        {"process/q when when", 10},
                                                        {"machine/base settings seam.place", 11},
                                                        {"machine/base adjust heat.nozzle", 12},
                                                        {"schema default wall.width", 13}};
  std::string name = fmt::format("{} {} {}", edit.fragment, name_of(edit.part), edit.setting);
  REQUIRE_MESSAGE(known.contains(name), name);
  return known.at(name);
}

std::string value_in(unsigned edits, const std::string& id, std::string_view key) {
  static std::map<unsigned, std::unique_ptr<World>> worlds;
  auto& world = worlds[edits];
  if (!world) world = std::make_unique<World>(mixed_tree(edits));
  std::size_t first = id.find('/'), second = id.find('/', first + 1);
  return world->value(
      key, world->triple(id.substr(0, first), id.substr(first + 1, second - first - 1), id.substr(second + 1)));
}

struct Tally {
  std::size_t values = 0, several = 0;  // of the latter each has more than one cause
};

void check(unsigned before, unsigned after, Tally& tally) {
  CAPTURE(before);
  CAPTURE(after);
  Changes changes = Twins(mixed_tree(before), mixed_tree(after)).changes();
  for (const Change& change : changes.changes) {
    unsigned causes = 0;
    for (std::uint32_t each : change.causes) causes |= 1u << bit_of(changes.edits[each]);
    CAPTURE(causes);
    CHECK((causes & ~(before ^ after)) == 0);
    unsigned alone = (before & ~causes) | (after & causes);
    for (const Effect& effect : change.effects) {
      const std::string &id = changes.profiles[effect.profile].id, &key = changes.settings[effect.setting].key;
      CHECK_MESSAGE(value_in(alone, id, key) == value_in(after, id, key), id, " ", key);
      ++tally.values;
      tally.several += (causes & (causes - 1)) != 0 ? 1 : 0;
    }
  }
}

}  // namespace

TEST_SUITE("changes/trace_whole") {

TEST_CASE("each edit alone is the one cause of all that differs") {
  Tally tally;
  for (unsigned bit = 0; bit < mixed_edits; ++bit) {
    check(0, 1u << bit, tally);
    check(test::all_mixed_edits, test::all_mixed_edits ^ 1u << bit, tally);
  }
  CHECK(tally.values > 50);
}

TEST_CASE("of many edits the causes suffice to make each value that differs") {
  constexpr unsigned varied = test::all_mixed_edits & ~(1u << 10);  // the condition on names is tried alone above
  Tally tally;
  unsigned state = 2026;
  for (int round = 0; round < 40; ++round) {
    state = state * 1664525u + 1013904223u;
    unsigned before = state >> 10 & test::all_mixed_edits;
    state = state * 1664525u + 1013904223u;
    check(before, (state >> 10 & varied) | (before & ~varied), tally);
  }
  CHECK(tally.several > 100);
}

}
