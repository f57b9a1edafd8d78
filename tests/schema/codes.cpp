#include "../support.h"

using namespace bindery;

namespace {

struct Read {
  Sources sources;
  Diagnostics out;
  Dictionary dictionary;

  explicit Read(test::Files files) {
    files["schema/settings.yaml"] = R"(settings:
  axis.most: { kinds: [machine], unit: mm/s^2, default: 3000 mm/s^2, fact: true }
  fan.steps: { kinds: [machine], type: count, default: 255, fact: true }
  code.form: { kinds: [machine], type: choice, choices: [printer, rs274], default: printer, fact: true }
  code.arcs: { kinds: [machine], type: flag, default: false, fact: true }
  wall.speed: { kinds: [process], unit: mm/s, default: 60 mm/s }
)";
    sources = test::sources_of(files);
    dictionary = read_dictionary(sources, std::make_shared<Units>(), 2, out);
  }
  explicit Read(std::string codes) : Read(test::Files{{"schema/codes.yaml", std::move(codes)}}) {}

  std::string pointed() {
    out.settle();
    return test::pointed(out, sources);
  }
  // The first entry of a code; the reading must be sound.
  const MachineCode& code(char letter, int tenths) {
    REQUIRE_MESSAGE(pointed() == "", pointed());
    auto found = dictionary.codes.find(letter, tenths);
    REQUIRE_FALSE(found.empty());
    return found.front();
  }
  // Its help, where there is one report.
  std::string help() {
    out.settle();
    REQUIRE(out.items().size() == 1);
    return out.items().front().help;
  }
};

// What is said of a code G1 with that entry, and of which bytes.
std::string entry_says(std::string_view entry) { return Read(fmt::format("codes:\n  G1: {{ {} }}\n", entry)).pointed(); }
// The same for one that has all that it must have, and for one word of it.
std::string part_says(std::string_view part) { return entry_says(fmt::format("trust: ordinary, reason: a test, {}", part)); }
std::string word_says(std::string_view word) { return part_says(fmt::format("words: {{ X: {{ {} }} }}", word)); }

std::string name_says(std::string_view name) { return Read(fmt::format("codes: {{ {}: {{ trust: ordinary, reason: a test }} }}\n", name)).pointed(); }

}  // namespace

