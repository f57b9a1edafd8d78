// Causes of what a limit holds back.
#include "../comparison.h"
#include "changes/trace.h"

using namespace bindery;
using test::cap_of;
using test::change_of;
using test::Files;
using test::idle_of;
using test::small_tree;
using test::Twins;

namespace {

// A machine with a limit on all speeds, and a process that asks for a travel speed.
Files limited(std::string_view most, int wanted, const Files& more = {}) {
  return small_tree(fmt::format("limits: {{ \"*.speed\": {{ at_most: {} }} }}\n", most), "",
                    fmt::format("settings: {{ travel.speed: {} mm/s }}\n", wanted), more);
}

// A machine m that extends a base with a limit; the rest of m's file is given.
Files below_base(std::string_view own, std::string process = "") {
  return small_tree(
      fmt::format("extends: base\n{}", own), "", std::move(process),
      {{"profiles-src/machine/base.yaml", "abstract: true\nlimits: { \"*.speed\": { at_most: 100 mm/s } }\n"}});
}

// The flow limit at work: wall.speed is capped so that bead area x speed x ratio stays within flow.limit.
Files flowing(std::string_view limit, std::string_view width, std::string_view more = "") {
  return small_tree(fmt::format("settings: {{ flow.limit: {} mm^3/s }}\n", limit), "",
                    fmt::format("settings: {{ wall.speed: 900 mm/s, wall.width: {} mm{} }}\n", width, more));
}

}  // namespace

