// Keys that are not written yet: one line where their neighbours stand.
#include "one_edit.h"

using namespace bindery;
using namespace bindery::test;

TEST_SUITE("edit/add") {

TEST_CASE("a line is added behind the last one of the deepest mapping that the key's beginning has") {
  std::string text = R"(settings:
  wall:
    lines: 3
    outer:
      speed: 60 mm/s   # measured
      # of the outer wall
  wall.inner: { speed: 80 mm/s }

  seam: {place: rear}
# of the limits
limits:
  wall.lines: { at_most: 4 }
)";
  auto with = [&](std::string_view behind, std::string_view more) {
    std::string out = text;
    return out.insert(out.find(behind) + behind.size(), more);
  };
  CHECK(edited(text, set_to("wall.outer.width", "0.4 mm")) == with("# measured", "\n      width: 0.4 mm"));
  CHECK(edited(text, set_to("wall.outer.first.width", "0.4 mm")) == with("# measured", "\n      first.width: 0.4 mm"));
  CHECK(edited(text, set_to("wall.thin", "true")) == with("# measured", "\n    thin: true"));
  CHECK(edited(text, set_to("wall.inner.width", "0.4 mm")) == with("80 mm/s", ", width: 0.4 mm"));
  CHECK(edited(text, set_to("seam.gap", "5 %")) == with("rear", ", gap: 5 %"));
  CHECK(edited(text, set_to("wallet.size", "1")) == with("{place: rear}", "\n  wallet.size: 1"));
  CHECK(edited(text, operate("infill.share", OpKind::add, "5 %")) == with("{place: rear}", "\n  infill.share: { add: 5 % }"));
  CHECK(edited(text, list_to("order", OpKind::append, {"a", "b"})) == with("{place: rear}", "\n  order: { append: [a, b] }"));
}

TEST_CASE("an operation is no mapping for further keys") {
  CHECK(edited("settings:\n  wall: { add: 1 }\n", set_to("wall.b", "2")) == "settings:\n  wall: { add: 1 }\n  wall.b: 2\n");
  CHECK(edited("settings:\n  wall: 5\n", set_to("wall.b", "2")) == "settings:\n  wall: 5\n  wall.b: 2\n");
}

TEST_CASE("mappings in braces keep their blanks, their last comma and their lines") {
  auto added = [](std::string text) { return edited(std::move(text), set_to("a.new", "1")); };
  CHECK(added("settings:\n  a: {b: 1}\n") == "settings:\n  a: {b: 1, new: 1}\n");
  CHECK(added("settings:\n  a: { b: 1 } # c\n") == "settings:\n  a: { b: 1, new: 1 } # c\n");
  CHECK(added("settings:\n  a: { b: \"}\", c: 'it''s }' }\n") == "settings:\n  a: { b: \"}\", c: 'it''s }', new: 1 }\n");
  CHECK(added("settings:\n  a: { b: 1, }\n") == "settings:\n  a: { b: 1, new: 1, }\n");
  CHECK(added("settings:\n  a: {}\n") == "settings:\n  a: { new: 1 }\n");
  CHECK(added("settings:\n  a: {}\n  x: {b: 1}\n") == "settings:\n  a: {new: 1}\n  x: {b: 1}\n");
  CHECK(added("settings:\n  a: { }\n") == "settings:\n  a: { new: 1 }\n");
  CHECK(added("settings:\n  a: { # }\n  }\n") == "settings:\n  a: { # }\n  new: 1 }\n");
  CHECK(added("settings:\n  a: { b }\n") == "settings:\n  a: { b, new: 1 }\n");
  CHECK(added("settings:\n  a: { b: { c: [x, y] } }\n") == "settings:\n  a: { b: { c: [x, y] }, new: 1 }\n");
  CHECK(added("settings: {\n  a: {\n    b: 1, # {\n    c: 2  # }\n  },\n}\n") == "settings: {\n  a: {\n    b: 1, # {\n    c: 2,  # }\n    new: 1\n  },\n}\n");
  CHECK(added("settings: {\n  a: {\n    b: 1, # {\n    c: 2,  # }\n  }}\n") == "settings: {\n  a: {\n    b: 1, # {\n    c: 2,  # }\n    new: 1,\n  }}\n");
  CHECK(added("settings: { a: { b: 1, # {\n    c: 2 # }\n , }}\n") == "settings: { a: { b: 1, # {\n    c: 2, new: 1 # }\n , }}\n");
  CHECK(added("{\n  \"settings\": {\n    \"a\":{\"b\":1}\n  }\n}\n") == "{\n  \"settings\": {\n    \"a\":{\"b\":1, new: 1}\n  }\n}\n");
  CHECK(edited("settings:\n  a: { b: 1 }\n", operate("a.new", OpKind::calc, "max(x, y)")) == "settings:\n  a: { b: 1, new: { calc: \"max(x, y)\" } }\n");
  CHECK(edited("settings:\n  a: {b: 1}\n  c: { d: 1 }\n", operate("c.new", OpKind::add, "1")) == "settings:\n  a: {b: 1}\n  c: { d: 1, new: { add: 1 } }\n");
}

