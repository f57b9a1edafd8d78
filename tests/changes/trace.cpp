// The edits that a difference is traced to: operations, formulas, defaults. Release contract: "A cause is an edit that
// made the value differ: an edit hidden by what lies above it, or that a cap swallows, is none."
#include "changes/trace.h"

#include "../comparison.h"

using namespace bindery;
using test::change_of;
using test::Files;
using test::idle_of;
using test::small_tree;
using test::Twins;

namespace {

// How a setting of m/p/q changes from one tree to the other, and by what.
std::string change(std::string_view key, const Files& before, const Files& after) {
  return change_of(Twins(before, after).changes(), key);
}

}  // namespace

TEST_SUITE("changes/trace") {

TEST_CASE("a literal that was edited is the cause") {
  CHECK(change("travel.speed", small_tree("", "", "settings: { travel.speed: 100 mm/s }\n"),
               small_tree("", "", "settings: { travel.speed: 120 mm/s }\n")) ==
        "100 -> 120 by process/q settings travel.speed");
}

TEST_CASE("a line that came or went is the cause") {
  const Files without = small_tree("settings: { travel.speed: 90 mm/s }\n"),
              with = small_tree("settings: { travel.speed: 90 mm/s }\n", "", "settings: { travel.speed: 120 mm/s }\n");
  CHECK(change("travel.speed", without, with) == "90 -> 120 by process/q settings travel.speed");
  CHECK(change("travel.speed", with, without) == "120 -> 90 by process/q settings travel.speed");
}

TEST_CASE("each operation of a chain can be the cause") {
  auto chain = [](std::string machine, std::string material, std::string process) {
    return small_tree(fmt::format("settings: {{ travel.speed: {} }}\n", machine),
                      fmt::format("settings: {{ travel.speed: {{ add: {} }} }}\n", material),
                      fmt::format("settings: {{ travel.speed: {{ scale: {} }} }}\n", process));
  };
  const Files before = chain("100 mm/s", "10 mm/s", "2");
  CHECK(change("travel.speed", before, chain("110 mm/s", "10 mm/s", "2")) ==
        "220 -> 240 by machine/m settings travel.speed");
  CHECK(change("travel.speed", before, chain("100 mm/s", "30 mm/s", "2")) ==
        "220 -> 260 by material/p settings travel.speed");
  CHECK(change("travel.speed", before, chain("100 mm/s", "10 mm/s", "3")) ==
        "220 -> 330 by process/q settings travel.speed");
}

TEST_CASE("two edits that both enter a value are its causes together") {
  CHECK(
      change(
          "travel.speed",
          small_tree("settings: { travel.speed: 100 mm/s }\n", "", "settings: { travel.speed: { add: 10 mm/s } }\n"),
          small_tree("settings: { travel.speed: 110 mm/s }\n", "", "settings: { travel.speed: { add: 20 mm/s } }\n")) ==
      "110 -> 130 by machine/m settings travel.speed + process/q settings travel.speed");
}

TEST_CASE("edits that make up for each other make no difference, and are told as such") {
  Changes changes =
      Twins(small_tree("settings: { travel.speed: 100 mm/s }\n", "", "settings: { travel.speed: { add: 20 mm/s } }\n"),
            small_tree("settings: { travel.speed: 110 mm/s }\n", "", "settings: { travel.speed: { add: 10 mm/s } }\n"))
          .changes();
  CHECK(changes.changes.empty());
  CHECK(idle_of(changes) == "machine/m settings travel.speed + process/q settings travel.speed");
}

TEST_CASE("an edit hidden by what lies above it changes nothing") {
  Changes changes =
      Twins(small_tree("settings: { travel.speed: 100 mm/s }\n", "", "settings: { travel.speed: 200 mm/s }\n"),
            small_tree("settings: { travel.speed: 110 mm/s }\n", "", "settings: { travel.speed: 200 mm/s }\n"))
          .changes();
  CHECK(change_of(changes, "travel.speed") == "the same");
  CHECK(idle_of(changes) == "machine/m settings travel.speed");
}

TEST_CASE("an edit hidden by another edit is no cause") {
  Changes changes =
      Twins(small_tree("settings: { travel.speed: 100 mm/s }\n", "", "settings: { travel.speed: 200 mm/s }\n"),
            small_tree("settings: { travel.speed: 110 mm/s }\n", "", "settings: { travel.speed: 220 mm/s }\n"))
          .changes();
  CHECK(change_of(changes, "travel.speed") == "200 -> 220 by process/q settings travel.speed");
  CHECK(idle_of(changes) == "machine/m settings travel.speed");
}

TEST_CASE("an edit below a literal that is new is no cause, though the old value came of it") {
  CHECK(change("travel.speed",
               small_tree("settings: { travel.speed: 100 mm/s }\n", "settings: { travel.speed: { add: 10 mm/s } }\n"),
               small_tree("settings: { travel.speed: 110 mm/s }\n", "settings: { travel.speed: 130 mm/s }\n")) ==
        "110 -> 130 by material/p settings travel.speed");
}

TEST_CASE("an edit below a literal that went is a cause beside it") {
  CHECK(change("travel.speed",
               small_tree("settings: { travel.speed: 100 mm/s }\n", "", "settings: { travel.speed: 200 mm/s }\n"),
               small_tree("settings: { travel.speed: 110 mm/s }\n")) ==
        "200 -> 110 by machine/m settings travel.speed + process/q settings travel.speed");
}

TEST_CASE("`unset` is a cause like any operation") {
  CHECK(change("travel.speed", small_tree("settings: { travel.speed: 100 mm/s }\n"),
               small_tree("settings: { travel.speed: 100 mm/s }\n", "",
                          "settings: { travel.speed: { unset: true } }\n")) ==
        "100 -> 150 by process/q settings travel.speed");
}

TEST_CASE("words appended to a list are a cause beside the list below") {
  CHECK(change("order.words",
               small_tree("settings: { order.words: [a] }\n", "", "settings: { order.words: { append: [b] } }\n"),
               small_tree("settings: { order.words: [c] }\n", "", "settings: { order.words: { append: [d] } }\n")) ==
        "[\"a\",\"b\"] -> [\"c\",\"d\"] by machine/m settings order.words + process/q settings order.words");
}

TEST_CASE(
    "values that look alike are told apart: a comma in a word, an empty text, a text that reads like an operation") {
  auto list = [](std::string_view words) {
    return small_tree("", "", fmt::format("settings: {{ order.words: {} }}\n", words));
  };
  CHECK(change("order.words", list("[\"a, b\"]"), list("[a, b]")) ==
        "[\"a, b\"] -> [\"a\",\"b\"] by process/q settings order.words");
  std::string text(test::dictionary);
  text.insert(text.find("  fan.duty:"), "  note.words: { kinds: [process], type: text, default: hello }\n");
  auto note = [&](std::string_view value) {
    return small_tree("", "", fmt::format("title: Q\n{}", value), {{"schema/settings.yaml", text}});
  };
  CHECK(change("note.words", note(""), note("settings: { note.words: \"\" }\n")) ==
        "\"hello\" -> \"\" by process/q settings note.words");
  CHECK(change("note.words", note("settings: { note.words: { unset: true } }\n"),
               note("settings: { note.words: \"{ unset: true }\" }\n")) ==
        "\"hello\" -> \"{ unset: true }\" by process/q settings note.words");
}

TEST_CASE("a formula passes on what made its input differ, however deep") {
  auto tree = [](int count) {
    return small_tree("", "",
                      fmt::format("settings:\n  travel.speed: {{ calc: 2 * wall.speed }}\n  wall.speed: {{ calc: "
                                  "wall.count * 20 mm/s }}\n  wall.count: {}\n",
                                  count));
  };
  Changes changes = Twins(tree(3), tree(4)).changes();
  CHECK(change_of(changes, "wall.count") == "3 -> 4 by process/q settings wall.count");
  CHECK(change_of(changes, "wall.speed") == "60 -> 80 by process/q settings wall.count");
  CHECK(change_of(changes, "travel.speed") == "120 -> 160 by process/q settings wall.count");
  CHECK(changes.changes.size() == 1);  // one cause, one group
}

TEST_CASE("a formula with two inputs that differ has the causes of both") {
  CHECK(change("travel.speed",
               small_tree("settings: { wall.count: 2 }\n", "",
                          "settings: { wall.speed: 50 mm/s, travel.speed: { calc: wall.count * wall.speed } }\n"),
               small_tree("settings: { wall.count: 3 }\n", "",
                          "settings: { wall.speed: 60 mm/s, travel.speed: { calc: wall.count * wall.speed } }\n")) ==
        "100 -> 180 by machine/m settings wall.count + process/q settings wall.speed");
}

TEST_CASE("what the branch not taken reads is no cause") {
  auto tree = [](int thread, int wall) {
    return small_tree("", "",
                      fmt::format("settings:\n  travel.speed: {{ calc: \"if(spiral.on, thread.speed, wall.speed)\" "
                                  "}}\n  thread.speed: {} mm/s\n  wall.speed: {} mm/s\n",
                                  thread, wall));
  };
  CHECK(change("travel.speed", tree(30, 60), tree(40, 70)) == "60 -> 70 by process/q settings wall.speed");
}

TEST_CASE("the switch of a branch is a cause") {
  auto tree = [](bool on) {
    return small_tree(
        "", "",
        fmt::format(
            "settings:\n  travel.speed: {{ calc: \"if(spiral.on, thread.speed, wall.speed)\" }}\n  spiral.on: {}\n",
            on));
  };
  CHECK(change("travel.speed", tree(false), tree(true)) == "60 -> 30 by process/q settings spiral.on");
}

TEST_CASE("an input that a new literal no longer reads is no cause") {
  CHECK(change("travel.speed",
               small_tree("", "", "settings: { wall.speed: 60 mm/s, travel.speed: { calc: 2 * wall.speed } }\n"),
               small_tree("", "", "settings: { wall.speed: 70 mm/s, travel.speed: 200 mm/s }\n")) ==
        "120 -> 200 by process/q settings travel.speed");
}

TEST_CASE("`inherited` passes on what lies below") {
  auto tree = [](int below) {
    return small_tree(fmt::format("settings: {{ travel.speed: {} mm/s }}\n", below), "",
                      "settings: { travel.speed: { calc: inherited + wall.speed } }\n");
  };
  CHECK(change("travel.speed", tree(100), tree(120)) == "160 -> 180 by machine/m settings travel.speed");
}

TEST_CASE("the dictionary's default is a cause where nothing is written") {
  auto dictionary = [](std::string_view standard) {
    std::string text(test::dictionary);
    std::string_view old = "default: 150 mm/s";
    return text.replace(text.find(old), old.size(), fmt::format("default: {}", standard));
  };
  const Files before = small_tree(), after = small_tree("", "", "", {{"schema/settings.yaml", dictionary("160 mm/s")}}),
              formula = small_tree("", "", "", {{"schema/settings.yaml", dictionary("{ calc: 3 * wall.speed }")}});
  CHECK(change("travel.speed", before, after) == "150 -> 160 by schema default travel.speed");
  CHECK(change("travel.speed", before, formula) == "150 -> 180 by schema default travel.speed");
  CHECK(change("travel.speed", formula,
               small_tree("", "", "settings: { wall.speed: 70 mm/s }\n",
                          {{"schema/settings.yaml", dictionary("{ calc: 3 * wall.speed }")}})) ==
        "180 -> 210 by process/q settings wall.speed");
}

TEST_CASE("a default that is the word none is told apart from no default") {
  auto tree = [](std::string_view standard) {
    std::string text(test::dictionary);
    std::string entry = fmt::format("  note.words: {{ kinds: [process], type: text, default: {} }}\n", standard);
    return small_tree("", "", "", {{"schema/settings.yaml", text.insert(text.find("  fan.duty:"), entry)}});
  };
  CHECK(change("note.words", tree("none"), tree("\"none\"")) == "null -> \"none\" by schema default note.words");
}

TEST_CASE("a default that is written over is no cause") {
  std::string text(test::dictionary);
  text.replace(text.find("default: 150 mm/s"), 17, "default: 160 mm/s");
  Changes changes =
      Twins(small_tree("", "", "settings: { travel.speed: 100 mm/s }\n"),
            small_tree("", "", "settings: { travel.speed: 110 mm/s }\n", {{"schema/settings.yaml", text}}))
          .changes();
  CHECK(change_of(changes, "travel.speed") == "100 -> 110 by process/q settings travel.speed");
  CHECK(idle_of(changes) == "schema default travel.speed");
}

TEST_CASE("another unit in the dictionary is a cause, and the value is told in it") {
  std::string text(test::dictionary);
  text.replace(text.find("unit: mm/s, default: 150 mm/s"), 29, "unit: m/s, default: 150 mm/s");
  Changes changes = Twins(small_tree(), small_tree("", "", "", {{"schema/settings.yaml", text}})).changes();
  CHECK(change_of(changes, "travel.speed") == "150 -> 0.15 by schema unit travel.speed");
  CHECK(changes.changes.size() == 1);
}

TEST_CASE("a setting that the dictionary gained or lost is its own cause") {
  std::string text(test::dictionary);
  text.insert(text.find("  fan.duty:"), "  skirt.loops: { kinds: [process], type: count, default: 2 }\n");
  const Files without = small_tree(), with = small_tree("", "", "", {{"schema/settings.yaml", text}});
  CHECK(change("skirt.loops", without, with) == "null -> 2 by schema setting skirt.loops");
  CHECK(change("skirt.loops", with, without) == "2 -> null by schema setting skirt.loops");
}

TEST_CASE("common numbers hold the settings of the new dictionary first, then what it lost") {
  std::string text(test::dictionary);
  text.insert(text.find("  fan.duty:"), "  skirt.loops: { kinds: [process], type: count, default: 2 }\n");
  const Files small = small_tree(), large = small_tree("", "", "", {{"schema/settings.yaml", text}});
  Twins lost(large, small);
  const std::size_t last = lost.keys.size() - 1;
  CHECK(lost.keys.key[1][last] == no_key);
  CHECK(lost.tree[0].dictionary.settings[lost.keys.key[0][last]].key == "skirt.loops");
  for (std::size_t side : {0u, 1u}) {
    for (std::uint32_t number = 0; number < last; ++number) {
      KeyId key = lost.keys.key[side][number];
      CHECK(lost.keys.number[side][key] == number);
      CHECK(lost.tree[side].dictionary.settings[key].key ==
            lost.tree[1].dictionary.settings[lost.keys.key[1][number]].key);
    }
  }
}

// The language: "written in the setting's unit, rounded half away from zero to at most six decimals ... two values are
// equal when they are written equal".
TEST_CASE("values that are written equal are equal, units included") {
  Twins twins(small_tree(), small_tree());
  const auto& settings = twins.tree[0].dictionary.settings;
  const Setting &speed = settings[twins.tree[0].dictionary.find("travel.speed")],
                &width = settings[twins.tree[0].dictionary.find("wall.width")];
  CHECK(written_equal(speed, Value::of_number(0.1 + 0.2), speed, Value::of_number(0.3)));
  CHECK(written_equal(speed, Value::of_number(1.0000001), speed, Value::of_number(1)));
  CHECK_FALSE(written_equal(speed, Value::of_number(1.000001), speed, Value::of_number(1)));
  CHECK_FALSE(written_equal(speed, Value::of_number(1), width, Value::of_number(1)));
  CHECK(written_equal(speed, Value(), width, Value()));
  CHECK_FALSE(written_equal(speed, Value(), speed, Value::of_number(0)));
}

}
