// Keys that are written already: their value alone changes.
#include "one_edit.h"

using namespace bindery;
using namespace bindery::test;

TEST_SUITE("edit/replace") {

TEST_CASE("a scalar gives way to a scalar, and all else stays as it is") {
  std::string text = R"(# head
title: Q     # name

settings:
  # before
  wall.speed: 60 mm/s   # as measured
  # between
  wall:
    outer: { speed: 40 mm/s, width: "0.4 mm" }   # both

  seam.place:
    rear
limits: { wall.speed: { at_most: 60 mm/s } }
)";
  auto with = [&](std::string_view old, std::string_view now) {
    std::string out = text;
    return out.replace(out.find(old), old.size(), now);
  };
  CHECK(edited(text, set_to("wall.speed", "75 mm/s")) == with("60 mm/s", "75 mm/s"));
  CHECK(edited(text, set_to("wall.outer.speed", "45 mm/s")) == with("40 mm/s", "45 mm/s"));
  CHECK(edited(text, set_to("wall.outer.width", "0.5 mm")) == with("\"0.4 mm\"", "0.5 mm"));
  CHECK(edited(text, set_to("seam.place", "corner")) == with("    rear", "    corner"));
}

TEST_CASE("nested, dotted and mixed keys are the same key") {
  for (std::string_view form : {"settings:\n  wall.outer.speed: @\n", "settings:\n  wall:\n    outer:\n      speed: @\n", "settings:\n  wall: { outer.speed: @ }\n", "settings: {wall.outer: {speed: @}}\n",
                                "settings:\n  \"wall\":\n    'outer.speed': @\n", "settings:\n  ? wall\n  : outer.speed: @\n", "{ settings: {\n  wall: { outer: {\n    speed:@ }}}}\n",
                                "settings: { wall: {\n      # {[\n      outer: { speed: @, other: \"}\" } # }\n    }, x: 1 }\n"}) {
    auto filled = [&](std::string_view value) {
      std::string out(form);
      return out.replace(out.find('@'), 1, value);
    };
    CAPTURE(form);
    if (form.find(":@") == std::string_view::npos) CHECK(edited(filled("1"), set_to("wall.outer.speed", "2 mm/s")) == filled("2 mm/s"));
    CHECK(edited(filled(" 1"), set_to("wall.outer.speed", "2 mm/s")) == filled(" 2 mm/s"));
    CHECK(edited(filled(" [a, b]"), set_to("wall.outer.speed", "2 mm/s")) == filled(" 2 mm/s"));
    CHECK(edited(filled(" { add: 1 mm/s }"), set_to("wall.outer.speed", "2 mm/s")) == filled(" 2 mm/s"));
    CHECK(edited(filled(" 1"), operate("wall.outer.speed", OpKind::calc, "max(a.b, 1)")) == filled(fmt::format(" {}", form.find("settings: {w") == 0 ? "{calc: \"max(a.b, 1)\"}" : "{ calc: \"max(a.b, 1)\" }")));
  }
}

TEST_CASE("of the same operation the operand alone is replaced") {
  CHECK(edited("settings:\n  a.b: { add: 5 K }  # c\n", operate("a.b", OpKind::add, "7 K")) == "settings:\n  a.b: { add: 7 K }  # c\n");
  CHECK(edited("settings:\n  a.b:  # c\n    # d\n    add: 5 K  # e\n", operate("a.b", OpKind::add, "7 K")) == "settings:\n  a.b:  # c\n    # d\n    add: 7 K  # e\n");
  CHECK(edited("settings:\n  a.b: {calc: 'x * 2'}\n", operate("a.b", OpKind::calc, "if(d == 'x', 1 mm, 2 mm)")) == "settings:\n  a.b: {calc: \"if(d == 'x', 1 mm, 2 mm)\"}\n");
  CHECK(edited("settings:\n  a.b: { append: [ x, \"]\" ] }\n", list_to("a.b", OpKind::append, {"y", "z, w"})) == "settings:\n  a.b: { append: [y, \"z, w\"] }\n");
  CHECK(edited("settings:\n  a.b:\n    append:\n      - x\n      - y # c\n  d: 1\n", list_to("a.b", OpKind::append, {"z", "w"})) == "settings:\n  a.b:\n    append:\n      - z\n      - w # c\n  d: 1\n");
  CHECK(edited("settings:\n  a.b: { unset: true }\n", operate("a.b", OpKind::unset, "")) == "settings:\n  a.b: { unset: true }\n");
}

