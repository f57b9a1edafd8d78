#include "syntax/document.h"

#include "../support.h"

using namespace bindery;

namespace {

struct Parsed {
  Sources sources;
  Diagnostics out;
  std::optional<Document> doc;

  explicit Parsed(std::string text) : sources(test::sources_of({{"x.yaml", std::move(text)}})) { doc = parse_document(0, sources[0], out); }

  std::string said() const { return test::told(out, sources); }
  std::string bytes(Span span) const { return test::covered(sources, span); }

  // Every scalar as "text" (the bytes that its span covers), in order.
  std::string scalars() const {
    std::string all;
    for (const Node& node : doc->nodes) {
      if (node.kind == NodeKind::scalar) all += fmt::format("{}<{}>", all.empty() ? "" : " ", bytes(node.text.span));
    }
    return all;
  }
};

std::string refused(std::string text) {
  Parsed parsed(std::move(text));
  if (parsed.doc) return "taken";
  return parsed.said();
}

}  // namespace

TEST_SUITE("syntax/document") {

TEST_CASE("a tape holds keys and values in the order of the text, each with the end of its subtree") {
  Parsed parsed("a: {b: 1, c: [x, y]}\nd: z\n");
  REQUIRE(parsed.doc);
  const Document& doc = *parsed.doc;
  REQUIRE(doc.nodes.size() == 11);
  CHECK(doc[0].kind == NodeKind::mapping);
  CHECK(doc[0].next == 11);
  CHECK(doc[1].text.text == "a");
  CHECK(doc[2].kind == NodeKind::mapping);
  CHECK(doc[2].next == 9);
  CHECK(doc[6].kind == NodeKind::list);
  CHECK(doc[6].next == 9);
  CHECK(doc[9].text.text == "d");
  CHECK(doc[10].text.text == "z");
}

TEST_CASE("spans of scalars are exact to the byte, quotes included") {
  Parsed parsed("plain: 150 mm/s  # comment\n'single': \"double\"\nflow: {a: b}\n");
  REQUIRE(parsed.doc);
  CHECK(parsed.scalars() == "<plain> <150 mm/s> <'single'> <\"double\"> <flow> <a> <b>");
}

TEST_CASE("spans are exact behind characters of several bytes") {
  Parsed parsed("\xc3\xa4: \xc2\xb0\xe2\x82\xac x\nb: \"\xf0\x9f\x99\x82\"\nc: end\n");
  REQUIRE(parsed.doc);
  CHECK(parsed.scalars() == "<\xc3\xa4> <\xc2\xb0\xe2\x82\xac x> <b> <\"\xf0\x9f\x99\x82\"> <c> <end>");
}

TEST_CASE("spans are exact where lines end in CR LF") {
  Parsed parsed("a: one\r\nb:\r\n  c: two words\r\n  d: 'q'\r\n");
  REQUIRE(parsed.doc);
  CHECK(parsed.scalars() == "<a> <one> <b> <c> <two words> <d> <'q'>");
  CHECK((*parsed.doc)[2].text.text == "one");
}

TEST_CASE("a part of a scalar has its own place") {
  Parsed parsed("a: 150 furlong\nb: \"9 ell\"\n");
  REQUIRE(parsed.doc);
  CHECK(parsed.bytes((*parsed.doc)[2].text.part(4, 7)) == "furlong");
  CHECK(parsed.bytes((*parsed.doc)[4].text.part(2, 3)) == "ell");
}

TEST_CASE("a scalar that the bytes do not spell is placed whole") {
  Parsed parsed("a: \"x\\ty\"\nb: two\n  lines\nc: 'it''s'\n");
  REQUIRE(parsed.doc);
  const Text& escaped = (*parsed.doc)[2].text;
  CHECK(escaped.text == "x\ty");
  CHECK(parsed.bytes(escaped.part(0, 1)) == "\"x\\ty\"");
  CHECK((*parsed.doc)[4].text.text == "two lines");
  CHECK((*parsed.doc)[6].text.text == "it's");
  CHECK(parsed.bytes((*parsed.doc)[6].text.span) == "'it''s'");
}

TEST_CASE("a place within a literal block is exact, by its line and indentation") {
  for (std::string_view end : {"\n", "\r\n"}) {
    std::string text = fmt::format("start: |{0}{0}    G28{0}    M104 S${{heat}}{0}      G1 X${{far}}{0}next: 1{0}", end);
    CAPTURE(text);
    Parsed parsed(text);
    REQUIRE(parsed.doc);
    const Text& block = (*parsed.doc)[2].text;
    CHECK(block.text == "\nG28\nM104 S${heat}\n  G1 X${far}\n");
    for (std::string_view part : {"G28", "${heat}", "${far}", "G1"}) {
      CHECK(parsed.bytes(place_within(parsed.sources[0], block, block.text.find(part), part.size())) == part);
    }
  }
}

TEST_CASE("a place within a block that tells its own indentation is exact") {
  Parsed parsed("start: |2\n    G28\n  M104 S${heat}\n");
  REQUIRE(parsed.doc);
  const Text& block = (*parsed.doc)[2].text;
  CHECK(block.text == "  G28\nM104 S${heat}\n");
  for (std::string_view part : {"G28", "${heat}"}) CHECK(parsed.bytes(place_within(parsed.sources[0], block, block.text.find(part), part.size())) == part);
}

TEST_CASE("scalars stay texts: no octal, no yes and no, no dates") {
  Parsed parsed("a: 0123\nb: no\nc: 1e3\nd: 2020-01-02\ne: \"true\"\nf: true\n");
  REQUIRE(parsed.doc);
  CHECK((*parsed.doc)[2].text.text == "0123");
  CHECK((*parsed.doc)[4].text.text == "no");
  CHECK((*parsed.doc)[6].text.text == "1e3");
  CHECK((*parsed.doc)[8].text.text == "2020-01-02");
  CHECK((*parsed.doc)[10].text.quoted);
  CHECK_FALSE((*parsed.doc)[12].text.quoted);
}

TEST_CASE("a value that is left out is null, at its key") {
  Parsed parsed("a:\nb: ~\nc: {d: }\n");
  REQUIRE(parsed.doc);
  CHECK((*parsed.doc)[2].kind == NodeKind::null);
  CHECK(parsed.bytes((*parsed.doc)[2].text.span) == "a");
  CHECK((*parsed.doc)[4].kind == NodeKind::null);
}

TEST_CASE("a key that stands twice is reported with the first one") {
  Parsed parsed("a: 1\nb: {c: 1, c: 2}\na: 2\n");
  CHECK_FALSE(parsed.doc);
  CHECK(parsed.said() == "key-duplicate x.yaml:2:11\nkey-duplicate x.yaml:3:1");
  REQUIRE(parsed.out.items().size() == 2);
  REQUIRE(parsed.out.items()[0].related.size() == 1);
  CHECK(parsed.out.items()[0].related[0].span.begin == 9);
  CHECK(parsed.out.items()[1].related[0].span.begin == 0);
}

TEST_CASE("what the language leaves out of YAML is refused where it stands") {
  CHECK(refused("a: &x 1\n") == "yaml-alias x.yaml:1:4");
  CHECK(refused("a: 1\nb: *x\n").starts_with("yaml-"));
  CHECK(refused("a: !!str 1\n").starts_with("yaml-tag x.yaml:1:"));
  CHECK(refused("a: !mine {b: 1}\n").starts_with("yaml-tag x.yaml:1:"));
  CHECK(refused("? [a, b]\n: 1\n").starts_with("yaml-invalid x.yaml:1:"));
}

TEST_CASE("nothing stands beside the one document") {
  CHECK(refused("a: 1\n---\nb: 2\n").starts_with("yaml-trailing x.yaml:2:"));
  CHECK(refused("- a\nb: c\n").starts_with("yaml-"));
  CHECK(refused(", a: 1\n").starts_with("yaml-"));
  CHECK(refused("a: 1\n...\nb: 2\n").starts_with("yaml-trailing x.yaml:"));
}

TEST_CASE("a file without a mapping is refused") {
  CHECK(refused("") == "file-empty x.yaml:1:1");
  CHECK(refused("# a comment\n\n") == "file-empty x.yaml:1:1");
  CHECK(refused("---\n") == "file-empty x.yaml:1:1");
  CHECK(refused("- a\n- b\n") == "yaml-not-mapping x.yaml:1:1");
  CHECK(refused("word\n") == "yaml-not-mapping x.yaml:1:1");
}

TEST_CASE("a tab in an indentation is named, where it is") {
  CHECK(refused("a:\n\tb: 1\n") == "yaml-tab x.yaml:2:1");
  CHECK(refused("a:\n  b: 1\n \tc: 2\n") == "yaml-tab x.yaml:3:2");
}

TEST_CASE("nesting ends at 32 levels") {
  auto nested = [](int levels) {
    std::string text;
    for (int i = 0; i < levels; ++i) text += std::string(static_cast<std::size_t>(i), ' ') + "a:\n";
    return text.substr(0, text.size() - 1) + " 1\n";
  };
  CHECK(refused(nested(32)) == "taken");
  CHECK(refused(nested(33)) == "yaml-depth x.yaml:33:33");
  CHECK(refused("a: " + std::string(1000, '[') + std::string(1000, ']') + "\n").starts_with("yaml-depth x.yaml:1:"));
  CHECK(refused("a: " + std::string(100000, '[')).starts_with("yaml-"));
}

TEST_CASE("an escape that makes a control character is refused") {
  CHECK(refused("a: \"x\\u0007\"\n") == "character-forbidden x.yaml:1:4");
  CHECK(refused("a: \"x\\u202ey\"\n") == "character-forbidden x.yaml:1:4");
  CHECK(refused("a: \"x\\u0085y\"\n") == "character-forbidden x.yaml:1:4");
  CHECK(refused("a: \"x\\ny\"\n") == "taken");
}

// YAML 1.2, sections 7.3.1 and 7.3.2: a quoted scalar ends with its quote.
TEST_CASE("a quote that is never closed is no YAML") {
  CHECK(refused("a: \"open\n").starts_with("yaml-invalid"));
  CHECK(refused("a: 'open\n").starts_with("yaml-invalid"));
  CHECK(refused("a: \"open").starts_with("yaml-invalid"));
  CHECK(refused("title: \"Heron\nsettings:\n  wall.count: 3\n").starts_with("yaml-invalid"));
}

TEST_CASE("an unclosed bracket and a broken indentation are no YAML") {
  CHECK(refused("a: [1, 2\n").starts_with("yaml-invalid"));
  CHECK(refused("a: {b: 1\n").starts_with("yaml-invalid"));
  CHECK(refused("a: 1\n b: 2\n").starts_with("yaml-invalid"));
  CHECK(refused("a: b: c\n").starts_with("yaml-invalid"));
}

}
