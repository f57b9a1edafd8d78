// Causes of scripts that differ.
#include "../comparison.h"
#include "changes/trace.h"

using namespace bindery;
using test::Files;
using test::scripts_of;
using test::small_tree;
using test::Twins;

namespace {

Files with_start(std::string_view machine, std::string process = "") {
  return small_tree(fmt::format("scripts:\n  start: |\n    {}\n", machine), "", std::move(process));
}

}  // namespace

TEST_SUITE("changes/trace_scripts") {

TEST_CASE("a script's own text is the cause") {
  CHECK(scripts_of(Twins(with_start("G28"), with_start("G28 X")).changes()) == "start by machine/m scripts start");
}

TEST_CASE("a value in a script passes on what made it differ") {
  auto tree = [](int travel) {
    return with_start("G1 F${travel.speed in mm/min}", fmt::format("settings: {{ travel.speed: {} mm/s }}\n", travel));
  };
  CHECK(scripts_of(Twins(tree(100), tree(120)).changes()) == "start by process/q settings travel.speed");
}

TEST_CASE("a value that a script does not hold is no cause of it") {
  CHECK(scripts_of(Twins(with_start("G28", "settings: { travel.speed: 100 mm/s }\n"),
                         with_start("G28 X", "settings: { travel.speed: 120 mm/s }\n"))
                       .changes()) == "start by machine/m scripts start");
}

TEST_CASE("what is added before and after is a cause, each where it stands") {
  auto tree = [](std::string_view before, std::string_view after) {
    return small_tree("scripts: { start: G28 }\n", fmt::format("scripts: {{ start: {{ before: {} }} }}\n", before),
                      fmt::format("scripts: {{ start: {{ after: {} }} }}\n", after));
  };
  CHECK(scripts_of(Twins(tree("M1", "M2"), tree("M3", "M2")).changes()) == "start by material/p scripts start");
  CHECK(scripts_of(Twins(tree("M1", "M2"), tree("M3", "M4")).changes()) ==
        "start by material/p scripts start + process/q scripts start");
}

TEST_CASE("a script that came or went has nothing on the other side") {
  Changes changes = Twins(small_tree(), with_start("G28")).changes();
  CHECK(scripts_of(changes) == "start by machine/m scripts start");
  REQUIRE(changes.scripts.size() == 1);
  const ScriptEffect& effect = changes.scripts[0].effects.at(0);
  CHECK(effect.before == 0);
  CHECK(changes.texts[effect.after] == "G28\n");
}

TEST_CASE("`none` that drops an inherited script is the cause, and so is its end") {
  auto tree = [](std::string own) {
    return small_tree("extends: base\n" + own, "", "",
                      {{"profiles-src/machine/base.yaml", "abstract: true\nscripts: { end: M84 }\n"}});
  };
  CHECK(scripts_of(Twins(tree(""), tree("scripts: { end: none }\n")).changes()) == "end by machine/m scripts end");
  CHECK(scripts_of(Twins(tree("scripts: { end: none }\n"), tree("")).changes()) == "end by machine/m scripts end");
}

TEST_CASE("a text that another one replaces is no cause") {
  auto tree = [](std::string_view below, std::string_view own) {
    return small_tree(
        fmt::format("extends: base\nscripts: {{ end: {} }}\n", own), "", "",
        {{"profiles-src/machine/base.yaml", fmt::format("abstract: true\nscripts: {{ end: {} }}\n", below)}});
  };
  Changes hidden = Twins(tree("M84", "M1"), tree("M85", "M1")).changes();
  CHECK(scripts_of(hidden) == "");
  CHECK(test::idle_of(hidden) == "machine/base scripts end");
  CHECK(scripts_of(Twins(tree("M84", "M1"), tree("M85", "M2")).changes()) == "end by machine/m scripts end");
}

TEST_CASE("a block that a fact brings into force is the cause of its script") {
  auto tree = [](std::string_view bore) {
    return small_tree(fmt::format("settings: {{ nozzle.bore: {} }}\n", bore), "",
                      "when:\n  - if: { where: nozzle.bore > 0.5 mm }\n    scripts: { start: M900 }\n");
  };
  CHECK(scripts_of(Twins(tree("0.4 mm"), tree("0.6 mm")).changes()) == "start by machine/m settings nozzle.bore");
}

TEST_CASE("each slot is told by itself") {
  Changes changes =
      Twins(small_tree("scripts: { start: G28, end: M84 }\n"), small_tree("scripts: { start: G28 X, end: M18 }\n"))
          .changes();
  CHECK(scripts_of(changes) == "end by machine/m scripts end\nstart by machine/m scripts start");
}

TEST_CASE("what only the running job knows is no cause") {
  CHECK(scripts_of(Twins(with_start("M117 @{layer.number}"), with_start("M117 @{layer.number} of it")).changes()) ==
        "start by machine/m scripts start");
}

}