TEST_CASE("one operation gives way to another in the style of the first") {
  CHECK(edited("settings:\n  a.b: {add: 5 K}\n", operate("a.b", OpKind::scale, "80 %")) == "settings:\n  a.b: {scale: 80 %}\n");
  CHECK(edited("settings:\n  a.b:\n    add:  # c\n      5 K\n", operate("a.b", OpKind::scale, "80 %")) == "settings:\n  a.b:\n    scale:  # c\n      80 %\n");
  CHECK(edited("settings:\n  a.b: { add: 5 K }\n", operate("a.b", OpKind::unset, "")) == "settings:\n  a.b: { unset: true }\n");
  CHECK(edited("settings:\n  a.b: { append: [x] }\n", list_to("a.b", OpKind::remove, {"y"})) == "settings:\n  a.b: { remove: [y] }\n");
}

TEST_CASE("a scalar gives way to an operation and back, wherever it stands") {
  CHECK(edited("settings:\n  a.b: 5 K  # c\n", operate("a.b", OpKind::add, "7 K")) == "settings:\n  a.b: { add: 7 K }  # c\n");
  CHECK(edited("settings:\n  a.b:\n    5 K\n  c: 1\n", operate("a.b", OpKind::add, "7 K")) == "settings:\n  a.b:\n    { add: 7 K }\n  c: 1\n");
  CHECK(edited("settings:\n  a.b: { add: 7 K }  # c\n", set_to("a.b", "5 K")) == "settings:\n  a.b: 5 K  # c\n");
  CHECK(edited("settings:\n  a.b:\n    add: 7 K  # c\n  d: 1\n", set_to("a.b", "5 K")) == "settings:\n  a.b: 5 K  # c\n  d: 1\n");
  CHECK(edited("settings:\n  a.b:  # why\n    # so\n    add: 7 K  # c\n  d: 1\n", set_to("a.b", "5 K")) == "settings:\n  a.b: 5 K  # why\n    # so  # c\n  d: 1\n");
  CHECK(edited("settings:\n  a.b:  # why\n    add: 7 K", set_to("a.b", "5 K")) == "settings:\n  a.b: 5 K  # why");
}

TEST_CASE("a list gives way to a list in its own style") {
  CHECK(edited("settings:\n  a.b: [x, # ]\n    y,\n  ]  # c\n", list_to("a.b", OpKind::set, {"z"})) == "settings:\n  a.b: [z]  # c\n");
  CHECK(edited("settings:\n  a.b:\n  - x\n  - y\n  c: 1\n", list_to("a.b", OpKind::set, {"z", "*", "w"})) == "settings:\n  a.b:\n  - z\n  - \"*\"\n  - w\n  c: 1\n");
  CHECK(edited("settings:\n  a.b:\n  - x\n  c: 1\n", list_to("a.b", OpKind::set, {})) == "settings:\n  a.b: []\n  c: 1\n");
  CHECK(edited("settings:\n  a.b:\n  - x\n  -\n  - ~\n  c: 1\n", list_to("a.b", OpKind::set, {"z"})) == "settings:\n  a.b:\n  - z\n  c: 1\n");
  CHECK(edited("settings:\n  a.b:\n  - x\n  c: 1\n", list_to("a.b", OpKind::append, {"y"})) == "settings:\n  a.b: { append: [y] }\n  c: 1\n");
  CHECK(edited("settings:\n  a.b: word\n", list_to("a.b", OpKind::set, {"z", "w"})) == "settings:\n  a.b: [z, w]\n");
  CHECK(edited("settings:\n  a.b: []\n", list_to("a.b", OpKind::set, {"", "x"})) == "settings:\n  a.b: [\"\", x]\n");
}

TEST_CASE("a text over several lines gives way as a whole, and the comment on its first line stays") {
  CHECK(edited("settings:\n  a: |  # c\n    one\n\n    two\n\n  b: 1\n", set_to("a", "x")) == "settings:\n  a: x  # c\n\n  b: 1\n");
  CHECK(edited("settings:\n  a: >-\n    # no comment\n    two\n # comment\n  b: 1\n", set_to("a", "x")) == "settings:\n  a: x\n # comment\n  b: 1\n");
  CHECK(edited("settings:\n  a: |+\n    one\n\n  b: 1\n", set_to("a", "x")) == "settings:\n  a: x\n\n  b: 1\n");
  CHECK(edited("settings:\n  a: |2\n      one\n    two\n  b: 1\n", set_to("a", "x")) == "settings:\n  a: x\n  b: 1\n");
  CHECK(edited("settings:\n  a: one\n    two\n\n    three  # c\n  b: 1\n", set_to("a", "x")) == "settings:\n  a: x  # c\n  b: 1\n");
  CHECK(edited("settings:\n  a: \"one\n    two \\\" # \"  # c\n  b: 1\n", set_to("a", "x")) == "settings:\n  a: x  # c\n  b: 1\n");
  CHECK(edited("settings: { a: one\n    two, b: 'it''s\n  }' }\n", set_to("a", "x")) == "settings: { a: x, b: 'it''s\n  }' }\n");
  CHECK(edited("settings: { a: one\n    two, b: 'it''s\n  }' }\n", set_to("b", "x")) == "settings: { a: one\n    two, b: x }\n");
  CHECK(edited("settings:\n  a: |", set_to("a", "x")) == "settings:\n  a: x");
}

