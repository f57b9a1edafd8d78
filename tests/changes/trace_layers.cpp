// Causes that bring an operation into force or take it out: inheritance, conditions, names, adjustments.
#include "../comparison.h"
#include "changes/trace.h"

using namespace bindery;
using test::change_of;
using test::Files;
using test::idle_of;
using test::small_tree;
using test::Twins;

namespace {

// A machine that extends one or two of three bases, each of which writes the travel speed in its way.
Files family(std::string_view extends, std::string own = "", std::string process = "") {
  return small_tree(
      fmt::format("extends: {}\n{}", extends, own), "", std::move(process),
      {{"profiles-src/machine/hundred.yaml", "abstract: true\nsettings: { travel.speed: 100 mm/s }\n"},
       {"profiles-src/machine/more.yaml", "abstract: true\nsettings: { travel.speed: { add: 10 mm/s } }\n"},
       {"profiles-src/machine/twice.yaml", "abstract: true\nsettings: { travel.speed: { scale: 2 } }\n"}});
}

// A machine with a nozzle and a process with one block.
Files with_block(std::string_view bore, std::string_view condition, std::string_view inside) {
  return small_tree(fmt::format("settings: {{ nozzle.bore: {} }}\n", bore), "",
                    fmt::format("when:\n  - if: {{ {} }}\n    {}\n", condition, inside));
}

constexpr std::string_view hundred = "settings: { travel.speed: 100 mm/s }";

}  // namespace

