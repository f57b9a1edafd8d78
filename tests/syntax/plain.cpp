// The plain layout against yaml-cpp: what is read in one pass is what yaml-cpp reads, to the byte, or is left to it.
// The repository's own files are read both ways too, and so is whatever the fuzzer of fragments thinks of.
#include "syntax/plain.h"

#include "../support.h"
#include "syntax/document.h"
#include "syntax/yaml.h"

using namespace bindery;

namespace {

// How a text is read: "both" where yaml-cpp makes the same of it, "left" where it is left to yaml-cpp.
std::string how(std::string text) {
  Sources sources = test::sources_of({{"x.yaml", std::move(text)}});
  Diagnostics out;
  Document plain;
  if (!read_plain(0, sources[0].text, plain)) return plain.empty() && plain.owned.empty() ? "left" : "left with a rest";
  auto yaml = parse_yaml(0, sources[0], out);
  if (!yaml) return "yaml-cpp refuses it";
  return plain.nodes == yaml->nodes ? "both" : "differs";
}

}  // namespace

TEST_SUITE("syntax/plain") {

TEST_CASE("block mappings, lists and scalars of one line are read as yaml-cpp reads them") {
  for (std::string text :
       {"a: b\n", "a: b", "a: b c  d\n", "a:   b   # c\n", "# first\n\na: b\n  # deep\nc: d\n", "a: 150 mm/s\nb: -5 K\nc: +3\n",
        "a: .5\nb: (1 + 2) * 3\nc: /x\nd: $x\n", "a:\n  b: c\n  d:\n    e: f\ng: h\n", "a: x#y\n", "a: b:c\n", "a: b, c\n",
        "a: it's [fine] {so}\n", "a: \xc3\xa4\n", "0.4: x\n", "a.b-c+d/e: x\n", "a:\n  - b\n  - c d\ne: f\n",
        "a:\n- b\n- c\nd: e\n", "a:\n  - b: c\n    d: e\n  - f: g\n", "a:\n  -   b: c\n      d: e\n", "a: # c\n  b: c\n",
        "a: b # c\n   # d\n\n", "a: nullb\nb: nul\n", "a:\n    b: c\n# x\n    d: e\n", "a:\n  - b: [c]\n  - {d: e}\n  - \"f\"\n"}) {
    CAPTURE(text);
    CHECK(how(text) == "both");
  }
}

TEST_CASE("quotes are read whose bytes stand for themselves") {
  for (std::string text : {"a: \"b\"\n", "a: 'b: c # d'\n", "a: \"\"\n", "\"0.4\": { b: c }\n", "'a b': c\n", "a: 'say \"b\"'\n", "a:\n  - \"b\": c\n"}) {
    CAPTURE(text);
    CHECK(how(text) == "both");
  }
  for (std::string text : {"a: \"b\\n\"\n", "a: 'b''c'\n", "a: \"b\n  c\"\n", "a: \"b\n", "a: \"b\" c\n", "\"\": a\n", "a: 'b'c\n"}) {
    CAPTURE(text);
    CHECK(how(text) == "left");
  }
}

TEST_CASE("flow collections are read, over several lines too") {
  for (std::string text :
       {"a: { b: c }\n", "a: {b: c, d: [e, f g, \"h\"]}\n", "a: []\nb: {}\n", "a: [b,c]  # d\n", "a: {\n  b: c,\n  d: e }\n",
        "a: [b,\n    c]\n", "a: { calc: \"1.5 * b\", d: -3 mm }\n", "a: [[b], [c, [d]]]\n", "a: { b: c#d }\n"}) {
    CAPTURE(text);
    CHECK(how(text) == "both");
  }
  for (std::string text : {"a: {b: c\n", "a: [b,]\n", "a: [b\n  ]\n", "a: {b:c}\n", "a: {b}\n", "a: [b: c]\n", "a: {b: c}: d\n", "a: [b # c\n  ]\n",
                           "a: [b,\nc]\n", "a: {b: }\n", "a: [b?]\n", "a: {b: c d: e}\n", "a: [b] c\n", "a: [ , b]\n"}) {
    CAPTURE(text);
    CHECK(how(text) == "left");
  }
}

TEST_CASE("texts of several lines are read where their lines are joined or kept simply") {
  for (std::string text :
       {"a: b\n  c\nd: e\n", "a: b\n   c d\n  (e)\n", "a: |\n  b\n   c\n\n  d\n\ne: f\n", "a: >\n  b\n  c\nd: e\n", "a: >-\n  b\n  c\n\n",
        "a: |-\n  b\n\n", "a:\n  b: |\n    c\n  d: e\n", "a:\n  - |\n    b\n  - c\n", "a: |\n  # b\n  c: d\n", "a: b\n  c # d\ne: f\n"}) {
    CAPTURE(text);
    CHECK(how(text) == "both");
  }
  for (std::string text : {"a: b\n\n  c\n", "a: b # c\n  d\n", "a: b\n  # c\n  d\n", "a: b\n  c: d\n", "a: |+\n  b\n", "a: |2\n  b\n", "a: |\n\n  b\n", "a: |\n   b\n  c\n",
                           "a: >\n  b\n\n  c\n", "a: >\n  b\n   c\n", "a: |\n  b", "a: |\nb: c\n", "a: b \n  c\n", "a: | # c\n  b\n", "a: |\n  b\n   \n", "a: b\n  - c\n"}) {
    CAPTURE(text);
    CHECK(how(text) == "left");
  }
}

TEST_CASE("what is wrong or means more than it says is left to yaml-cpp") {
  for (std::string text :
       {"", "\n", "# a\n", "a\n", "- a\n", " a: b\n", "a:\n", "a: ~\n", "a: null\n", "null: a\n", "a: &b c\n", "a: *b\n", "a: !b c\n", "!a b: c\n", "? a\n", "a: - b\n",
        "a: b: c\n", "a : b\n", "a:b\n", "a: @b\n", "a: `b`\n", "a: %b\n", "---\na: b\n", "a: b\n---\n", "a: b\n...\n", "%YAML 1.2\n---\na: b\n", "a: b\nc\n", "a: b\n c: d\n",
        "a:\n  b: c\n d: e\n", "a: b\na: c\n", "a: { b: c, b: d }\n", "a: {b: c, \"b\": d}\n", "a: b\r\n", "a:\tb\n", "a: b\t\n", ",a: b\n", "a: ,b\n", "a:\n  -\n", "a:\n  - - b\n", "a: b:\n",
        "a: [NULL]\n", "a: {b: null}\n", "a:\n- b\nc\n", "a: b\n- c\n", "{a: b}\n", "a:\n  - b\n - c\n", "a: #b\n", "a: --b\n"}) {
    CAPTURE(text);
    CHECK(how(text) == "left");
  }
}

TEST_CASE("a key of 200 letters is read, a longer one is left; so is what is nested deep") {
  CHECK(how(std::string(200, 'k') + ": b\n") == "both");
  CHECK(how(std::string(201, 'k') + ": b\n") == "left");
  auto nested = [](std::size_t depth) { return "a: " + std::string(depth, '[') + "b" + std::string(depth, ']') + "\n"; };
  CHECK(how(nested(20)) == "both");
  CHECK(how(nested(24)) == "left");
  CHECK(how(nested(100'000)) == "left");
}

TEST_CASE("the repository's own files are read the same both ways, and nearly all of them in the plain layout") {
  Diagnostics out;
  Sources sources = read_folder(BINDERY_ROOT, 1, out);
  std::size_t files = 0, plain = 0;
  for (const SourceFile& file : sources.files) {
    if (!file.path.ends_with(".yaml")) continue;
    CAPTURE(file.path);
    std::string read = how(file.text);
    REQUIRE((read == "both" || read == "left"));
    ++files;
    if (read == "both") ++plain;
  }
  REQUIRE(files > 50);
  CHECK(plain * 10 > files * 9);
}

}