TEST_CASE("a key without a value gets one") {
  CHECK(edited("settings:\n  a:   # c\n  b: 1\n", set_to("a", "x")) == "settings:\n  a: x   # c\n  b: 1\n");
  CHECK(edited("settings:\n  a: ~\n", set_to("a", "x")) == "settings:\n  a: x\n");
  CHECK(edited("settings:\n  a:\n    null # c\n", set_to("a", "x")) == "settings:\n  a:\n    x # c\n");
  CHECK(edited("settings: {a: , nullify: 1}\n", set_to("a", "x")) == "settings: {a: x , nullify: 1}\n");
  CHECK(edited("settings:\n  a:\n  nullify: 1\n", set_to("a", "x")) == "settings:\n  a: x\n  nullify: 1\n");
  CHECK(edited("settings: { a, b: 1 }\n", set_to("a", "x")) == "settings: { a: x, b: 1 }\n");
  CHECK(edited("settings: { a: { add: } }\n", operate("a", OpKind::add, "5 K")) == "settings: { a: { add: 5 K } }\n");
}

TEST_CASE("scalars are quoted where YAML would read them otherwise, and only there") {
  auto written = [](std::string scalar) {
    std::string out = edited("settings:\n  a: 1\n", set_to("a", std::move(scalar)));
    REQUIRE(out.starts_with("settings:\n  a: "));
    return out.substr(15, out.size() - 16);
  };
  for (std::string plain : {"150 mm/s", "15 %", "true", "3", "grid", "-5 K", "0.1", "none", "yes", "a, b", "it's", "a#b", "a:b", "x / (y)", "1e3", "a \\ b", "nullify"}) CHECK(written(plain) == plain);
  CHECK(written("[") == "\"[\"");
  CHECK(written(":b") == "\":b\"");
  CHECK(written("") == "\"\"");
  CHECK(written("null") == "\"null\"");
  CHECK(written("~") == "\"~\"");
  CHECK(written("a: b") == "\"a: b\"");
  CHECK(written("a #b") == "\"a #b\"");
  CHECK(written("#b") == "\"#b\"");
  CHECK(written("- b") == "\"- b\"");
  CHECK(written("-") == "\"-\"");
  CHECK(written("*") == "\"*\"");
  CHECK(written("!pla-*") == "\"!pla-*\"");
  CHECK(written("%") == "\"%\"");
  CHECK(written(" b") == "\" b\"");
  CHECK(written("b:") == "\"b:\"");
  CHECK(written("---") == "\"---\"");
  CHECK(written("say \"x\": \\") == "\"say \\\"x\\\": \\\\\"");
  CHECK(written("\"x\"") == "\"\\\"x\\\"\"");
  CHECK(written("one\ntwo\t") == "\"one\\ntwo\\t\"");
  CHECK(edited("settings: { a: 1 }\n", set_to("a", "x, y")) == "settings: { a: \"x, y\" }\n");
  CHECK(edited("settings: { a: 1 }\n", set_to("a", "f(x)")) == "settings: { a: f(x) }\n");
}

TEST_CASE("what could not be read back is refused") {
  CHECK(edited("settings:\n  a: 1\n", set_to("a", "x\x01")) == "import-conflict q.yaml:2:3");
  CHECK(edited("settings:\n  a: 1\n", set_to("a", "\xe2\x80\xae")) == "import-conflict q.yaml:2:3");
  CHECK(edited("settings:\n  a: 1\n", set_to("a", "\xff")) == "import-conflict q.yaml:2:3");
  CHECK(edited("settings:\n  a: 1\n", set_to("a", std::string(300'000, 'x'))) == "import-conflict q.yaml:2:3");
  CHECK(edited("settings:\n  a: 1\n", set_to("", "x")) == "import-conflict q.yaml:1:1");
  CHECK(edited("settings:\n  a: 1\n", set_to(std::string(1000, 'k'), "x")) == "import-conflict q.yaml:1:1");
  // Written twice: neither is the one that counts.
  CHECK(edited("settings:\n  a.b: 1\n  a: { b: 2 }\n", set_to("a.b", "x")) == "import-conflict q.yaml:2:3");
  CHECK(edited("settings:\n  a: { b: 2 }\n", set_to("a", "x")) == "import-conflict q.yaml:2:3");
  CHECK(edited("settings:\n  a.b: 2\n", set_to("a", "x")) == "import-conflict q.yaml:1:1");
}

}
