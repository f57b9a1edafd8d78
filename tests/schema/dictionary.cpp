#include "schema/dictionary.h"

#include "syntax/limits.h"

#include "../support.h"

using namespace bindery;

namespace {

struct Read {
  Sources sources;
  Diagnostics out;
  Dictionary dictionary;

  explicit Read(test::Files files) : sources(test::sources_of(files)) { dictionary = read_dictionary(sources, std::make_shared<Units>(), 2, out); }
  explicit Read(std::string text) : Read(test::Files{{"schema/d.yaml", std::move(text)}}) {}
  std::string said() {
    out.settle();
    return test::told(out, sources);
  }
  std::string pointed() {
    out.settle();
    return test::pointed(out, sources);
  }
  const Setting& setting(std::string_view key) const {
    KeyId id = dictionary.find(key);
    REQUIRE_MESSAGE(id != no_key, key);
    return dictionary.settings[id];
  }
};

// What is said of a dictionary of one setting `a.b` with that entry, and of which bytes.
std::string entry_says(std::string_view entry) { return Read(fmt::format("settings:\n  a.b: {{ {} }}\n", entry)).pointed(); }

}  // namespace

TEST_SUITE("schema/dictionary") {

TEST_CASE("an entry is read as it stands") {
  Read read(
      "settings:\n  a.b:\n    title: A title\n    about: What it does.\n    kinds: [process, material]\n    adjustable_by: machine\n    unit: mm/s\n    range: [1, 1000]\n"
      "    typical: [20, 300]\n    default: 6 cm/s\n    required: true\n    over_limit: refuse\n    source: common practice\n");
  CHECK(read.said() == "");
  const Setting& setting = read.setting("a.b");
  CHECK(setting.title == "A title");
  CHECK(setting.about == "What it does.");
  CHECK(setting.written_by == std::array<bool, 3>{false, true, true});
  CHECK(setting.adjusted_by == std::array<bool, 3>{true, false, false});
  CHECK(setting.type == Type::quantity);
  CHECK(setting.unit->text == "mm/s");
  CHECK(setting.range->low == 1);
  CHECK(setting.range->high == 1000);
  CHECK(setting.typical->high == 300);
  CHECK(setting.literal_default.number() == 60);  // in the setting's unit
  CHECK(setting.required);
  CHECK(setting.refuse);
  CHECK_FALSE(setting.fact);
  CHECK(setting.source == "common practice");
}

TEST_CASE("settings are numbered in the order of files and lines") {
  Read read(test::Files{{"schema/b.yaml", "settings: { c.c: { kinds: [process], type: flag } }\n"}, {"schema/a.yaml", "settings: { z.z: { kinds: [process], type: flag }, a.a: { kinds: [process], type: flag } }\n"}});
  CHECK(read.said() == "");
  REQUIRE(read.dictionary.settings.size() == 3);
  CHECK(read.dictionary.settings[0].key == "z.z");
  CHECK(read.dictionary.settings[1].key == "a.a");
  CHECK(read.dictionary.settings[2].key == "c.c");
}

TEST_CASE("a tree without a dictionary is told so") {
  Read read(test::Files{{"profiles-src/machine/m.yaml", "title: x\n"}});
  CHECK(read.said() == "dictionary-missing");
  CHECK(read.dictionary.broken);
}

TEST_CASE("a default of `none` is no value, one in quotes is a word") {
  Read read("settings:\n  a.a: { kinds: [process], type: text, default: none }\n  a.b: { kinds: [process], type: text, default: \"none\" }\n  a.c: { kinds: [process], type: count }\n");
  CHECK(read.said() == "");
  CHECK(read.setting("a.a").literal_default.is(Value::Tag::unset));
  CHECK(read.setting("a.b").literal_default.word() == "none");
  CHECK(read.setting("a.c").literal_default.is(Value::Tag::unset));
}

TEST_CASE("a default may be a formula of settings that come later") {
  Read read("settings:\n  a.a: { kinds: [process], unit: mm, default: { calc: 2 * a.b } }\n  a.b: { kinds: [process], unit: cm, default: 1 cm }\n");
  CHECK(read.said() == "");
  REQUIRE(read.setting("a.a").formula_default);
  CHECK(read.setting("a.a").formula_default->keys.size() == 1);
}

TEST_CASE("a default is of its setting's sort") {
  CHECK(entry_says("kinds: [process], unit: mm, default: 1") == "unit-missing: 1");
  CHECK(entry_says("kinds: [process], unit: mm, default: 1 s") == "dimension-mismatch: s");
  CHECK(entry_says("kinds: [process], unit: mm, default: { calc: 1 s }") == "dimension-mismatch: 1 s");
  CHECK(entry_says("kinds: [process], unit: mm, default: { add: 1 mm }") == "operation-malformed: {");
  CHECK(entry_says("kinds: [process], unit: mm, default: { calc: inherited }") == "formula-syntax: inherited");
  CHECK(entry_says("kinds: [process], type: choice, choices: [x, y], default: z") == "choice-unknown: z");
  CHECK(entry_says("kinds: [process], type: flag, default: yes") == "value-malformed: yes");
  CHECK(entry_says("kinds: [process], type: count, default: 1.5") == "count-fraction: 1.5");
}

TEST_CASE("an entry says its kinds, and a unit or a type") {
  CHECK(entry_says("unit: mm") == "key-missing: a.b");
  CHECK(entry_says("kinds: [process]") == "key-missing: a.b");
  CHECK(entry_says("kinds: [process], unit: mm, type: count") == "value-malformed: a.b");
  CHECK(entry_says("kinds: [process], type: choice") == "key-missing: a.b");
  CHECK(entry_says("kinds: [printer], unit: mm") == "header-unknown: printer");
  CHECK(entry_says("kinds: [process], unit: furlong/moon") == "unit-unknown: furlong/moon");
  CHECK(entry_says("kinds: [process], type: number") == "value-malformed: number");
  CHECK(entry_says("kinds: [process], unit: mm, colour: red") == "header-unknown: colour");
}

TEST_CASE("a range is two bare numbers, the lower one first, of something that has an order") {
  CHECK(entry_says("kinds: [process], unit: mm, range: [5, 1]") == "value-malformed: range");
  CHECK(entry_says("kinds: [process], unit: mm, range: [1 mm, 5 mm]") == "value-malformed: range");
  CHECK(entry_says("kinds: [process], unit: mm, typical: [1]") == "value-malformed: typical");
  CHECK(entry_says("kinds: [process], type: flag, range: [0, 1]") == "value-malformed: range");
  CHECK(entry_says("kinds: [process], unit: mm, range: [1, 1]") == "");
}

// The language: these words "are no segments of keys, and no key is the beginning of another".
TEST_CASE("a key holds no word that means an operation, and begins no other key") {
  auto key_says = [](std::string_view key) { return Read(fmt::format("settings:\n  {}: {{ kinds: [process], unit: mm }}\n", key)).said(); };
  for (std::string_view word : {"calc", "add", "scale", "unset", "append", "remove", "value", "assumed", "none", "among"}) {
    CHECK_MESSAGE(key_says(fmt::format("wall.{}", word)) == "key-reserved d.yaml:2:3", word);
    CHECK_MESSAGE(key_says(fmt::format("{}.wall", word)) == "key-reserved d.yaml:2:3", word);
  }
  CHECK(key_says("wall.added") == "");
  CHECK(key_says("Wall.speed") == "name-invalid d.yaml:2:3");
  Read read("settings:\n  wall.outer: { kinds: [process], unit: mm }\n  wall.outer.speed: { kinds: [process], unit: mm }\n  wall.outers: { kinds: [process], unit: mm }\n");
  CHECK(read.said() == "key-prefix d.yaml:3:3");
  CHECK(read.out.items()[0].related.size() == 1);
}

TEST_CASE("one key in two files is defined twice") {
  Read read(test::Files{{"schema/a.yaml", "settings: { a.b: { kinds: [process], unit: mm } }\n"}, {"schema/b.yaml", "settings: { a.b: { kinds: [process], unit: s } }\n"}});
  CHECK(read.said() == "key-duplicate b.yaml:1:13");
  CHECK(read.dictionary.settings.size() == 1);
}

TEST_CASE("what a speed extrudes is a width and a height, or an area, by their dimensions") {
  const std::string keys = "settings:\n  w.w: { kinds: [process], unit: mm }\n  h.h: { kinds: [process], unit: mm }\n  a.a: { kinds: [process], unit: mm^2 }\n";
  auto says = [&](std::string_view unit, std::string_view extrudes) { return Read(fmt::format("{}  v.v: {{ kinds: [process], unit: {}, extrudes: {} }}\n", keys, unit, extrudes)).said(); };
  CHECK(says("mm/s", "{ width: w.w, height: h.h }") == "");
  CHECK(says("mm/s", "{ area: a.a }") == "");
  CHECK(says("mm/s", "{ width: w.w }").starts_with("value-malformed d.yaml:5:"));
  CHECK(says("mm/s", "{ width: w.w, height: h.h, area: a.a }").starts_with("value-malformed d.yaml:5:"));
  CHECK(says("mm/s", "{ width: a.a, height: h.h }").starts_with("dimension-mismatch d.yaml:5:"));
  CHECK(says("mm/s", "{ width: w.x, height: h.h }").starts_with("setting-unknown d.yaml:5:"));
  CHECK(says("mm", "{ area: a.a }").starts_with("value-malformed d.yaml:5:"));
}

TEST_CASE("a role names one setting of its dimension") {
  auto says = [](std::string_view role) { return Read(fmt::format("settings:\n  a.b: {{ kinds: [process], unit: mm }}\n  a.c: {{ kinds: [process], unit: degC }}\n  a.d: {{ kinds: [process], unit: K }}\nroles: {{ {} }}\n", role)).pointed(); };
  CHECK(says("nozzle: a.b, nozzle_temperature: a.c") == "");
  CHECK(says("nozzle: a.c") == "dimension-mismatch: a.c");
  CHECK(says("nozzle_temperature: a.d") == "dimension-mismatch: a.d");
  CHECK(says("nozzle: a.x") == "setting-unknown: a.x");
  CHECK(says("bell: a.b") == "role-unknown: bell");
  Read read("settings: { a.b: { kinds: [process], unit: mm } }\nroles: { nozzle: a.b }\n");
  CHECK(read.dictionary.role(Role::nozzle) == read.dictionary.find("a.b"));
  CHECK(read.dictionary.role(Role::flow_limit) == no_key);
}

TEST_CASE("a rule asserts something and says something") {
  auto says = [](std::string_view rule) { return Read(fmt::format("settings:\n  a.b: {{ kinds: [process], unit: mm }}\nrules:\n  r: {{ {} }}\n", rule)).pointed(); };
  CHECK(says("assert: a.b > 1 mm, severity: warning, say: \"${a.b} is small\", source: common practice") == "");
  CHECK(says("assert: a.b > 1 mm") == "key-missing: r");
  CHECK(says("say: x") == "key-missing: r");
  CHECK(says("assert: a.b, say: x") == "dimension-mismatch: a.b");
  CHECK(says("assert: a.c > 1 mm, say: x") == "setting-unknown: a.c");
  CHECK(says("assert: a.b > 1 mm, say: \"${a.c} is small\"") == "setting-unknown: a.c");
  CHECK(says("assert: a.b > 1 mm, say: x, severity: fatal") == "value-malformed: fatal");
}

TEST_CASE("a broken entry silences those that read it") {
  Read read("settings:\n  a.a: { kinds: [process], unit: furlong/moon }\n  a.b: { kinds: [process], unit: mm, default: { calc: a.a + 1 mm } }\nrules:\n  r: { assert: a.a > 1 mm, say: x }\n");
  CHECK(read.pointed() == "unit-unknown: furlong/moon");
  CHECK(read.dictionary.broken);
}

TEST_CASE("a fact's formula reads facts alone") {
  Read read("settings:\n  a.a: { kinds: [machine], unit: mm, fact: true, default: { calc: a.b } }\n  a.b: { kinds: [process], unit: mm, default: 1 mm }\n");
  CHECK(read.pointed() == "fact-required: a.b");
}

TEST_CASE("a group is what longer keys begin with") {
  Read read("settings: { wall.outer.speed: { kinds: [process], unit: mm/s } }\n");
  CHECK(read.dictionary.is_group("wall"));
  CHECK(read.dictionary.is_group("wall.outer"));
  CHECK_FALSE(read.dictionary.is_group("wall.outer.speed"));
  CHECK_FALSE(read.dictionary.is_group("wal"));
  CHECK(read.dictionary.nearest_key("wall.outter.speed") == "wall.outer.speed");
}

TEST_CASE("a dictionary has so many rules, and no more") {
  std::string rules = "rules:\n";
  for (std::size_t i = 0; i <= most::rules; ++i) rules += fmt::format("  r{}: {{ assert: true, say: x }}\n", i);
  test::World many_rules(test::small_tree("", "", "", {{"schema/rules.yaml", rules}}));
  CHECK(test::told(many_rules.diagnostics, many_rules.sources) == fmt::format("too-many rules.yaml:{}:3", most::rules + 2));
  CHECK(many_rules.tree.dictionary.rules.size() == most::rules);
  CHECK(many_rules.tree.dictionary.broken);
}

}