TEST_SUITE("schema/codes") {

TEST_CASE("a code is read as it stands") {
  Read read(
      "codes:\n  M204:\n    title: Acceleration\n    trust: checked\n    reason: within what the axes bear\n    words: { P: { unit: mm/s^2, at_least: 1 cm/s^2, at_most: { calc: axis.most } }, T: {}, R: { trust: refused, reason: not here } }\n"
      "    source: a handbook\n");
  const MachineCode& code = read.code('M', 2040);
  CHECK(code.name == "M204");
  CHECK(code.title == "Acceleration");
  CHECK(code.trust == Trust::checked);
  CHECK(code.reason == "within what the axes bear");
  CHECK(code.source == "a handbook");
  CHECK(code.does == Does::nothing);
  CHECK_FALSE(code.text);
  CHECK_FALSE(code.where.has_value());
  REQUIRE(code.words.size() == 3);
  const CodeWord& p = *code.word('P');
  CHECK(p.unit->text == "mm/s^2");
  REQUIRE(p.least.has_value());
  CHECK(p.unit->from_base(p.least->base) == doctest::Approx(10));  // 1 cm/s^2
  REQUIRE(p.most.has_value());
  CHECK(p.most->formula.has_value());
  CHECK(p.most->text == "axis.most");
  CHECK_FALSE(p.refused);
  CHECK(code.word('T')->unit == nullptr);
  CHECK(code.word('R')->refused);
  CHECK(code.word('R')->reason == "not here");
  CHECK(code.word('S') == nullptr);
}

TEST_CASE("every act of a machine has a word") {
  constexpr std::pair<std::string_view, Does> acts[] = {{"move", Does::move},
                                                        {"arc-clockwise", Does::arc_clockwise},
                                                        {"arc-counterclockwise", Does::arc_counterclockwise},
                                                        {"dwell", Does::dwell},
                                                        {"home", Does::home},
                                                        {"set-position", Does::set_position},
                                                        {"absolute", Does::absolute},
                                                        {"relative", Does::relative},
                                                        {"extruder-absolute", Does::extruder_absolute},
                                                        {"extruder-relative", Does::extruder_relative},
                                                        {"millimetres", Does::millimetres},
                                                        {"inches", Does::inches},
                                                        {"plane-xy", Does::plane_xy},
                                                        {"plane-xz", Does::plane_xz},
                                                        {"plane-yz", Does::plane_yz},
                                                        {"heat", Does::heat},
                                                        {"heat-and-wait", Does::heat_and_wait},
                                                        {"fan", Does::fan},
                                                        {"fan-off", Does::fan_off},
                                                        {"motors-on", Does::motors_on},
                                                        {"motors-off", Does::motors_off},
                                                        {"retract", Does::retract},
                                                        {"unretract", Does::unretract},
                                                        {"level", Does::level},
                                                        {"pause", Does::pause},
                                                        {"stop", Does::stop}};
  for (const auto& [word, does] : acts) {
    const auto& told = word;
    CAPTURE(told);
    bool heats = does == Does::heat || does == Does::heat_and_wait;
    Read read(fmt::format("codes: {{ G1: {{ trust: ordinary, reason: a test, does: {}{} }} }}\n", word, heats ? ", heater: chamber" : ""));
    CHECK(read.code('G', 10).does == does);
    if (heats) CHECK(read.code('G', 10).heater == Heater::chamber);
  }
  CHECK(part_says("does: nothing") == "choice-unknown: nothing");
  CHECK(part_says("does: mov") == "choice-unknown: mov");
  CHECK(part_says("does: []").starts_with("value-malformed: "));
}

TEST_CASE("a code is a capital G, M or T and a number with at most one decimal, and T alone") {
  for (std::string_view name : {"G0", "G1", "M104", "T0", "T12", "G38.2", "G92.0", "M99999", "T"}) {
    CAPTURE(name);
    CHECK(name_says(name) == "");
  }
  for (std::string_view name : {"g1", "G", "M", "G01", "G00", "M104.25", "G1.", "G.5", "G-1", "\"G 1\"", "X1", "N5", "M123456", "G1x", "G1.x", "GG1", "1", "SWEEP", "T-1"}) {
    CAPTURE(name);
    CHECK(name_says(name).starts_with("name-invalid: "));
  }
  Read read("codes: { g1: { trust: ordinary, reason: a test } }\n");
  CHECK(read.help() == "write a capital G, M or T and a number, as in `G1`, `M104` or `G38.2`");
}

TEST_CASE("codes are found by letter and number, and T alone stands for any tool") {
  Read read("codes:\n  T: { title: any, trust: ordinary, reason: a test }\n  T3: { title: third, trust: refused, reason: a test }\n  M1: { trust: ordinary, reason: a test }\n  G38.2: { trust: ordinary, reason: a test }\n");
  CHECK(read.code('T', 0).title == "any");
  CHECK(read.code('T', 70).title == "any");
  CHECK(read.code('T', 30).title == "third");
  CHECK(read.code('G', 382).name == "G38.2");
  CHECK(read.dictionary.codes.find('M', 20).empty());
  CHECK(read.dictionary.codes.find('G', 380).empty());
  CHECK(read.dictionary.codes.find('G', 10).empty());
  CHECK(read.dictionary.codes.all().size() == 4);
  CHECK(read.code('M', 10).title == "M1");  // without a title
}

TEST_CASE("a tree without a list has none") {
  CHECK(Read(test::Files{}).dictionary.codes.empty());
  CHECK(Read("codes: {}\n").dictionary.codes.empty());
  CHECK(Read("codes: {}\n").pointed() == "");
}

TEST_CASE("alternatives stay in their order") {
  Read read(
      "codes:\n  G10:\n    - { title: Retract, where: code.arcs, trust: ordinary, reason: a test, does: retract }\n    - { title: Offsets, trust: refused, reason: a test }\n"
      "  G1: { trust: ordinary, reason: a test }\n");
  REQUIRE(read.pointed() == "");
  auto found = read.dictionary.codes.find('G', 100);
  REQUIRE(found.size() == 2);
  CHECK(found[0].title == "Retract");
  CHECK(found[0].where.has_value());
  CHECK(found[1].title == "Offsets");
  CHECK(found[1].trust == Trust::refused);
}

TEST_CASE("a code that is defined twice is told, in one file or two") {
  Read two(test::Files{{"schema/a.yaml", "codes: { G1: { title: first, trust: ordinary, reason: a test } }\n"}, {"schema/b.yaml", "codes: { G1: { trust: ordinary, reason: a test } }\n"}});
  CHECK(two.pointed() == "key-duplicate: G1");
  CHECK(two.out.items().front().related.size() == 1);
  CHECK(Read("codes: { G1: { trust: ordinary, reason: a test }, G1: { trust: ordinary, reason: a test } }\n").pointed() == "key-duplicate: G1");
  CHECK(Read("codes: { G1: { trust: ordinary, reason: a test }, G1.0: { trust: ordinary, reason: a test } }\n").pointed() == "key-duplicate: G1.0");
  Read mixed(test::Files{{"schema/a.yaml", "codes: { G1: [ { where: code.arcs, trust: ordinary, reason: a test } ] }\n"}, {"schema/b.yaml", "codes: { G1: { trust: ordinary, reason: a test } }\n"}});
  CHECK(mixed.pointed() == "key-duplicate: G1");
}

TEST_CASE("trust and its reason must be said") {
  CHECK(entry_says("title: x") == "key-missing: G1");
  CHECK(entry_says("reason: a test") == "key-missing: G1");
  CHECK(entry_says("trust: ordinary") == "key-missing: G1");
  CHECK(entry_says("trust: full, reason: a test") == "value-malformed: full");
  CHECK(entry_says("trust: ordinary, reason: \"\"") == "value-missing: reason");
  CHECK(entry_says("trust: ordinary, reason: a test") == "");
  CHECK(entry_says("trust: refused, reason: a test") == "");
}

TEST_CASE("the parts of an entry fit each other") {
  CHECK(part_says("does: heat") == "value-malformed: G1");
  CHECK(part_says("does: heat, heater: bed") == "");
  CHECK(part_says("does: heat, heater: oven") == "value-malformed: oven");
  CHECK(part_says("heater: bed") == "value-malformed: G1");
  CHECK(part_says("does: move, heater: bed") == "value-malformed: G1");
  CHECK(entry_says("trust: checked, reason: a test") == "value-malformed: G1");
  CHECK(entry_says("trust: checked, reason: a test, words: { X: {} }") == "value-malformed: G1");
  CHECK(entry_says("trust: checked, reason: a test, words: { X: { at_most: 5 } }") == "");
  CHECK(part_says("text: true") == "");
  CHECK(part_says("text: true, words: { X: {} }") == "value-malformed: G1");
  CHECK(part_says("text: false, words: { X: {} }") == "");
  CHECK(part_says("text: perhaps") == "value-malformed: perhaps");
}

TEST_CASE("unknown words of an entry are told with the nearest that exists") {
  CHECK(part_says("wheer: code.arcs") == "header-unknown: wheer");
  CHECK(part_says("unit: mm") == "header-unknown: unit");
  Read read("codes: { G1: { trust: ordinary, reason: a test, tittle: x } }\n");
  CHECK(read.help() == "did you mean 'title'");
}

TEST_CASE("a condition reads facts alone, and is a flag") {
  CHECK(part_says("where: code.form == 'printer'") == "");
  CHECK(part_says("where: code.arcs and axis.most > 1 m/s^2") == "");
  CHECK(part_says("where: wall.speed > 5 mm/s") == "fact-required: wall.speed");
  CHECK(part_says("where: code.formm == 'printer'") == "setting-unknown: code.formm");
  CHECK(part_says("where: axis.most") == "dimension-mismatch: axis.most");
  CHECK(part_says("where: \"code.arcs and\"").starts_with("formula-syntax: "));
  CHECK(part_says("where: code.form == 'rs247'") == "choice-unknown: 'rs247'");
}

TEST_CASE("a word is one capital letter") {
  CHECK(part_says("words: { X: {}, Y: , Z: ~ }") == "");
  CHECK(part_says("words: { x: {} }") == "name-invalid: x");
  CHECK(part_says("words: { XY: {} }") == "name-invalid: XY");
  CHECK(part_says("words: { \"1\": {} }") == "name-invalid: \"1\"");
  CHECK(part_says("words: { X: {}, X: {} }") == "key-duplicate: X");
  CHECK(part_says("words: [X, Y]").starts_with("value-malformed: "));
  CHECK(part_says("words: { X: mm }").starts_with("value-malformed: "));
}

TEST_CASE("bounds are values in the word's unit, or formulas over any setting") {
  CHECK(word_says("unit: mm/s, at_most: 5 m/s, at_least: 0 mm/s") == "");
  CHECK(word_says("unit: mm/s, at_most: { calc: 2 * wall.speed }") == "");
  CHECK(word_says("at_most: 255") == "");
  CHECK(word_says("at_most: { calc: fan.steps }") == "");
  CHECK(word_says("at_least: -0.5") == "");
  CHECK(word_says("unit: mm/s, at_most: 5") == "unit-missing: 5");
  CHECK(word_says("unit: mm/s, at_most: 5 mm") == "dimension-mismatch: mm");
  CHECK(word_says("at_most: 5 mm") == "dimension-mismatch: mm");
  CHECK(word_says("at_most: { calc: wall.speed }") == "dimension-mismatch: wall.speed");
  CHECK(word_says("unit: degC, at_most: { calc: wall.speed }") == "dimension-mismatch: wall.speed");
  CHECK(word_says("at_most: { add: 5 }") == "operation-malformed: at_most");
  CHECK(word_says("at_most: { calc: 5, add: 5 }") == "operation-malformed: at_most");
  CHECK(word_says("at_most: [5]").starts_with("value-malformed: "));
  CHECK(word_says("at_most: { calc: wall.sped }") == "setting-unknown: wall.sped");
  CHECK(word_says("unit: furlong/blink, at_most: 5 mm").starts_with("unit-unknown: furlong/blink"));
  CHECK(word_says("at_most: lots") == "value-malformed: lots");
  CHECK(word_says("most: 5") == "header-unknown: most");
}

TEST_CASE("the unit may stand behind the bound") {
  Read read("codes: { G1: { trust: checked, reason: a test, words: { F: { at_most: 1 m/s, unit: mm/min } } } }\n");
  const CodeWord& f = *read.code('G', 10).word('F');
  CHECK(f.unit->from_base(f.most->base) == doctest::Approx(60000));
}

TEST_CASE("a letter that is refused says why") {
  CHECK(word_says("trust: refused, reason: it would pretend a homing") == "");
  CHECK(word_says("trust: refused") == "key-missing: X");
  CHECK(word_says("trust: checked, reason: x") == "value-malformed: checked");
  CHECK(word_says("reason: x") == "");
}

TEST_CASE("what is no mapping is told once") {
  CHECK(Read("codes: [G1]\n").pointed().starts_with("value-malformed: "));
  CHECK(Read("codes: G1\n").pointed().starts_with("value-malformed: "));
  CHECK(Read("codes: { G1: ordinary }\n").pointed().starts_with("value-malformed: "));
  CHECK(Read("codes: { G1: [ ordinary ] }\n").pointed().starts_with("value-malformed: "));
  CHECK(Read("codes: { G1: }\n").pointed() != "");
  for (std::string_view text : {"codes: [G1]\n", "codes: { G1: ordinary }\n", "codes: { G1: { words: [] } }\n"}) {
    Read read{std::string(text)};
    read.pointed();
    CHECK(read.out.items().size() == 1);
    CHECK(read.dictionary.broken);
  }
}

}  // TEST_SUITE