TEST_CASE("settings without a value get the key as their child, in the file's indentation") {
  auto added = [](std::string text) { return edited(std::move(text), set_to("a.b", "1")); };
  CHECK(added("settings:\n") == "settings:\n  a.b: 1\n");
  CHECK(added("settings:   # none yet\nlimits: {}\n") == "settings:   # none yet\n  a.b: 1\nlimits: {}\n");
  CHECK(added("settings:") == "settings:\n  a.b: 1");
  CHECK(added("settings: ~\n") == "settings: { a.b: 1 }\n");
  CHECK(added("settings: {} # c\n") == "settings: { a.b: 1 } # c\n");
  CHECK(added("{settings: }\n") == "{settings: {a.b: 1} }\n");
  CHECK(added("{ title: Q, settings }\n") == "{ title: Q, settings: { a.b: 1 } }\n");
  CHECK(added("settings:\nlimits:\n    x: 1\n") == "settings:\n    a.b: 1\nlimits:\n    x: 1\n");
}

TEST_CASE("settings are added before what comes later in the language, else at the end") {
  auto added = [](std::string text, bool adjust = false) {
    FragmentEdit edit = set_to("a.b", "1");
    edit.adjust = adjust;
    return edited(std::move(text), edit);
  };
  CHECK(added("title: Q\n") == "title: Q\nsettings:\n  a.b: 1\n");
  CHECK(added("title: Q") == "title: Q\nsettings:\n  a.b: 1");
  CHECK(added("title: Q # c\n# end\n") == "title: Q # c\nsettings:\n  a.b: 1\n# end\n");
  CHECK(added("title: Q\nlimits: { x: none }\nfits: {}\n") == "title: Q\nsettings:\n  a.b: 1\nlimits: { x: none }\nfits: {}\n");
  CHECK(added("title: Q\nfits:\n  material: [a]\n  # of fits\n# of when\n# more\nwhen: []\n") == "title: Q\nfits:\n  material: [a]\n  # of fits\nsettings:\n  a.b: 1\n# of when\n# more\nwhen: []\n");
  CHECK(added("title: Q\n\n# apart\n\n# of locked\nlocked: []\n") == "title: Q\n\n# apart\n\nsettings:\n  a.b: 1\n\n# of locked\nlocked: []\n");
  CHECK(added("title: Q\n\nextends: r\n") == "title: Q\n\nextends: r\n\nsettings:\n  a.b: 1\n");
  CHECK(added("about: \"one\n# two\"\nscripts: {}\n") == "about: \"one\n# two\"\nsettings:\n  a.b: 1\nscripts: {}\n");
  CHECK(added("about: |\n  one\n\n  # two\nscripts: {}\n") == "about: |\n  one\n\n  # two\nsettings:\n  a.b: 1\nscripts: {}\n");
  CHECK(added("# head\n\n# of limits\nlimits: {}\n") == "# head\n\nsettings:\n  a.b: 1\n# of limits\nlimits: {}\n");
  CHECK(added("%YAML 1.2\n---\ntitle: Q\n...\n# end\n") == "%YAML 1.2\n---\ntitle: Q\nsettings:\n  a.b: 1\n...\n# end\n");
  CHECK(added("  title: Q\n  limits: {}\n") == "  title: Q\n  settings:\n    a.b: 1\n  limits: {}\n");
  CHECK(added("settings:\n  a.b: 2\nwhen: []\n", true) == "settings:\n  a.b: 2\nadjust:\n  a.b: 1\nwhen: []\n");
  CHECK(added("adjust:\n  a.b: 2\n") == "settings:\n  a.b: 1\nadjust:\n  a.b: 2\n");
  CHECK(added("{title: Q}\n") == "{title: Q, settings: {a.b: 1}}\n");
  CHECK(added("{}\n") == "{ settings: { a.b: 1 } }\n");
  CHECK(added("{ title: Q, limits: {} }\n") == "{ title: Q, settings: { a.b: 1 }, limits: {} }\n");
  CHECK(added("{\n  title: Q,\n  # of limits\n  limits: {}\n}\n") == "{\n  title: Q,\n  settings: { a.b: 1 },\n  # of limits\n  limits: {}\n}\n");
  CHECK(added("{\n  title: Q\n}\n") == "{\n  title: Q,\n  settings: { a.b: 1 }\n}\n");
}

