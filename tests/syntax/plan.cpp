#include "syntax/plan.h"

#include "../support.h"

using namespace bindery;

namespace {

struct Read {
  Sources sources;
  Diagnostics out;
  Plan plan;

  explicit Read(test::Files files) : sources(test::sources_of(with_publisher(std::move(files)))) { plan = read_plan(sources, out); }
  static test::Files with_publisher(test::Files files) {
    files.emplace("profiles-src/bindery.yaml", "publisher: Example Workshop\nlicence: CC0-1.0\n");
    return files;
  }
  std::string said() const { return test::told(out, sources); }
};

std::string plan_says(std::string text) { return Read({{"release/plan.yaml", std::move(text)}}).said(); }
std::string publisher_says(std::string text) { return Read({{"profiles-src/bindery.yaml", std::move(text)}}).said(); }

}  // namespace

TEST_SUITE("syntax/plan") {

// The tree: "`bindery.yaml` needs `publisher` and `licence`; `plan.yaml` needs nothing (`name` defaults to `profiles`)."
TEST_CASE("a tree without a plan is called `profiles`") {
  Read read({});
  CHECK(read.said() == "");
  CHECK(read.plan.name == "profiles");
  CHECK(read.plan.sets.empty());
  CHECK(read.plan.publisher.name == "Example Workshop");
  CHECK(read.plan.publisher.licence == "CC0-1.0");
  CHECK(read.plan.publisher.default_tier == Tier::free);
}

TEST_CASE("a tree needs a publisher and a licence") {
  Sources sources;
  Diagnostics out;
  Plan plan = read_plan(sources, out);
  CHECK(test::told(out, sources) == "publisher-missing");
  CHECK(plan.broken);
  CHECK(publisher_says("publisher: x\n") == "key-missing bindery.yaml:1:1");
  CHECK(publisher_says("licence: x\n") == "key-missing bindery.yaml:1:1");
  CHECK(publisher_says("publisher: x\nlicence: y\ncolour: red\n") == "header-unknown bindery.yaml:3:1");
}

TEST_CASE("a plan names its sets in order, each with its tier") {
  Read read({{"profiles-src/bindery.yaml", "publisher: x\nlicence: y\ndefault_tier: supporter\n"},
             {"release/plan.yaml", "name: demo\nsets:\n  starter: { title: Starter set, tier: free, take: [ { machine: m, process: [q, r] } ] }\n  rest: { take: [ {} ], leave: [ { material: p } ] }\n"}});
  CHECK(read.said() == "");
  CHECK(read.plan.name == "demo");
  REQUIRE(read.plan.sets.size() == 2);
  CHECK(read.plan.sets[0].title == "Starter set");
  CHECK(read.plan.sets[0].tier == Tier::free);
  REQUIRE(read.plan.sets[0].take.size() == 1);
  CHECK(read.plan.sets[0].take[0].names[0].size() == 1);
  CHECK(read.plan.sets[0].take[0].names[2].size() == 2);
  CHECK(read.plan.sets[1].tier == Tier::supporter);  // the tree's default
  CHECK(read.plan.sets[1].title == "rest");
  CHECK(read.plan.sets[1].leave.size() == 1);
}

TEST_CASE("what a plan may not hold is reported where it stands") {
  CHECK(plan_says("name: Two Words\n") == "name-invalid plan.yaml:1:7");
  CHECK(plan_says("sets: { A: {} }\n") == "name-invalid plan.yaml:1:9");
  CHECK(plan_says("sets: { a: { takes: [] } }\n") == "header-unknown plan.yaml:1:14");
  CHECK(plan_says("sets: { a: { take: { machine: m } } }\n") == "value-malformed plan.yaml:1:20");
  CHECK(plan_says("sets: { a: { take: [ { where: x } ] } }\n") == "header-unknown plan.yaml:1:24");
  CHECK(plan_says("sets: { a: { tier: gold } }\n") == "value-malformed plan.yaml:1:20");
  CHECK(plan_says("set: {}\n") == "header-unknown plan.yaml:1:1");
}

TEST_CASE("gates are told to be unread, and their form is looked at") {
  CHECK(plan_says("gates: { stable: { trials: 2, grade: 3, time_within: 15 % } }\n") == "gates-unread plan.yaml:1:1");
  CHECK(plan_says("gates: { retired: { trials: 2 } }\n").starts_with("header-unknown plan.yaml:1:10"));
  CHECK(plan_says("gates: { stable: { prints: 2 } }\n").starts_with("header-unknown plan.yaml:1:20"));
}

TEST_CASE("a note is for supporters unless it says free") {
  Read read({{"release/notes/a.yaml", "section: Fixed\ntext: A slip.\n"}, {"release/notes/b.yaml", "section: Safety\ntier: free\ntext: Heat.\nversion: 1.2.0\n"}});
  CHECK(read.said() == "");
  REQUIRE(read.plan.notes.size() == 2);
  CHECK(read.plan.notes[0].tier == Tier::supporter);
  CHECK(read.plan.notes[0].section == "Fixed");
  CHECK(read.plan.notes[1].tier == Tier::free);
  CHECK(read.plan.notes[1].version == "1.2.0");
}

TEST_CASE("a note has a section and a text") {
  auto note_says = [](std::string text) { return Read({{"release/notes/n.yaml", std::move(text)}}).said(); };
  CHECK(note_says("text: x\n") == "key-missing n.yaml:1:1");
  CHECK(note_says("section: Added\n") == "key-missing n.yaml:1:1");
  CHECK(note_says("section: Improved\ntext: x\n").starts_with("value-malformed n.yaml:1:10"));
  CHECK(note_says("section: Added\ntext: x\nauthor: y\n") == "header-unknown n.yaml:3:1");
}

}
