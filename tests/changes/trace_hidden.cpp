// What is hidden by what lies above it, on one side or on both, and what is brought to light. Release contract: "an
// edit hidden by what lies above it ... is none"; and one without which the value would be another is a cause.
#include "../comparison.h"

using namespace bindery;
using test::cap_of;
using test::change_of;
using test::Files;
using test::scripts_of;
using test::small_tree;
using test::Twins;

namespace {

std::string change(const Files& before, const Files& after, std::string_view profile = "m/p/q",
                   std::string_view key = "travel.speed") {
  return change_of(Twins(before, after).changes(), key, profile);
}

const std::string fast = "settings: { travel.speed: 200 mm/s }\n";

// A machine that extends one of two, which write the travel speed.
Files extending(std::string_view parent, std::string process) {
  return small_tree(fmt::format("extends: {}\n", parent), "", std::move(process),
                    {{"profiles-src/machine/a.yaml", "abstract: true\nsettings: { travel.speed: 100 mm/s }\n"},
                     {"profiles-src/machine/b.yaml", "abstract: true\nsettings: { travel.speed: 120 mm/s }\n"}});
}

// A machine with a nozzle and a block for large ones.
Files with_block(std::string_view bore, int speed, std::string process = "") {
  return small_tree(fmt::format("settings: {{ nozzle.bore: {} }}\nwhen:\n  - if: {{ where: nozzle.bore > 0.5 mm }}\n   "
                                " settings: {{ travel.speed: {} mm/s }}\n",
                                bore, speed),
                    "", std::move(process));
}

// A machine below a base with a limit.
Files limited(std::string_view own, std::string_view extends = "[base]") {
  return small_tree(
      fmt::format("extends: {}\n{}", extends, own), "", "",
      {{"profiles-src/machine/base.yaml", "abstract: true\nlimits: { travel.speed: { at_most: 100 mm/s } }\n"},
       {"profiles-src/machine/lax.yaml", "abstract: true\nlimits: { travel.speed: { at_most: 300 mm/s } }\n"}});
}

}  // namespace