TEST_SUITE("changes/trace_limits") {

TEST_CASE("a cap that moved is the cause, and no value is newly held back") {
  Changes changes = Twins(limited("120 mm/s", 200), limited("130 mm/s", 200)).changes();
  CHECK(change_of(changes, "travel.speed") == "120 -> 130 by machine/m limits *.speed");
  CHECK(cap_of(changes, "travel.speed") == "the same");
}

TEST_CASE("an edit that a cap swallows changes nothing") {
  Changes changes = Twins(limited("120 mm/s", 200), limited("120 mm/s", 220)).changes();
  CHECK(changes.changes.empty());
  CHECK(changes.caps.empty());
  CHECK(idle_of(changes) == "process/q settings travel.speed");
}

TEST_CASE("an edit that a moved cap swallows is no cause") {
  Changes changes = Twins(limited("120 mm/s", 200), limited("130 mm/s", 220)).changes();
  CHECK(change_of(changes, "travel.speed") == "120 -> 130 by machine/m limits *.speed");
  CHECK(idle_of(changes) == "process/q settings travel.speed");
}

TEST_CASE("a value that comes down below its cap is the cause, and is no longer held back") {
  Changes changes = Twins(limited("120 mm/s", 200), limited("120 mm/s", 110)).changes();
  CHECK(change_of(changes, "travel.speed") == "120 -> 110 by process/q settings travel.speed");
  CHECK(cap_of(changes, "travel.speed") == "at_most 120 -> nothing by process/q settings travel.speed");
}

TEST_CASE("a value that rises to its cap is the cause of both") {
  Changes changes = Twins(limited("120 mm/s", 100), limited("120 mm/s", 200)).changes();
  CHECK(change_of(changes, "travel.speed") == "100 -> 120 by process/q settings travel.speed");
  CHECK(cap_of(changes, "travel.speed") == "nothing -> at_most 120 by process/q settings travel.speed");
}

TEST_CASE("a value that rises to its cap without another value is told as held back alone") {
  Changes changes = Twins(limited("120 mm/s", 120), limited("120 mm/s", 200)).changes();
  CHECK(change_of(changes, "travel.speed") == "the same");
  CHECK(cap_of(changes, "travel.speed") == "nothing -> at_most 120 by process/q settings travel.speed");
  CHECK(changes.idle.empty());
}

TEST_CASE("a limit that is new or gone is the cause") {
  const Files without = small_tree("", "", "settings: { travel.speed: 200 mm/s }\n"), with = limited("120 mm/s", 200);
  Changes came = Twins(without, with).changes(), went = Twins(with, without).changes();
  CHECK(change_of(came, "travel.speed") == "200 -> 120 by machine/m limits *.speed");
  CHECK(cap_of(came, "travel.speed") == "nothing -> at_most 120 by machine/m limits *.speed");
  CHECK(change_of(went, "travel.speed") == "120 -> 200 by machine/m limits *.speed");
  CHECK(cap_of(went, "travel.speed") == "at_most 120 -> nothing by machine/m limits *.speed");
}

TEST_CASE("a limit from below is a cause in the same way") {
  Changes changes = Twins(small_tree("", "", "settings: { travel.speed: 50 mm/s }\n"),
                          small_tree("limits: { travel.speed: { at_least: 80 mm/s } }\n", "",
                                     "settings: { travel.speed: 50 mm/s }\n"))
                        .changes();
  CHECK(change_of(changes, "travel.speed") == "50 -> 80 by machine/m limits travel.speed");
  CHECK(cap_of(changes, "travel.speed") == "nothing -> at_least 80 by machine/m limits travel.speed");
}

TEST_CASE("a bound's formula passes on what it reads") {
  auto tree = [](int wall) {
    return small_tree("limits: { travel.speed: { at_most: { calc: 2 * wall.speed } } }\n",
                      fmt::format("settings: {{ wall.speed: {} mm/s }}\n", wall));
  };
  CHECK(change_of(Twins(tree(60), tree(70)).changes(), "travel.speed") ==
        "120 -> 140 by material/p settings wall.speed");
}

// Resolution: "In an axis, the later layer's limit replaces an equal pattern's equal bound (`none` drops it)".
TEST_CASE("`none` that drops an inherited limit is the cause") {
  Changes changes = Twins(below_base(""), below_base("limits: { \"*.speed\": none }\n")).changes();
  CHECK(change_of(changes, "travel.speed") == "100 -> 150 by machine/m limits *.speed");
  CHECK(cap_of(changes, "travel.speed") == "at_most 100 -> nothing by machine/m limits *.speed");
}

TEST_CASE("a limit that replaces an inherited one is the cause") {
  CHECK(change_of(Twins(below_base(""), below_base("limits: { \"*.speed\": { at_most: 120 mm/s } }\n")).changes(),
                  "travel.speed") == "100 -> 120 by machine/m limits *.speed");
}

TEST_CASE("a limit that another one covers is no cause") {
  Files before = below_base("limits: { \"*.speed\": { at_most: 120 mm/s } }\n"),
        after = below_base("limits: { \"*.speed\": { at_most: 130 mm/s } }\n");
  after["profiles-src/machine/base.yaml"] = "abstract: true\nlimits: { \"*.speed\": { at_most: 90 mm/s } }\n";
  Changes changes = Twins(before, after).changes();
  CHECK(change_of(changes, "travel.speed") == "120 -> 130 by machine/m limits *.speed");
  CHECK(idle_of(changes) == "machine/base limits *.speed");
}

// Across axes all limits apply: the tightest wins.
TEST_CASE("where another axis takes over the cap, the limit that moved is the cause") {
  auto tree = [](int machine) {
    return small_tree(fmt::format("limits: {{ \"*.speed\": {{ at_most: {} mm/s }} }}\n", machine),
                      "limits: { travel.speed: { at_most: 110 mm/s } }\n", "settings: { travel.speed: 200 mm/s }\n");
  };
  CHECK(change_of(Twins(tree(100), tree(130)).changes(), "travel.speed") == "100 -> 110 by machine/m limits *.speed");
}

TEST_CASE("a limit in a block is a cause where a fact brings it into force") {
  auto tree = [](std::string_view bore) {
    return small_tree(
        fmt::format("settings: {{ nozzle.bore: {} }}\n", bore), "",
        "when:\n  - if: { where: nozzle.bore > 0.5 mm }\n    limits: { travel.speed: { at_most: 80 mm/s } }\n");
  };
  CHECK(change_of(Twins(tree("0.4 mm"), tree("0.6 mm")).changes(), "travel.speed") ==
        "150 -> 80 by machine/m settings nozzle.bore");
}

// Worked by hand: a bead 0.45 x 0.2 mm has (0.45 - 0.2) x 0.2 + pi/4 x 0.2^2 = 0.081416 mm2; 10 mm3/s / 0.081416 mm2
// = 122.826 mm/s, 12 mm3/s 147.391; 0.5 mm wide 0.091416 mm2, 109.390 mm/s.
TEST_CASE("the flow limit passes on what it reads") {
  auto rounded = [](const std::string& line) {
    double before = 0, after = 0;
    std::size_t at = line.find(" by ");
    REQUIRE_MESSAGE(std::sscanf(line.c_str(), "%lf -> %lf", &before, &after) == 2, line);
    return fmt::format("{:.3f} -> {:.3f}{}", before, after, line.substr(at));
  };
  CHECK(rounded(change_of(Twins(flowing("10", "0.45"), flowing("12", "0.45")).changes(), "wall.speed")) ==
        "122.826 -> 147.391 by machine/m settings flow.limit");
  CHECK(rounded(change_of(Twins(flowing("10", "0.45"), flowing("10", "0.5")).changes(), "wall.speed")) ==
        "122.826 -> 109.390 by process/q settings wall.width");
}

TEST_CASE("a speed that the flow limit swallows changes nothing") {
  Files after = flowing("10", "0.45");
  after["profiles-src/process/q.yaml"] = "settings: { wall.speed: 800 mm/s, wall.width: 0.45 mm }\n";
  Changes changes = Twins(flowing("10", "0.45"), after).changes();
  CHECK(changes.changes.empty());
  CHECK(idle_of(changes) == "process/q settings wall.speed");
}

}
