#include "../support.h"

using namespace bindery;
using test::World;

TEST_SUITE("resolve/load") {

TEST_CASE("fragments are numbered by kind and name") {
  World world(test::small_tree("", "", "", {{"profiles-src/machine/z/a.yaml", "title: x\n"}, {"profiles-src/machine/b.yaml", "fittings: { x: {} }\n"}}));
  std::string names;
  for (const BoundFragment& fragment : world.tree.fragments) names += fragment.id() + " ";
  CHECK(names == "machine/a machine/b machine/b+x machine/m material/p process/q ");
  CHECK(world.tree.find(Kind::machine, "b+x") == 2);
  CHECK(world.tree.find(Kind::process, "b") == no_fragment);
}

TEST_CASE("two files of one name are reported with both places") {
  World world(test::small_tree("", "", "", {{"profiles-src/machine/deep/m.yaml", "title: x\n"}}));
  const Diagnostic& report = world.report();
  CHECK(describe(report.code).name == "name-taken");
  REQUIRE(report.related.size() == 1);
  CHECK(world.sources[report.span.file].path != world.sources[report.related[0].span.file].path);
}

TEST_CASE("one name in two kinds is no clash") {
  CHECK(World(test::small_tree("", "", "", {{"profiles-src/material/m.yaml", "title: x\n"}})).said() == "");
}

TEST_CASE("a tree reads the same on one thread and on eight") {
  test::Files files = test::small_tree("settings: { wall.sped: 1 mm }\n", "extends: nothing\n", "settings: { wall.count: many }\n");
  for (int i = 0; i < 100; ++i) files[fmt::format("profiles-src/machine/x{:03}.yaml", i)] = fmt::format("settings: {{ wall.count: {}.5 }}\n", i);
  Sources sources = test::sources_of(files);
  Diagnostics one, eight;
  Tree first = load_tree(sources, 1, one), second = load_tree(sources, 8, eight);
  CHECK(test::told(one, sources) == test::told(eight, sources));
  CHECK(one.items().size() == 103);
  CHECK(first.fragments.size() == second.fragments.size());
}

TEST_CASE("an error reaches the fragments that extend it and no others") {
  World world(test::small_tree("extends: base\n", "", "", {{"profiles-src/machine/base.yaml", "settings: { wall.count: many }\n"}, {"profiles-src/machine/n.yaml", "title: x\n"}}));
  CHECK(world.said() == "value-malformed base.yaml:1:25");
  auto broken = [&](std::string_view name) { return world.tree[world.fragment(Kind::machine, name)].broken; };
  CHECK(broken("base"));
  CHECK(broken("m"));
  CHECK_FALSE(broken("n"));
}

TEST_CASE("a fragment that is no YAML takes down those that extend it, with one report") {
  World world(test::small_tree("extends: base\n", "", "", {{"profiles-src/machine/base.yaml", "a: [\n"}, {"profiles-src/machine/n.yaml", "title: x\n"}}));
  CHECK(world.diagnostics.items().size() == 1);
  CHECK(world.tree[world.fragment(Kind::machine, "m")].broken);
  Selection selection = select_profiles(world.tree, world.diagnostics);
  CHECK(world.value("wall.count", world.triple("n")) == "3");
  check_selection(world.tree, selection, 2, world.diagnostics);
  CHECK(world.diagnostics.items().size() == 1);
}

TEST_CASE("a fitting of a file that is no YAML is not unknown as well") {
  World world(test::small_tree("extends: base+x\n", "", "", {{"profiles-src/machine/base.yaml", "fittings: { x: {}\n"}}));
  CHECK(world.diagnostics.items().size() == 1);
}

TEST_CASE("a name or glob of a condition that matches nothing is a warning with the nearest name") {
  World world(test::small_tree("fits: { material: [pp, \"x-*\", \"!p\"] }\n", "", "when: [ { if: { machine: mm }, settings: { wall.count: 2 } } ]\n"));
  CHECK(world.said() == "pattern-unmatched m.yaml:1:20\npattern-unmatched m.yaml:1:24\npattern-unmatched q.yaml:1:26");
  CHECK_FALSE(world.diagnostics.any_errors());
  CHECK(world.diagnostics.items()[0].help == "did you mean 'p'");
}

TEST_CASE("names are looked for as long as it does not take too much, which is told once") {
  World world(test::small_tree("", "", "when: [{ if: { machine: [\"x*\", \"y*\"] }, settings: { wall.count: 2 } }]\n"));
  const auto& names = world.tree[world.fragment(Kind::process, "q")].layers[1].condition->names;
  Diagnostics fresh, spent;
  NameSearch few, many;
  report_unmatched(world.tree, names, Code::pattern_unmatched, few, fresh);
  CHECK(test::told(fresh, world.sources) == "pattern-unmatched q.yaml:1:26\npattern-unmatched q.yaml:1:32");
  CHECK(few.work > 0);
  many.work = most::name_work + 1;
  for (int i = 0; i < 3; ++i) report_unmatched(world.tree, names, Code::pattern_unmatched, many, spent);
  CHECK(test::told(spent, world.sources) == "too-heavy q.yaml:1:26");
}

}