TEST_SUITE("changes/trace_layers") {

TEST_CASE("another parent is the cause of what it brings and of what went with the old one") {
  CHECK(change_of(Twins(family("[hundred]"), family("[twice]")).changes(), "travel.speed") ==
        "100 -> 300 by machine/m extends extends");
  CHECK(change_of(Twins(family("[more]"), family("[more, twice]")).changes(), "travel.speed") ==
        "160 -> 310 by machine/m extends extends");
}

// Both operations stay; C3 lays the later parent lower: 150 x 2 + 10 = 310, (150 + 10) x 2 = 320.
TEST_CASE("parents that change places are the cause of another order") {
  CHECK(change_of(Twins(family("[more, twice]"), family("[twice, more]")).changes(), "travel.speed") ==
        "310 -> 320 by machine/m extends extends");
}

TEST_CASE("an inheritance further up is the cause") {
  Files before = family("[mid]"), after = family("[mid]");
  before["profiles-src/machine/mid.yaml"] = "abstract: true\n";
  after["profiles-src/machine/mid.yaml"] = "abstract: true\nextends: [hundred]\n";
  CHECK(change_of(Twins(before, after).changes(), "travel.speed") == "150 -> 100 by machine/mid extends extends");
}

TEST_CASE("an inheritance that what lies above it hides changes nothing") {
  Changes changes = Twins(family("[more]", "settings: { travel.speed: 90 mm/s }\n"),
                          family("[twice]", "settings: { travel.speed: 90 mm/s }\n"))
                        .changes();
  CHECK(changes.changes.empty());
  CHECK(idle_of(changes) == "machine/m extends extends");
}

TEST_CASE("an ancestor's edit is the cause in each of its descendants") {
  Files before = family("[hundred]"), after = family("[hundred]");
  after["profiles-src/machine/hundred.yaml"] = "abstract: true\nsettings: { travel.speed: 110 mm/s }\n";
  for (Files* files : {&before, &after}) (*files)["profiles-src/machine/n.yaml"] = "extends: hundred\n";
  Changes changes = Twins(before, after).changes();
  CHECK(change_of(changes, "travel.speed") == "100 -> 110 by machine/hundred settings travel.speed");
  CHECK(change_of(changes, "travel.speed", "n/p/q") == "100 -> 110 by machine/hundred settings travel.speed");
  REQUIRE(changes.changes.size() == 1);
  CHECK(changes.changes[0].effects.size() == 2);
}

TEST_CASE("a fact that brings a block into force is the cause") {
  Changes changes = Twins(with_block("0.4 mm", "where: nozzle.bore > 0.5 mm", hundred),
                          with_block("0.6 mm", "where: nozzle.bore > 0.5 mm", hundred))
                        .changes();
  CHECK(change_of(changes, "nozzle.bore") == "0.4 -> 0.6 by machine/m settings nozzle.bore");
  CHECK(change_of(changes, "travel.speed") == "150 -> 100 by machine/m settings nozzle.bore");
}

TEST_CASE("a condition that was edited is the cause") {
  CHECK(change_of(Twins(with_block("0.6 mm", "where: nozzle.bore > 0.7 mm", hundred),
                        with_block("0.6 mm", "where: nozzle.bore > 0.5 mm", hundred))
                      .changes(),
                  "travel.speed") == "150 -> 100 by process/q when when [where: nozzle.bore > 0.5 mm]");
  CHECK(change_of(Twins(with_block("0.6 mm", "material: p", hundred),
                        with_block("0.6 mm", "material: [\"*\", \"!p\"]", hundred))
                      .changes(),
                  "travel.speed") == "100 -> 150 by process/q when when [material: [*, !p]]");
}

TEST_CASE("a condition that was edited and holds as before changes nothing") {
  Changes changes = Twins(with_block("0.6 mm", "where: nozzle.bore > 0.5 mm", hundred),
                          with_block("0.6 mm", "where: nozzle.bore > 0.4 mm", hundred))
                        .changes();
  CHECK(changes.changes.empty());
  CHECK(idle_of(changes) == "process/q when when [where: nozzle.bore > 0.4 mm]");
}

TEST_CASE("a name by which a block no longer matches is the cause") {
  const std::string block = "when:\n  - if: { material: p }\n    settings: { travel.speed: 100 mm/s }\n";
  Files before = small_tree("", "", block),
        after = small_tree("", "", block, {{"profiles-src/material/new.yaml", "title: Material\nreplaces: [p]\n"}});
  after.erase("profiles-src/material/p.yaml");
  Twins twins(before, after);
  CHECK(change_of(twins.changes(), "travel.speed", "m/new/q") == "100 -> 150 by material/new replaces name");
}

TEST_CASE("an edit inside a block tells the block's condition") {
  CHECK(change_of(Twins(with_block("0.4 mm", "material: p", hundred),
                        with_block("0.4 mm", "material: p", "settings: { travel.speed: 110 mm/s }"))
                      .changes(),
                  "travel.speed") == "100 -> 110 by process/q settings travel.speed [material: [p]]");
}

TEST_CASE("an edit inside a block that is not in force changes nothing") {
  Changes changes = Twins(with_block("0.4 mm", "where: nozzle.bore > 0.5 mm", hundred),
                          with_block("0.4 mm", "where: nozzle.bore > 0.5 mm", "settings: { travel.speed: 110 mm/s }"))
                        .changes();
  CHECK(changes.changes.empty());
  CHECK(idle_of(changes) == "process/q settings travel.speed [where: nozzle.bore > 0.5 mm]");
}

TEST_CASE("a block that came is told by what it holds") {
  CHECK(change_of(Twins(small_tree("settings: { nozzle.bore: 0.4 mm }\n"), with_block("0.4 mm", "material: p", hundred))
                      .changes(),
                  "travel.speed") == "150 -> 100 by process/q settings travel.speed [material: [p]]");
}

TEST_CASE("an adjustment is a cause like what it adjusts") {
  auto tree = [](int base, int shift) {
    return small_tree(fmt::format("adjust: {{ heat.nozzle: {{ add: {} K }} }}\n", shift),
                      fmt::format("settings: {{ heat.nozzle: {} degC }}\n", base));
  };
  CHECK(change_of(Twins(tree(220, 5), tree(220, 8)).changes(), "heat.nozzle") ==
        "225 -> 228 by machine/m adjust heat.nozzle");
  CHECK(change_of(Twins(tree(220, 5), tree(230, 5)).changes(), "heat.nozzle") ==
        "225 -> 235 by material/p settings heat.nozzle");
}

// Resolution: "in one axis the later layer's adjustment of a key replaces the earlier, across axes all apply".
TEST_CASE("an adjustment that replaces an inherited one is the cause, and one that is replaced is none") {
  auto tree = [](int below, std::string own) {
    return small_tree("extends: base\n" + own, "", "",
                      {{"profiles-src/machine/base.yaml",
                        fmt::format("abstract: true\nadjust: {{ heat.nozzle: {{ add: {} K }} }}\n", below)}});
  };
  CHECK(change_of(Twins(tree(5, ""), tree(5, "adjust: { heat.nozzle: { add: 8 K } }\n")).changes(), "heat.nozzle") ==
        "215 -> 218 by machine/m adjust heat.nozzle");
  Changes hidden =
      Twins(tree(5, "adjust: { heat.nozzle: { add: 8 K } }\n"), tree(6, "adjust: { heat.nozzle: { add: 9 K } }\n"))
          .changes();
  CHECK(change_of(hidden, "heat.nozzle") == "218 -> 219 by machine/m adjust heat.nozzle");
  CHECK(idle_of(hidden) == "machine/base adjust heat.nozzle");
}

TEST_CASE("a fitting's fact is the cause in the profiles of that fitting alone") {
  auto tree = [](std::string_view large) {
    return small_tree(fmt::format("fittings:\n  \"a\": {{ settings: {{ nozzle.bore: 0.4 mm }} }}\n  \"b\": {{ "
                                  "settings: {{ nozzle.bore: {} }} }}\n",
                                  large),
                      "", "settings: { layer.height: { calc: nozzle.bore / 2 } }\n");
  };
  Changes changes = Twins(tree("0.6 mm"), tree("0.8 mm")).changes();
  CHECK(change_of(changes, "layer.height", "m+b/p/q") == "0.3 -> 0.4 by machine/m+b settings nozzle.bore");
  CHECK(change_of(changes, "layer.height", "m+a/p/q") == "the same");
}

}