TEST_CASE("a fitting is edited in its own part, whatever its style") {
  auto added = [](std::string text) { return edited(std::move(text), set_to("a.b", "1", "q+0.4")); };
  std::string base = "settings:\n  a.b: 5\nwhen:\n  - if: { machine: m }\n    settings: { a.b: 6 }\nfittings:\n";
  CHECK(added(base + "  \"0.4\": { title: X }  # c\n") == base + "  \"0.4\": { title: X, settings: { a.b: 1 } }  # c\n");
  CHECK(added(base + "  \"0.4\": { settings: { x: 2 } }\n  \"0.6\": { settings: { a.b: 3 } }\n") == base + "  \"0.4\": { settings: { x: 2, a.b: 1 } }\n  \"0.6\": { settings: { a.b: 3 } }\n");
  CHECK(added(base + "  \"0.4\":\n    title: X\n    settings:\n      a.b: 2\n  \"0.6\":\n    title: Y\n") == base + "  \"0.4\":\n    title: X\n    settings:\n      a.b: 1\n  \"0.6\":\n    title: Y\n");
  CHECK(added(base + "  \"0.4\":\n    title: X\n    # of limits\n    limits: {}\n  \"0.6\": {}\n") == base + "  \"0.4\":\n    title: X\n    settings:\n      a.b: 1\n    # of limits\n    limits: {}\n  \"0.6\": {}\n");
  CHECK(added(base + "  \"0.4\":\n    title: X\n") == base + "  \"0.4\":\n    title: X\n    settings:\n      a.b: 1\n");
  CHECK(added(base + "  \"0.4\":   # c\n  \"0.6\": {}\n") == base + "  \"0.4\":   # c\n    settings:\n      a.b: 1\n  \"0.6\": {}\n");
  CHECK(added(base + "  \"0.4\":") == base + "  \"0.4\":\n    settings:\n      a.b: 1");
  CHECK(added(base + "  \"0.4\": {}\n") == base + "  \"0.4\": { settings: { a.b: 1 } }\n");
  CHECK(added("fittings: { \"0.4\": , \"0.6\": {} }\n") == "fittings: { \"0.4\": { settings: { a.b: 1 } } , \"0.6\": {} }\n");
  CHECK(added("fittings: {0.4: {settings: }}\n") == "fittings: {0.4: {settings: {a.b: 1} }}\n");
  CHECK(edited(base + "  \"0.4\": {}\n", set_to("a.b", "1")).starts_with("settings:\n  a.b: 1\nwhen:"));
}

TEST_CASE("a text below the last key keeps its words and its last line breaks") {
  auto added = [](std::string text) { return edited(std::move(text), set_to("n", "1")); };
  CHECK(added("settings:\n  a: |\n    one\n    # two\n\n\nlocked: []\n") == "settings:\n  a: |\n    one\n    # two\n  n: 1\n\n\nlocked: []\n");
  CHECK(added("settings:\n  a: |+\n    one\n\n\nlocked: []\n") == "settings:\n  a: |+\n    one\n\n\n  n: 1\nlocked: []\n");
  CHECK(added("settings:\n  a: |+\n    one\n\n") == "settings:\n  a: |+\n    one\n\n  n: 1\n");
  CHECK(added("settings:\n  a: |\n    one\n      \n") == "settings:\n  a: |\n    one\n      \n  n: 1\n");
  CHECK(added("settings:\n  a: >\n  b: |2 # c\n") == "settings:\n  a: >\n  b: |2 # c\n  n: 1\n");
  // Without a line break behind it, the text would gain one.
  CHECK(added("settings:\n  b: 1\n  # of a\n  a: |\n    one") == "settings:\n  b: 1\n  n: 1\n  # of a\n  a: |\n    one");
  CHECK(added("about: |\n  one") == "settings:\n  n: 1\nabout: |\n  one");
}

