#include "../support.h"

using namespace bindery;
using test::Files;
using test::World;

namespace {

// Machines from lines "name: parent parent"; each a file.
Files machines(std::initializer_list<std::pair<std::string, std::string>> list, std::string_view more = "") {
  Files out = test::small_tree();
  for (const auto& [name, parents] : list) out["profiles-src/machine/" + name + ".yaml"] = fmt::format("title: {}\nextends: [{}]\n{}", name, parents, more);
  return out;
}

// The linearisation of a machine, its names joined by blanks; "none" where it has none.
std::string order(const World& world, std::string_view name) {
  std::string out;
  for (FragmentId id : world.tree[world.fragment(Kind::machine, name)].linear) out += fmt::format("{}{}", out.empty() ? "" : " ", world.tree[id].name());
  return out.empty() ? "none" : out;
}

}  // namespace

TEST_SUITE("resolve/link") {

// The two worked examples of "The Python 2.3 Method Resolution Order" (M. Simionato; from memory), checked with
// python3: class A(B, C).__mro__.
TEST_CASE("C3 orders the worked examples of Python's method resolution") {
  World first(machines({{"f", ""}, {"e", ""}, {"d", ""}, {"c", "d, f"}, {"b", "d, e"}, {"a", "b, c"}}));
  CHECK(first.said() == "");
  CHECK(order(first, "a") == "a b c d e f");
  World second(machines({{"f", ""}, {"e", ""}, {"d", ""}, {"c", "d, f"}, {"b", "e, d"}, {"a", "b, c"}}));
  CHECK(order(second, "a") == "a b e c d f");
}

// The example of the paper on C3 as encyclopedias give it (from memory), checked with python3.
TEST_CASE("C3 orders a hierarchy of many parents") {
  World world(machines({{"o", ""}, {"a", "o"}, {"b", "o"}, {"c", "o"}, {"d", "o"}, {"e", "o"}, {"k1", "c, a, b"}, {"k2", "b, d, e"}, {"k3", "a, d"}, {"z", "k1, k3, k2"}}));
  CHECK(world.said() == "");
  CHECK(order(world, "z") == "z k1 c k3 a k2 b d e o");
}

TEST_CASE("an impossible order names the demands that clash") {
  World world(machines({{"a", ""}, {"b", ""}, {"x", "a, b"}, {"y", "b, a"}, {"z", "x, y"}}));
  const Diagnostic& report = world.report();
  CHECK(describe(report.code).name == "extends-order");
  CHECK(world.sources[report.span.file].path.ends_with("/z.yaml"));
  CHECK(report.message.find("'x' puts 'a' before 'b'") != std::string::npos);
  CHECK(report.message.find("'y' puts 'b' before 'a'") != std::string::npos);
  CHECK(report.related.size() == 2);
  CHECK(order(world, "z") == "none");
  CHECK(order(world, "x") == "x a b");
}

TEST_CASE("what stands on an impossible order stays silent and is not whole") {
  World world(machines({{"a", ""}, {"b", ""}, {"x", "a, b"}, {"y", "b, a"}, {"z", "x, y"}, {"w", "z"}}));
  CHECK(world.diagnostics.items().size() == 1);
  CHECK(order(world, "w") == "none");
  CHECK(world.tree[world.fragment(Kind::machine, "w")].broken);
  CHECK_FALSE(world.tree[world.fragment(Kind::machine, "x")].broken);
}

TEST_CASE("a parent listed before its own child is an impossible order") {
  World world(machines({{"a", ""}, {"b", "a"}, {"z", "a, b"}}));
  CHECK(describe(world.report().code).name == "extends-order");
}

TEST_CASE("a circle of inheritance is told once, as a path") {
  World world(machines({{"a", "c"}, {"b", "a"}, {"c", "b"}, {"d", "c"}}));
  const Diagnostic& report = world.report();
  CHECK(describe(report.code).name == "extends-cycle");
  CHECK(report.message == "these extend each other in a circle: a -> c -> b -> a");
  CHECK(test::covered(world.sources, report.span) == "c");
  CHECK(report.related.size() == 2);
}

TEST_CASE("a fragment that extends itself is a circle of one") {
  World world(machines({{"a", "a"}}));
  CHECK(world.report().message == "'a' extends itself");
}

TEST_CASE("a parent is of the same kind and known") {
  CHECK(World(machines({{"a", "q"}})).said() == "extends-kind a.yaml:2:11");
  World unknown(machines({{"heron", ""}, {"a", "hernon"}}));
  CHECK(unknown.said() == "fragment-unknown a.yaml:2:11");
  CHECK(unknown.report().help == "did you mean 'heron'");
  CHECK(World(machines({{"b", ""}, {"a", "b, b"}})).said() == "extends-twice a.yaml:2:14");
}

TEST_CASE("a long chain is linearised") {
  Files files = test::small_tree();
  for (int i = 0; i < 3000; ++i) files[fmt::format("profiles-src/machine/c{:04}.yaml", i)] = i == 0 ? "title: root\n" : fmt::format("extends: c{:04}\n", i - 1);
  World world(files);
  CHECK(world.said() == "");
  CHECK(world.tree[world.fragment(Kind::machine, "c2999")].linear.size() == 3000);
}

// The language: a fitting "extends `heron-220` (its own `extends` come first)".
TEST_CASE("a fitting extends its base behind its own parents") {
  World world(machines({{"root", ""}, {"hard", "root"}, {"heron", "root"}}, "fittings: { x: { extends: hard }, y: {} }\n"));
  CHECK(order(world, "heron+x") == "heron+x hard heron root");
  CHECK(order(world, "heron+y") == "heron+y heron root");
}

TEST_CASE("a fitting takes tier and status from its base unless it states them") {
  World world(test::small_tree("", "", "", {{"profiles-src/machine/heron.yaml", "tier: supporter\nstatus: stable\nfittings: { a: {}, b: { tier: free, status: draft } }\n"}}));
  auto fragment = [&](std::string_view name) -> const BoundFragment& { return world.tree[world.fragment(Kind::machine, name)]; };
  CHECK(fragment("heron+a").tier == Tier::supporter);
  CHECK(fragment("heron+a").status == Status::stable);
  CHECK(fragment("heron+b").tier == Tier::free);
  CHECK(fragment("heron+b").status == Status::draft);
  CHECK(fragment("heron").abstract);
  CHECK_FALSE(fragment("heron+a").abstract);
}

TEST_CASE("a fragment with fittings is abstract unless it says otherwise") {
  World world(test::small_tree("abstract: false\nfittings: { a: {} }\n"));
  CHECK_FALSE(world.tree[world.fragment(Kind::machine, "m")].abstract);
  World plain(test::small_tree("abstract: true\nfittings: { a: {} }\n"));
  CHECK(plain.tree[plain.fragment(Kind::machine, "m")].abstract);
  CHECK_FALSE(plain.tree[plain.fragment(Kind::machine, "m+a")].abstract);
  CHECK(World(test::small_tree("fittings: {}\n")).said() == "fittings-empty m.yaml:1:1");
}

TEST_CASE("a free fragment cannot stand on a supporter's, and the path is named") {
  World world(test::small_tree("tier: free\nextends: mid\n", "", "", {{"profiles-src/machine/mid.yaml", "extends: top\n"}, {"profiles-src/machine/top.yaml", "tier: supporter\n"}}));
  const Diagnostic& report = world.report();
  CHECK(describe(report.code).name == "tier-conflict");
  CHECK(test::covered(world.sources, report.span) == "tier");
  CHECK(report.message.find("m -> mid -> top") != std::string::npos);
  CHECK(world.tree[world.fragment(Kind::machine, "mid")].chain_tier == Tier::supporter);
  CHECK(world.tree[world.fragment(Kind::machine, "mid")].tier == Tier::free);
}

// The language: "Two fragments that claim one old name, or a claim on a living one, are errors."
TEST_CASE("an old name has one successor, and is gone") {
  CHECK(World(test::small_tree("replaces: [old]\n", "replaces: [old]\n")).said() == "");  // names are unique within a kind
  CHECK(World(test::small_tree("replaces: [old]\n", "", "", {{"profiles-src/machine/n.yaml", "replaces: [old]\n"}})).said() == "replaces-twice n.yaml:1:12");
  CHECK(World(test::small_tree("replaces: [n]\n", "", "", {{"profiles-src/machine/n.yaml", "title: x\n"}})).said() == "replaces-living m.yaml:1:12");
}

// The language: "`replaces` on the base carries its fittings along."
TEST_CASE("a fitting's old name, carried along by its base, has one successor too") {
  World world(test::small_tree("replaces: [old]\nfittings: { x: {} }\n", "", "", {{"profiles-src/machine/n.yaml", "replaces: [old+x]\n"}}));
  CHECK(world.said().find("replaces-twice") != std::string::npos);
}

}
