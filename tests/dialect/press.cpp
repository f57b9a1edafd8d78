// Profiles to files, and files to values.
#include "dialect_world.h"

using namespace bindery;
using test::DialectWorld;
using test::rows_of;

namespace {

std::string ini(const std::vector<std::string>& rows) { return DialectWorld(rows_of(rows)).file(); }

// The files of a dialect for two processes, checked as a whole.
std::string checked(const std::string& dialect, const std::string& q, const std::string& r, bool thorough = false) {
  DialectWorld world(dialect, "", "", q, {{"profiles-src/process/r.yaml", r}, {"release/plan.yaml", "sets: { all: { take: [ { machine: [m], material: [p], process: [\"*\"] } ] } }\n"}});
  Selection selection = select_profiles(world.world.tree, world.reports);
  check_dialects(world.world.tree, world.dialects, selection, {1, thorough, false, false}, world.reports);
  return world.said();
}

}  // namespace

TEST_SUITE("dialect/press") {

TEST_CASE("a row writes its formula in its unit") {
  CHECK(ini({"{ key: a, from: wall.speed }"}) == "a = 60\n");
  CHECK(ini({"{ key: a, from: wall.speed, in: mm/min }"}) == "a = 3600\n");
  CHECK(ini({"{ key: a, from: wall.speed / travel.speed }"}) == "a = 0.4\n");
  CHECK(ini({"{ key: a, from: fan.duty }", "{ key: b, from: fan.duty, in: \"1\" }", "{ key: c, from: fan.duty, suffix: \"%\" }"}) == "a = 50\nb = 0.5\nc = 50%\n");
  CHECK(ini({"{ key: a, from: heat.nozzle }"}) == "a = 210\n");
  CHECK(ini({"{ key: a, from: spiral.on, yes: \"1\", no: \"0\" }"}) == "a = 0\n");
  CHECK(ini({"{ key: a, from: order.words }"}) == "a = inner\na = outer\n");
  CHECK(ini({"{ key: a, from: order.words, join: \"+\" }"}) == "a = inner+outer\n");
  CHECK(ini({"{ key: a, from: nozzle.bore, repeat: 2 }"}) == "a = 0.4\na = 0.4\n");
}

TEST_CASE("profiles that share what rows have written get each their own values, and each its own reports") {
  DialectWorld world(rows_of({"{ key: a, from: wall.width, decimals: 1 }", "{ key: b, from: wall.speed * wall.count, in: mm/s }"}), "", "", "settings: { wall.width: 0.42 mm }\n",
                     {{"profiles-src/process/r.yaml", "settings: { wall.width: 0.42 mm, wall.count: 4 }\n"}, {"profiles-src/process/s.yaml", "settings: { wall.width: 0.5 mm }\n"}});
  Press press(world.world.tree, world.dialect());
  RowMemory memory;
  std::string files;
  for (const char* process : {"q", "r", "s", "q"}) {
    Triple triple = world.world.triple("m", "p", process);
    Resolver::Axes axes;
    Diagnostics silent;
    Profile profile = world.world.resolver().resolve(triple, silent, &axes);
    PressedPart part = press.part(0, place_in_plan(world.world.tree, triple), profile, axes, {"1.2.3", "abc"}, memory, world.reports);
    files += press.bytes(0, {&part});
  }
  CHECK(files == "a = 0.4\nb = 180\na = 0.4\nb = 240\na = 0.5\nb = 180\na = 0.4\nb = 180\n");
  CHECK(test::pointed(world.reports, world.world.sources) == "dialect-lossy: a\ndialect-lossy: a\ndialect-lossy: a");
}

TEST_CASE("what has no value, and what a condition leaves out, is not written") {
  CHECK(ini({"{ key: a, from: wipe.length }", "{ key: b, text: x }"}) == "b = x\n");
  CHECK(ini({"{ key: a, from: wipe.length, unset: none }"}) == "a = none\n");
  CHECK(ini({"{ key: a, from: wall.speed, when: spiral.on }", "{ key: b, text: x }"}) == "b = x\n");
  CHECK(ini({"{ key: a, from: wall.speed, when: wipe.length > 1 mm }", "{ key: b, text: x }"}) == "b = x\n");
}

TEST_CASE("a comment and rows tell what the release knows") {
  DialectWorld world("files: { f: { family: ini, path: \"@{machine}.x\", comment: \"@{id} @{version} @{digest}\", rows: [ { key: t, tell: title }, { key: s, tell: status } ] } }\n");
  CHECK(world.file() == "# m/p/q 1.2.3 abc\nt = Machine / Material / Process\ns = beta\n");
}

TEST_CASE("files name each other") {
  DialectWorld world("files:\n  one: { family: ini, path: \"a/@{machine}.one\", rows: [ { key: k, text: x } ] }\n  two: { family: ini, path: b, rows: [ { key: k, file: one }, { key: s, file: one, stem: true } ] }\n");
  CHECK(world.file(1) == "k = a/m.one\ns = m\n");
}

TEST_CASE("what the parent holds is left out, and comes back from it") {
  std::string dialect = "files: { f: { family: ini, path: x, parent: { key: base, of: [ { name: fast, when: wall.speed > 100 mm/s, holds: { speed: \"150\" } }, { name: slow, holds: { speed: \"60\", seam: rear } } ] }, rows: [ { key: speed, from: wall.speed }, { key: seam, from: seam.place }, { key: count, from: wall.count } ] } }\n";
  DialectWorld world(dialect);
  CHECK(world.said() == "");
  CHECK(world.file() == "base = slow\ncount = 3\n");
  CHECK(world.read("base = slow\ncount = 3\n") == "");
  CHECK(world.read("base = slow\ncount = 4\n") == "wall.count=4");
  CHECK(world.read("base = fast\ncount = 3\nseam = rear\n") == "wall.speed=150");
  CHECK(world.read("base = other\ncount = 3\n") == "program-value: other");
}

TEST_CASE("a parent must not give what the profile leaves unset") {
  DialectWorld world("files: { f: { family: ini, path: x, parent: { key: base, of: [ { name: p, holds: { wipe: \"2\" } } ] }, rows: [ { key: wipe, from: wipe.length } ] } }\n");
  world.file();
  CHECK(world.said() == "dialect-parent: wipe");
}

TEST_CASE("scripts spell placeholders as the program does") {
  std::string machine = "title: Machine\nscripts: { layer: \"M117 @{layer.number} ${wall.speed} ${2 * wall.count}\" }\n";
  std::string row = "files: { f: { family: ini, path: x, rows: [ { key: s, script: layer }, { key: pace, from: wall.speed } ] } }\n";
  DialectWorld spelled("scripts: { job: { layer.number: \"<n>\" }, fed: \"<{key}>\" }\n" + row, machine);
  CHECK(spelled.file() == "s = M117 <n> <pace> 6\npace = 60\n");
  CHECK(spelled.said() == "");
  DialectWorld written("scripts: { job: { layer.number: \"<n>\" } }\n" + row, machine);
  CHECK(written.file() == "s = M117 <n> 60 6\npace = 60\n");
  DialectWorld refused(row, machine);
  refused.file();
  CHECK(refused.said() == "dialect-job: s");
}

TEST_CASE("a value that would come back as another is told, unless the row rounds") {
  auto lost = [](const std::string& row, const std::string& process) {
    DialectWorld world(rows_of({row}), "", "", process);
    world.file();
    return world.said();
  };
  CHECK(lost("{ key: a, from: wall.width, decimals: 1 }", "title: Q\nsettings: { wall.width: 0.42 mm }\n") == "dialect-lossy: a");
  CHECK(lost("{ key: a, from: wall.width, decimals: 2 }", "title: Q\nsettings: { wall.width: 0.42 mm }\n") == "");
  CHECK(lost("{ key: a, from: wall.width, decimals: 1, rounds: true }", "title: Q\nsettings: { wall.width: 0.42 mm }\n") == "");
  CHECK(lost("{ key: a, from: 10 * wall.width, in: mm, decimals: 0 }", "title: Q\nsettings: { wall.width: 0.42 mm }\n") == "dialect-lossy: a");
  CHECK(lost("{ key: a, from: seam.place, words: { corner: C } }", "title: Q\n") == "dialect-lossy: a");
  CHECK(lost("{ key: a, from: seam.place, words: { corner: C, rear: C } }", "title: Q\n") == "dialect-lossy: a");
  CHECK(lost("{ key: a, from: order.words, join: n }", "title: Q\n") == "dialect-lossy: a");
  CHECK(lost("{ key: a, from: wipe.length, unset: \"2\" }", "title: Q\nsettings: { wipe.length: 2 mm }\n") == "dialect-lossy: a");
}

TEST_CASE("profiles that share a file agree in it") {
  std::string by_machine = "files: { f: { family: ini, path: \"@{machine}.x\", rows: [ { key: bore, from: nozzle.bore }, { key: speed, from: wall.speed } ] } }\n";
  CHECK(checked(by_machine, "title: Q\n", "title: R\n") == "");
  CHECK(checked(by_machine, "title: Q\n", "title: R\nsettings: { wall.speed: 70 mm/s }\n") == "dialect-clash: \"@{machine}.x\"");
}

TEST_CASE("rows that are never written and settings that no row carries are warned of in a thorough check") {
  std::string dialect = "without: [\"wall.w*\"]\nfiles: { f: { family: ini, path: \"@{process}.x\", rows: [ { key: a, from: wipe.length }, { key: b, from: wall.count } ] } }\n";
  CHECK(checked(dialect, "title: Q\nsettings: { wall.speed: 70 mm/s, wall.width: 0.5 mm, wall.count: 4 }\n", "title: R\n", true) == "dialect-uncarried: \ndialect-unfed: a");
  CHECK(checked(dialect, "title: Q\nsettings: { wall.speed: 70 mm/s }\n", "title: R\n", false) == "");
}

TEST_CASE("what was written reads back without a difference, and an edit as that setting alone") {
  DialectWorld world(rows_of({"{ key: speed, from: wall.speed, in: mm/min }", "{ key: seam, from: seam.place, words: { rear: R, corner: C, spread: S } }", "{ key: wipe, from: wipe.length, unset: none }",
                              "{ key: double, from: 2 * wall.count }", "{ key: order, from: order.words, join: \"+\" }", "{ key: on, from: spiral.on }", "{ key: fixed, text: x }"}));
  std::string text = world.file();
  CHECK(world.said() == "");
  CHECK(world.read(text) == "");
  auto edited = [&](std::string_view from, std::string_view to) {
    std::string other = text;
    other.replace(other.find(from), from.size(), to);
    return world.read(other);
  };
  CHECK(edited("speed = 3600", "speed = 3660") == "wall.speed=61");
  CHECK(edited("speed = 3600", "speed = 3600.0") == "");
  CHECK(edited("seam = R", "seam = C") == "seam.place=corner");
  CHECK(edited("wipe = none", "wipe = 2.5") == "wipe.length=2.5");
  CHECK(edited("double = 6", "double = 8") == "wall.count=4");
  CHECK(edited("order = inner+outer", "order = outer+inner") == "order.words=outer,inner,");
  CHECK(edited("on = false", "on = true") == "spiral.on=true");
  CHECK(edited("on = false\n", "") == fmt::format("[{} on]", static_cast<int>(Remainder::Of::missing)));
  CHECK(edited("fixed = x", "fixed = y") == fmt::format("[{} fixed]", static_cast<int>(Remainder::Of::constant)));
  CHECK(edited("fixed = x", "fixed = x\nmore = 1") == fmt::format("[{} more]", static_cast<int>(Remainder::Of::no_row)));
  CHECK(edited("seam = R", "seam = X") == "program-value: X");
  CHECK(edited("speed = 3600", "speed = fast") == "program-value: fast");
}

TEST_CASE("two rows that give one setting two values contradict each other") {
  DialectWorld world(rows_of({"{ key: a, from: wall.speed }", "{ key: b, from: wall.speed, in: mm/min }"}));
  CHECK(world.read("a = 61\nb = 3660\n") == "wall.speed=61");
  CHECK(world.read("a = 61\nb = 3720\n") == "import-conflict: 3720");
  CHECK(world.read("a = 60\nb = 3720\n") == "import-conflict: 3720");
}

TEST_CASE("of a file for all profiles the part of this one is read") {
  std::string dialect = "files: { f: { family: csv, path: x, each: \"@{id}\", rows: [ { key: id, tell: id }, { key: s, from: wall.speed } ] } }\n";
  CHECK(DialectWorld(dialect).read("id,s\nm/p/other,1\nm/p/q,61\n") == "wall.speed=61");
  CHECK(DialectWorld(dialect).read("id,s\nm/p/other,1\n").starts_with("program-file"));
  std::string sections = "files: { f: { family: ini, path: x, each: \"@{id}\", rows: [ { key: s, section: w, from: wall.speed } ] } }\n";
  CHECK(DialectWorld(sections).read("[m/p/other/w]\ns = 1\n[m/p/q/w]\ns = 61\n") == "wall.speed=61");
}

TEST_CASE("a file of another family, or of none of the dialect's keys, is refused") {
  DialectWorld world(rows_of({"{ key: a, from: wall.speed }"}));
  CHECK(world.read("{\"a\": 1}").starts_with("program-file"));
  CHECK(world.read("other = 1\n").starts_with("program-file"));
}

}  // TEST_SUITE