TEST_CASE("line breaks are those of the file") {
  CHECK(edited("title: Q\r\nsettings:\r\n  a: 1 # c\r\nlocked: []\r\n", set_to("b", "1")) == "title: Q\r\nsettings:\r\n  a: 1 # c\r\n  b: 1\r\nlocked: []\r\n");
  CHECK(edited("title: Q\r\nlocked: []\r\n", set_to("b", "1")) == "title: Q\r\nsettings:\r\n  b: 1\r\nlocked: []\r\n");
  CHECK(edited("title: Q\r\nsettings: {\r\n  a: 1\r\n}\r\n", set_to("b", "1")) == "title: Q\r\nsettings: {\r\n  a: 1,\r\n  b: 1\r\n}\r\n");
  CHECK(edited("settings:\r\n  a: |\r\n    one\r\n\r\n  b: 2\r\n", set_to("a", "x")) == "settings:\r\n  a: x\r\n\r\n  b: 2\r\n");
  CHECK(edited("settings:\r\n  a:\r\n    - x\r\n    - y\r\n", list_to("a", OpKind::set, {"z", "w"})) == "settings:\r\n  a:\r\n    - z\r\n    - w\r\n");
}

TEST_CASE("tabs stand where YAML lets them stand") {
  CHECK(edited("settings:\n  a:\t1\t# c\n", set_to("a", "2")) == "settings:\n  a:\t2\t# c\n");
  CHECK(edited("settings:\n  a:\t{\tb: 1\t}\t# c\n", set_to("a.c", "2")) == "settings:\n  a:\t{\tb: 1, c: 2\t}\t# c\n");
}

TEST_CASE("nesting may be as deep as the language reads") {
  std::string block = "settings:\n", flow = "settings: ", key;
  for (int i = 0; i < 30; ++i) {
    block += std::string(static_cast<std::size_t>(i + 1), ' ') + "k:\n";
    flow += "{k: ";
    key += "k.";
  }
  block += std::string(31, ' ') + "z: 1\n";
  flow += "{z: 1}" + std::string(30, '}') + "\n";
  std::string deeper = block + std::string(31, ' ') + "y: 2\n";
  CHECK(edited(block, set_to(key + "y", "2")) == deeper);
  CHECK(edited(block, set_to(key + "z", "2")) == block.substr(0, block.size() - 2) + "2\n");
  std::string more = flow;
  CHECK(edited(flow, set_to(key + "y", "2")) == more.insert(more.find('1') + 1, ", y: 2"));
}

TEST_CASE("what has no place is refused") {
  CHECK(edited("settings: 5\n", set_to("a", "1")) == "import-conflict q.yaml:1:1");
  CHECK(edited("title: Q\nsettings: [a]\n", set_to("a", "1")) == "import-conflict q.yaml:2:1");
  CHECK(edited("title: Q\n", set_to("a", "1", "r")) == "fragment-unknown q.yaml:1:1");
  CHECK(edited("title: Q\n", set_to("a", "1", "q+0.4")) == "fragment-unknown q.yaml:1:1");
  CHECK(edited("fittings: [x]\n", set_to("a", "1", "q+0.4")) == "fragment-unknown q.yaml:1:1");
  CHECK(edited("fittings: { \"0.4\": 5 }\n", set_to("a", "1", "q+0.4")) == "import-conflict q.yaml:1:13");
  CHECK(edited("title: [Q\n", set_to("a", "1")) == "yaml-invalid q.yaml:1:9");
  CHECK(edited("", set_to("a", "1")) == "file-empty q.yaml:1:1");
  CHECK(edited("settings:\n  ? a\n", set_to("a", "1")) == "import-conflict q.yaml:2:5");
  CHECK(edited("settings: { a: 1 }\n", set_to("a", "1", "settings"), "schema/settings.yaml") == "import-conflict settings.yaml:1:1");
  CHECK(edited("settings: { a: 1 }\n", set_to("a", "1", "bindery"), "profiles-src/bindery.yaml") == "import-conflict bindery.yaml:1:1");
  SourceFile unsound{"profiles-src/process/q.yaml", "title: Q\n", false};
  Diagnostics out;
  CHECK_FALSE(apply_edit(0, unsound, set_to("a", "1"), out).has_value());
  CHECK(out.any_errors());
}

}
