// Which edit gives a profile a value: in place, as a new line, as a correction, or none.
#include "edit/propose.h"

#include "../support.h"

using namespace bindery;

namespace {

// The line that a wish for a number leads to, "process/q wall.speed: 70 mm/s"; or the report's message.
std::string line(const test::Files& files, std::string_view key, double number, const std::string& into = "") {
  test::World world(files);
  REQUIRE_MESSAGE(world.said() == "", world.said());
  Wish wish;
  wish.key = world.key(key);
  wish.value.emplace().number = number;
  ProposalForm form;
  if (!into.empty()) form.into = world.fragment(Kind::process, into);
  Diagnostics out;
  Remaining none = [](const Tree&, const Profile&, const Resolver::Axes&) { return std::vector<Wish>(); };
  auto proposal = propose(world.tree, world.triple(), {wish}, form, none, out);
  if (!proposal) return out.items().front().message;
  REQUIRE(proposal->lines.size() == 1);
  return fmt::format("{} {}", proposal->lines.front().where, proposal->lines.front().line);
}

test::Files process(const std::string& settings, const test::Files& more = {}) { return test::small_tree("", "", "title: Q\n" + settings, more); }

}  // namespace

TEST_SUITE("edit/propose") {

TEST_CASE("a value is edited where it stands") {
  CHECK(line(process("settings: { wall.speed: 80 mm/s }\n"), "wall.speed", 70) == "process/q wall.speed: 70 mm/s");
  test::Files by_machine = test::small_tree("title: M\nsettings: { travel.speed: 200 mm/s }\n");
  CHECK(line(by_machine, "travel.speed", 180) == "machine/m travel.speed: 180 mm/s");
}

TEST_CASE("the unit of the line is kept where the value is the same in it") {
  CHECK(line(process("settings: { wall.speed: 4800 mm/min }\n"), "wall.speed", 70) == "process/q wall.speed: 4200 mm/min");
  CHECK(line(process("settings: { wall.width: 450 um }\n"), "wall.width", 0.5) == "process/q wall.width: 500 um");
}

TEST_CASE("a sum stays a sum, and a product a product") {
  test::Files base = {{"profiles-src/process/b.yaml", "title: B\nsettings: { wall.speed: 80 mm/s }\n"}};
  CHECK(line(process("extends: b\nsettings: { wall.speed: { add: 5 mm/s } }\n", base), "wall.speed", 90) == "process/q wall.speed: { add: 10 mm/s }");
  CHECK(line(process("extends: b\nsettings: { wall.speed: { scale: 1.5 } }\n", base), "wall.speed", 100) == "process/q wall.speed: { scale: 1.25 }");
  CHECK(line(process("settings: { heat.nozzle: { add: 5 K } }\n"), "heat.nozzle", 220) == "process/q heat.nozzle: { add: 10 K }");
  // 80 x 1.0875 is 87 even, 80 x 1/3 is not.
  CHECK(line(process("extends: b\nsettings: { wall.speed: { scale: 1.5 } }\n", {{"profiles-src/process/b.yaml", "title: B\nsettings: { wall.speed: 90 mm/s }\n"}}), "wall.speed", 30.000001) == "process/q wall.speed: 30.000001 mm/s");
}

TEST_CASE("what an ancestor wrote is written again in the profile's own fragment") {
  test::Files base = {{"profiles-src/process/b.yaml", "title: B\nsettings: { wall.speed: 80 mm/s }\n"}};
  CHECK(line(process("extends: b\n", base), "wall.speed", 90) == "process/q wall.speed: 90 mm/s");
  CHECK(line(process("extends: b\n", base), "wall.speed", 90, "b") == "process/b wall.speed: 90 mm/s");
}

TEST_CASE("a default is overwritten by the last kind that may write it") {
  CHECK(line(process(""), "wall.speed", 90) == "process/q wall.speed: 90 mm/s");
  CHECK(line(process(""), "flow.limit", 9) == "material/p flow.limit: 9 mm^3/s");
}

TEST_CASE("corrections stay, and what lies below them is edited") {
  test::Files files = test::small_tree("title: M\nadjust: { heat.nozzle: { add: 5 K } }\n", "", "title: Q\nsettings: { heat.nozzle: 215 degC }\n");
  CHECK(line(files, "heat.nozzle", 230) == "process/q heat.nozzle: 225 degC");
}

TEST_CASE("where a block of conditions writes the value, a correction survives it") {
  test::Files files = process("when: [ { if: { material: [p] }, settings: { wall.speed: 50 mm/s } } ]\n");
  CHECK(line(files, "wall.speed", 55) == "process/q adjust wall.speed: { add: 5 mm/s }");
}

TEST_CASE("a value above a limit is not to be had, and the limit is told") {
  test::Files files = test::small_tree("title: M\nlimits: { wall.speed: { at_most: 100 mm/s } }\n");
  CHECK(line(files, "wall.speed", 120) == "'wall.speed' cannot become 120 mm/s: a limit of machine/m holds it to at most 100 mm/s");
  test::Files refused = test::small_tree("title: M\nlimits: { heat.nozzle: { at_most: 250 degC, else: refuse } }\n");
  CHECK(line(refused, "heat.nozzle", 260).starts_with("'heat.nozzle' cannot become 260 degC: "));
}

TEST_CASE("what no fragment of the profile may write stays as it is") {
  CHECK(line(process(""), "nozzle.bore", 0.6, "q") == "'nozzle.bore' cannot become 0.6 mm: nothing that may stand in that fragment reaches it");
  test::Files locked = test::small_tree("title: M\nsettings: { wall.speed: 70 mm/s }\nlocked: [wall.speed]\n");
  CHECK(line(locked, "wall.speed", 80) == "machine/m wall.speed: 80 mm/s");
}

}  // TEST_SUITE
