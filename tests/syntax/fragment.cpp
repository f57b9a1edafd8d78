#include "syntax/fragment.h"

#include "../support.h"

using namespace bindery;

namespace {

struct Read {
  Sources sources;
  Diagnostics out;
  FragmentFile file;

  explicit Read(std::string text, std::string path = "profiles-src/machine/m.yaml") : sources(test::sources_of({{std::move(path), std::move(text)}})) { file = read_fragment(0, sources[0], out); }

  const Fragment& base() const { return file.fragments.front(); }
  std::string said() const { return test::told(out, sources); }
  std::string help() const { return out.items().empty() ? "" : out.items().front().help; }
  std::string bytes(Span span) const { return test::covered(sources, span); }
};

}  // namespace

TEST_SUITE("syntax/fragment") {

TEST_CASE("a fragment is named after its file, whatever folder groups it") {
  Read read("title: x\n", "profiles-src/material/soft/tpu-plain.yaml");
  CHECK(read.base().kind == Kind::material);
  CHECK(read.base().name == "tpu-plain");
  CHECK(read.said() == "");
}

TEST_CASE("a file of no valid name is reported and broken") {
  for (std::string_view stem : {"Heron", "a_b", "-a", "a+b"}) {
    CAPTURE(stem);
    Read read("title: x\n", fmt::format("profiles-src/machine/{}.yaml", stem));
    CHECK(read.said().starts_with("name-invalid"));
    CHECK(read.base().broken);
  }
}

TEST_CASE("headers are read as they stand") {
  Read read("title: A title\nabout: words\nabstract: true\ntier: supporter\nstatus: stable\nextends: [one, two]\nauthors: A. Contributor\nreplaces: [old]\nlocked: [wall.speed]\n");
  const Fragment& base = read.base();
  CHECK(read.said() == "");
  CHECK(base.title->text == "A title");
  CHECK(base.about->text == "words");
  CHECK(base.abstract == true);
  CHECK(base.tier == Tier::supporter);
  CHECK(base.status == Status::stable);
  REQUIRE(base.extends.size() == 2);
  CHECK(base.extends[1].text == "two");
  REQUIRE(base.authors.size() == 1);
  CHECK(base.authors[0].text == "A. Contributor");
  CHECK(base.replaces.size() == 1);
  CHECK(base.locked.size() == 1);
}

TEST_CASE("nested and dotted keys are the same") {
  Read read("settings:\n  wall: { outer.speed: 1 mm/s, inner: { speed: 2 mm/s } }\n  wall.count: 3\n");
  CHECK(read.said() == "");
  const auto& writes = read.base().layers.front().settings;
  REQUIRE(writes.size() == 3);
  CHECK(writes[0].key == "wall.outer.speed");
  CHECK(read.bytes(writes[0].key_span) == "outer.speed");
  CHECK(writes[1].key == "wall.inner.speed");
  CHECK(read.bytes(writes[1].value.span) == "2 mm/s");
  CHECK(writes[2].key == "wall.count");
}

TEST_CASE("one key in two forms is written twice") {
  Read read("settings:\n  wall: { speed: 1 mm/s }\n  wall.speed: 2 mm/s\n");
  CHECK(read.said() == "key-duplicate m.yaml:3:3");
  REQUIRE(read.out.items()[0].related.size() == 1);
  CHECK(read.bytes(read.out.items()[0].related[0].span) == "speed");
  CHECK(read.base().broken);
}

TEST_CASE("the operations of a value are told apart") {
  Read read("settings:\n  a.a: 1 mm\n  a.b: { calc: x + y }\n  a.c: { add: -5 K }\n  a.d: { scale: 110 % }\n  a.e: { unset: true }\n  a.f: { append: [x] }\n  a.g: { remove: x }\n  a.h: [x, y]\n");
  CHECK(read.said() == "");
  std::string ops;
  for (const RawWrite& write : read.base().layers.front().settings) ops += fmt::format("{}{} ", name_of(write.value.op), write.value.is_list ? fmt::format("({})", write.value.items.size()) : "");
  CHECK(ops == "set calc add scale unset append(1) remove(1) set(2) ");
}

TEST_CASE("an operation stands alone and says something") {
  CHECK(Read("settings: { a.b: { add: 1 mm, scale: 2 } }\n").said() == "operation-malformed m.yaml:1:31");
  CHECK(Read("settings: { a.b: { add: 1 mm, else: 2 } }\n").said() == "operation-malformed m.yaml:1:31");
  CHECK(Read("settings: { a.b: { unset: false } }\n").said() == "value-malformed m.yaml:1:27");
  CHECK(Read("settings: { a.b: { unset: 1 } }\n").said() == "value-malformed m.yaml:1:27");
  CHECK(Read("settings: { a.b: }\n").said() == "value-missing m.yaml:1:13");
  CHECK(Read("settings: { a: {} }\n").said() == "value-malformed m.yaml:1:16");
  CHECK(Read("settings: { a.b: { calc: } }\n").said() == "value-missing m.yaml:1:20");
}

TEST_CASE("a word in the wrong place is told where it belongs") {
  CHECK(Read("titel: x\n").said() == "header-unknown m.yaml:1:1");
  CHECK(Read("titel: x\n").help() == "did you mean 'title'");
  for (std::string_view word : {"wall.speed", "at_most", "where", "if", "add", "machine"}) {
    CAPTURE(word);
    Read read(fmt::format("{}: x\n", word));
    CHECK(read.said() == "header-misplaced m.yaml:1:1");
    CHECK_FALSE(read.help().empty());
  }
}

TEST_CASE("fittings are fragments of the base's name and their own") {
  Read read("title: x\nfittings:\n  \"0.4\": { settings: { a.b: 1 } }\n  fine: { title: y, extends: z }\n");
  CHECK(read.said() == "");
  REQUIRE(read.file.fragments.size() == 3);
  CHECK(read.base().has_fittings);
  const Fragment& first = read.file.fragments[1];
  CHECK(first.name == "m+0.4");
  CHECK(first.base == "m");
  CHECK(read.bytes(first.span) == "\"0.4\"");
  CHECK(read.file.fragments[2].name == "m+fine");
  CHECK(read.file.fragments[2].extends[0].text == "z");
}

TEST_CASE("a fitting has no fittings of its own and a name of its own") {
  CHECK(Read("fittings: { a: { fittings: {} } }\n").said() == "header-misplaced m.yaml:1:18");
  CHECK(Read("fittings: { A: {} }\n").said() == "name-invalid m.yaml:1:13");
  CHECK(Read("fittings: { a+b: {} }\n").said() == "name-invalid m.yaml:1:13");
}

TEST_CASE("a block of `when` has a condition and the parts of a layer") {
  Read read("when:\n  - if: { material: [tpu-*, \"!tpu-x\"], where: nozzle.bore > 1 mm }\n    settings: { a.b: 1 }\n    adjust: { a.c: { add: 1 } }\n    limits: { a.d: none }\n    scripts: { end: none }\n");
  CHECK(read.said() == "");
  REQUIRE(read.base().layers.size() == 2);
  const RawLayer& block = read.base().layers[1];
  REQUIRE(block.condition);
  CHECK(block.condition->names[1].size() == 2);
  CHECK(block.condition->where->text == "nozzle.bore > 1 mm");
  CHECK(block.settings.size() == 1);
  CHECK(block.adjust.size() == 1);
  CHECK(block.limits.size() == 1);
  CHECK(block.scripts.size() == 1);
}

TEST_CASE("a block of `when` without a condition or with a foreign word is refused") {
  CHECK(Read("when:\n  - settings: { a.b: 1 }\n").said() == "key-missing m.yaml:2:5");
  CHECK(Read("when:\n  - if: {}\n    title: x\n").said() == "header-unknown m.yaml:3:5");
  CHECK(Read("when:\n  if: {}\n").said() == "value-malformed m.yaml:2:3");
  CHECK(Read("when:\n  - if: { nozzle: x }\n").said() == "header-unknown m.yaml:2:11");
}

TEST_CASE("limits hold bounds, a verdict and none") {
  Read read("limits:\n  \"*.speed\": { at_most: 300 mm/s, at_least: { calc: x }, else: refuse }\n  seam.place: { among: [rear] }\n  a.b: { at_most: none }\n  a.c: none\n");
  CHECK(read.said() == "");
  const auto& limits = read.base().layers.front().limits;
  REQUIRE(limits.size() == 4);
  CHECK(limits[0].pattern.text == "*.speed");
  CHECK(limits[0].refuse);
  REQUIRE(limits[0].bounds.size() == 2);
  CHECK(limits[0].bounds[1].value.op == OpKind::calc);
  CHECK(limits[1].bounds[0].side == RawBound::Side::among);
  CHECK(limits[2].bounds[0].drop);
  CHECK(limits[3].drop_all);
}

TEST_CASE("a bound of another form is refused") {
  CHECK(Read("limits: { a.b: { at_most: { add: 1 mm } } }\n").said() == "operation-malformed m.yaml:1:27");
  CHECK(Read("limits: { a.b: { maximum: 1 mm } }\n").said() == "header-unknown m.yaml:1:18");
  CHECK(Read("limits: { a.b: { at_most: 1 mm, else: stop } }\n").said() == "value-malformed m.yaml:1:39");
}

TEST_CASE("a script is replaced, led, followed or dropped") {
  Read read("scripts:\n  start: |\n    G28\n  layer: none\n  pause: { before: M1, after: M2 }\n  end: \"none\"\n");
  CHECK(read.said() == "");
  const auto& scripts = read.base().layers.front().scripts;
  REQUIRE(scripts.size() == 5);
  CHECK(scripts[0].act == RawScript::Act::replace);
  CHECK(scripts[0].text.text == "G28\n");
  CHECK(scripts[1].act == RawScript::Act::drop);
  CHECK(scripts[2].act == RawScript::Act::before);
  CHECK(scripts[3].act == RawScript::Act::after);
  CHECK(scripts[4].act == RawScript::Act::replace);  // a text in quotes is a text
  CHECK(Read("scripts: { begin: x }\n").said() == "header-unknown m.yaml:1:12");
}

TEST_CASE("an error in one fitting is not its sister's") {
  Read read("fittings:\n  a: { settings: { x.y: } }\n  b: { title: sound }\n");
  REQUIRE(read.file.fragments.size() == 3);
  CHECK_FALSE(read.file.fragments[0].broken);
  CHECK(read.file.fragments[1].broken);
  CHECK_FALSE(read.file.fragments[2].broken);
}

TEST_CASE("a file that is no document still gives a broken fragment of its name") {
  Read read("a: [\n");
  REQUIRE(read.file.fragments.size() == 1);
  CHECK(read.base().name == "m");
  CHECK(read.base().broken);
  CHECK(read.out.items().size() == 1);
}

}
