#include "../comparison.h"
#include "changes/pairs.h"
using namespace bindery;
using test::change_of;
using test::Files;
using test::idle_of;
using test::small_tree;
using test::scripts_of;
using test::cap_of;
using test::Twins;
static std::string places(const Files& before, const Files& after) {
  Changes changes = Twins(before, after).changes();
  std::string out;
  for (const SetChange& set : changes.sets) out += fmt::format("+{} -{} ~{} by {}\n", set.added.size(), set.removed.size(), set.moved.size(), test::causes_line(changes, set.causes));
  return out;
}
TEST_SUITE("probe") {
TEST_CASE("1") {
  auto tree = [](std::string_view text) { return small_tree("", "", fmt::format("settings: {{ order.words: {} }}\n", text)); };
  MESSAGE("1a ", change_of(Twins(tree("[\"a, b\"]"), tree("[a, b]")).changes(), "order.words"));
  std::string text(test::dictionary);
  text.insert(text.find("  fan.duty:"), "  note.words: { kinds: [process], type: text, default: hello }\n");
  auto t2 = [&](std::string_view t) { return small_tree("", "", std::string(t), {{"schema/settings.yaml", text}}); };
  MESSAGE("1b ", change_of(Twins(t2(""), t2("settings: { note.words: \"\" }\n")).changes(), "note.words"));
  MESSAGE("1c ", change_of(Twins(t2("settings: { note.words: { unset: true } }\n"), t2("settings: { note.words: \"{ unset: true }\" }\n")).changes(), "note.words"));
  auto t3 = [](std::string_view t) { return small_tree(fmt::format("scripts: {{ end: {} }}\n", t)); };
  MESSAGE("1d ", scripts_of(Twins(t3("\"none\""), t3("none")).changes()));
  auto t4 = [&](std::string_view v) { std::string d(test::dictionary); d.insert(d.find("  fan.duty:"), fmt::format("  note.words: {{ kinds: [process], type: text, default: {} }}\n", v)); return small_tree("", "", "", {{"schema/settings.yaml", d}}); };
  MESSAGE("1e ", change_of(Twins(t4("none"), t4("\"none\"")).changes(), "note.words"), change_of(Twins(t4("none"), t4("\"\"")).changes(), "note.words"));
}
TEST_CASE("2") {
  auto tree = [](std::string_view t) { return small_tree(fmt::format("limits: {{ travel.speed: {{ {} }} }}\n", t)); };
  MESSAGE("2a ", test::edit_lines(Twins(tree("at_least: 10 mm/s, at_most: 100 mm/s"), tree("at_most: 100 mm/s, at_least: 10 mm/s")).changes().edits));
  auto t3 = [](std::string_view t) { return small_tree(fmt::format("scripts: {{ end: {} }}\n", t)); };
  MESSAGE("2b ", test::edit_lines(Twins(t3("{ before: A, after: B }"), t3("{ after: B, before: A }")).changes().edits));
}
TEST_CASE("3-4") {
  auto tree = [](std::string_view bore) {
    return small_tree(fmt::format("extends: base\nsettings: {{ nozzle.bore: {} }}\nwhen:\n  - if: {{ where: nozzle.bore > 0.5 mm }}\n    limits: {{ \"travel.speed\": none }}\n", bore), "", "",
     {{"profiles-src/machine/base.yaml", "abstract: true\nlimits: { \"travel.speed\": { at_most: 100 mm/s } }\n"}});
  };
  auto c = Twins(tree("0.4 mm"), tree("0.6 mm")).changes();
  MESSAGE("3 ", change_of(c, "travel.speed"), " cap ", cap_of(c, "travel.speed"));
  auto t4 = [](std::string_view ext, int v) {
    return small_tree(fmt::format("extends: {}\nsettings: {{ travel.speed: {} mm/s }}\n", ext, v), "", "",
     {{"profiles-src/machine/base.yaml", "abstract: true\nlimits: { \"travel.speed\": { at_most: 100 mm/s } }\n"},
      {"profiles-src/machine/lax.yaml", "abstract: true\nlimits: { \"travel.speed\": { at_most: 300 mm/s } }\n"}});
  };
  auto d = Twins(t4("[base]", 150), t4("[lax, base]", 160)).changes();
  MESSAGE("4 ", change_of(d, "travel.speed"), " cap ", cap_of(d, "travel.speed"));
}
TEST_CASE("5-7") {
  auto tree = [](std::string_view ext, std::string_view more) {
    return small_tree(fmt::format("extends: {}\n", ext), "", std::string(more),
     {{"profiles-src/machine/a.yaml", "abstract: true\nsettings: { travel.speed: 100 mm/s }\n"},
      {"profiles-src/machine/b.yaml", "abstract: true\nsettings: { travel.speed: 120 mm/s }\n"}});
  };
  MESSAGE("5a ", change_of(Twins(tree("a", ""), tree("b", "settings: { travel.speed: 200 mm/s }\n")).changes(), "travel.speed"));
  auto t2 = [](std::string_view cond, std::string_view more) {
    return small_tree(fmt::format("when:\n  - if: {{ material: {} }}\n    settings: {{ travel.speed: 100 mm/s }}\n", cond), "", std::string(more));
  };
  MESSAGE("5b ", change_of(Twins(t2("p", ""), t2("[\"*\", \"!p\"]", "settings: { travel.speed: 200 mm/s }\n")).changes(), "travel.speed"));
  auto t3 = [](std::string_view bore, std::string_view more) {
    return small_tree(fmt::format("settings: {{ nozzle.bore: {} }}\nwhen:\n  - if: {{ where: nozzle.bore > 0.5 mm }}\n    settings: {{ travel.speed: 100 mm/s }}\n", bore), "", std::string(more));
  };
  MESSAGE("5c ", change_of(Twins(t3("0.6 mm", ""), t3("0.4 mm", "settings: { travel.speed: 200 mm/s }\n")).changes(), "travel.speed"));
  auto t4 = [](std::string_view ext, std::string_view own) {
    return small_tree(fmt::format("extends: {}\n{}", ext, own), "", "",
     {{"profiles-src/machine/a.yaml", "abstract: true\nadjust: { heat.nozzle: { add: 5 K } }\n"},
      {"profiles-src/machine/b.yaml", "abstract: true\n"}});
  };
  MESSAGE("5d ", change_of(Twins(t4("a", ""), t4("b", "adjust: { heat.nozzle: { add: 9 K } }\n")).changes(), "heat.nozzle"));
  const std::string block = "when:\n  - if: { where: nozzle.bore > 0.5 mm }\n    settings: { travel.speed: 100 mm/s }\n";
  Files before = small_tree("settings: { nozzle.bore: 0.4 mm }\n", "", block), after = small_tree("", "", block, {{"profiles-src/machine/new.yaml", "replaces: [m]\nsettings: { nozzle.bore: 0.6 mm }\n"}});
  after.erase("profiles-src/machine/m.yaml");
  MESSAGE("6a ", change_of(Twins(before, after).changes(), "travel.speed", "new/p/q"));
  const std::string block2 = "when:\n  - if: { material: p }\n    settings: { travel.speed: 100 mm/s }\n", block3 = "when:\n  - if: { material: [\"*\", \"!p\"] }\n    settings: { travel.speed: 100 mm/s }\n";
  Files before2 = small_tree("", "", block2), after2 = small_tree("", "", block3, {{"profiles-src/machine/new.yaml", "replaces: [m]\n"}});
  after2.erase("profiles-src/machine/m.yaml");
  MESSAGE("6b ", change_of(Twins(before2, after2).changes(), "travel.speed", "new/p/q"));
  auto t7 = [](std::string_view below, std::string_view own) {
    return small_tree(fmt::format("extends: base\nscripts: {{ end: {} }}\n", own), "", "", {{"profiles-src/machine/base.yaml", fmt::format("abstract: true\n{}\n", below)}});
  };
  MESSAGE("7 ", scripts_of(Twins(t7("scripts: { end: none }", "M1"), t7("", "M2")).changes()));
}
TEST_CASE("8-9") {
  auto c = Twins(small_tree("settings: { travel.speed: 100 mm/s }\n", "", "settings: { travel.speed: 200 mm/s }\n"), small_tree("title: M\n", "", "title: Q\n")).changes();
  MESSAGE("8A ", change_of(c, "travel.speed"));
  auto d = Twins(small_tree("settings: { travel.speed: 100 mm/s }\n", "settings: { travel.speed: 120 mm/s }\n", "settings: { travel.speed: 200 mm/s }\n"), small_tree("settings: { travel.speed: 100 mm/s }\n", "", "title: Q\n")).changes();
  MESSAGE("8B ", change_of(d, "travel.speed"));
  auto tree = [](std::string_view bore, int v) { return small_tree(fmt::format("settings: {{ nozzle.bore: {} }}\n", bore), "", fmt::format("when:\n  - if: {{ where: nozzle.bore > 0.5 mm }}\n    settings: {{ travel.speed: {} mm/s }}\n", v)); };
  MESSAGE("9 ", change_of(Twins(tree("0.6 mm", 100), tree("0.4 mm", 110)).changes(), "travel.speed"));
  MESSAGE("9 ", change_of(Twins(tree("0.4 mm", 100), tree("0.6 mm", 110)).changes(), "travel.speed"));
  auto g = Twins(small_tree("extends: base\nadjust: { heat.nozzle: { add: 3 K } }\n", "", "", {{"profiles-src/machine/base.yaml", "abstract: true\nadjust: { heat.nozzle: { add: 5 K } }\n"}}), small_tree("extends: base\n", "", "", {{"profiles-src/machine/base.yaml", "abstract: true\n"}})).changes();
  MESSAGE("8c ", change_of(g, "heat.nozzle"));
  auto h = Twins(small_tree("extends: base\nscripts: { end: A }\n", "", "", {{"profiles-src/machine/base.yaml", "abstract: true\nscripts: { end: B }\n"}}), small_tree("extends: base\n", "", "", {{"profiles-src/machine/base.yaml", "abstract: true\n"}})).changes();
  MESSAGE("8d ", test::scripts_of(h));
}
TEST_CASE("11") {
  const Files base = {{"profiles-src/machine/base.yaml", "abstract: true\n"}};
  MESSAGE("11c ", places(small_tree("title: M\n", "", "status: beta\n", base), small_tree("title: M\nextends: base\n", "", "status: retired\n", base)));
  const std::string left = "sets:\n  all: { tier: free, take: [ {} ], leave: [ { process: q } ] }\n", all = "sets:\n  all: { tier: free, take: [ {} ] }\n";
  Files l = base, r = base;
  l["release/plan.yaml"] = all; r["release/plan.yaml"] = left;
  MESSAGE("11b ", places(small_tree("title: M\n", "", "", l), small_tree("title: M\nextends: base\n", "", "", r)));
  Files x = small_tree("title: M\n", "title: P\nfits: { machine: m }\n", "title: Q\n"), y = small_tree("title: M\n", "title: P\nfits: { machine: [m, n*] }\n", "title: Q\ntier: supporter\n");
  MESSAGE("11c2 ", places(x, y));
  auto fit = [](std::string_view bore) { return small_tree(fmt::format("settings: {{ nozzle.bore: {} }}\n", bore), "fits: { where: nozzle.bore > 0.5 mm }\n"); };
  MESSAGE("11a ", places(fit("0.6 mm"), fit("0.4 mm")));
  MESSAGE("11c3 ", places(small_tree("status: stable\n", "status: stable\n", "status: stable\n"), small_tree("status: draft\n", "status: beta\n", "status: stable\n", {{"release/plan.yaml", "sets:\n  all: { tier: free, take: [ { machine: m } ] }\n"}})));
}
}