TEST_SUITE("changes/trace_hidden") {

TEST_CASE("another parent under a literal that is new is no cause") {
  CHECK(change(extending("a", ""), extending("b", fast)) == "100 -> 200 by process/q settings travel.speed");
}

TEST_CASE("a condition or a fact under a literal that is new is no cause") {
  CHECK(change(with_block("0.6 mm", 100), with_block("0.4 mm", 100, fast)) ==
        "100 -> 200 by process/q settings travel.speed");
  auto tree = [](std::string_view material, std::string process) {
    return small_tree(
        fmt::format("when:\n  - if: {{ material: {} }}\n    settings: {{ travel.speed: 100 mm/s }}\n", material), "",
        std::move(process));
  };
  CHECK(change(tree("p", ""), tree("[\"*\", \"!p\"]", fast)) == "100 -> 200 by process/q settings travel.speed");
}

TEST_CASE("an edit inside a block that a fact puts out of force is no cause") {
  CHECK(change(with_block("0.6 mm", 100), with_block("0.4 mm", 110)) == "100 -> 150 by machine/m settings nozzle.bore");
  CHECK(change(with_block("0.4 mm", 100), with_block("0.6 mm", 110)) ==
        "150 -> 110 by machine/m settings nozzle.bore + machine/m settings travel.speed [where: nozzle.bore > 0.5 mm]");
}

TEST_CASE("what went together with what hid it is a cause too") {
  CHECK(change(small_tree("settings: { travel.speed: 100 mm/s }\n", "", fast), small_tree()) ==
        "200 -> 150 by machine/m settings travel.speed + process/q settings travel.speed");
  CHECK(change(small_tree("settings: { travel.speed: 100 mm/s }\n", "settings: { travel.speed: 120 mm/s }\n", fast),
               small_tree("settings: { travel.speed: 100 mm/s }\n")) ==
        "200 -> 100 by material/p settings travel.speed + process/q settings travel.speed");
}

TEST_CASE("what came together with what hides it is no cause") {
  CHECK(change(small_tree(), small_tree("settings: { travel.speed: 100 mm/s }\n", "", fast)) ==
        "150 -> 200 by process/q settings travel.speed");
}

TEST_CASE("an adjustment that went together with the one that replaced it is a cause too") {
  auto tree = [](std::string_view base, std::string_view own) {
    return small_tree(fmt::format("extends: base\n{}", own), "", "",
                      {{"profiles-src/machine/base.yaml", fmt::format("abstract: true\n{}", base)}});
  };
  CHECK(change(tree("adjust: { heat.nozzle: { add: 5 K } }\n", "adjust: { heat.nozzle: { add: 3 K } }\n"), tree("", ""),
               "m/p/q",
               "heat.nozzle") == "213 -> 210 by machine/base adjust heat.nozzle + machine/m adjust heat.nozzle");
}

TEST_CASE("a script that went together with the one that replaced it is a cause too") {
  auto tree = [](std::string_view base, std::string_view own) {
    return small_tree(fmt::format("extends: base\n{}", own), "", "",
                      {{"profiles-src/machine/base.yaml", fmt::format("abstract: true\n{}", base)}});
  };
  CHECK(scripts_of(Twins(tree("scripts: { end: B }\n", "scripts: { end: A }\n"), tree("", "")).changes()) ==
        "end by machine/base scripts end + machine/m scripts end");
  CHECK(scripts_of(Twins(tree("scripts: { end: none }\n", "scripts: { end: A }\n"), tree("", "scripts: { end: B }\n"))
                       .changes()) == "end by machine/m scripts end");
}

TEST_CASE("a fact that brings the end of a limit into force is the cause") {
  const std::string block = "when:\n  - if: { where: nozzle.bore > 0.5 mm }\n    limits: { travel.speed: none }\n";
  Changes changes = Twins(limited("settings: { nozzle.bore: 0.4 mm }\n" + block),
                          limited("settings: { nozzle.bore: 0.6 mm }\n" + block))
                        .changes();
  CHECK(change_of(changes, "travel.speed") == "100 -> 150 by machine/m settings nozzle.bore");
  CHECK(cap_of(changes, "travel.speed") == "at_most 100 -> nothing by machine/m settings nozzle.bore");
}

TEST_CASE("a parent with a laxer limit is the cause, beside an edit of the value too") {
  CHECK(change(limited(""), limited("", "[lax, base]")) == "100 -> 150 by machine/m extends extends");
  CHECK(change(limited(""), limited("settings: { travel.speed: 160 mm/s }\n", "[lax, base]")) ==
        "100 -> 160 by machine/m extends extends + machine/m settings travel.speed");
}

TEST_CASE("a rename is no cause where no condition asks for the name") {
  auto tree = [](std::string_view machine, std::string_view text, std::string_view condition) {
    Files out = small_tree(
        "", "", fmt::format("when:\n  - if: {{ {} }}\n    settings: {{ travel.speed: 100 mm/s }}\n", condition));
    out.erase("profiles-src/machine/m.yaml");
    out[fmt::format("profiles-src/machine/{}.yaml", machine)] = text;
    return out;
  };
  const std::string_view large = "where: nozzle.bore > 0.5 mm";
  CHECK(change(tree("m", "settings: { nozzle.bore: 0.4 mm }\n", large),
               tree("new", "replaces: [m]\nsettings: { nozzle.bore: 0.6 mm }\n", large),
               "new/p/q") == "150 -> 100 by machine/new settings nozzle.bore");
  CHECK(change(tree("m", "title: M\n", "material: p"),
               tree("new", "title: M\nreplaces: [m]\n", "material: [\"*\", \"!p\"]"),
               "new/p/q") == "100 -> 150 by process/q when when [material: [*, !p]]");
}

}
