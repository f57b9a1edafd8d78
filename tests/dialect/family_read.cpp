// What readers take from files that others wrote, and where it stands.
#include "family_world.h"

using namespace bindery;
using namespace bindery::test;

namespace {

// Each entry's key and the bytes that its place covers: "a<1> b<2>".
std::string places(FileFamily family, std::string text, const Layout& layout = {}) {
  FamilyFile file(family, std::move(text), layout);
  REQUIRE_MESSAGE(file.content.has_value(), file.said());
  std::string out;
  for (const Entry& entry : file.content->entries)
    out += fmt::format("{}{}<{}>", out.empty() ? "" : " ", entry.key, covered(file.sources, entry.span));
  return out;
}

}  // namespace

TEST_SUITE("dialect/family_read") {
  TEST_CASE("ini: comments, blanks, carriage returns and sections that come again") {
    CHECK(reading(FileFamily::ini,
                  "# head\n;x\n\n[a/b] ; note\n\tkey\t=\tvalue = more \n# no head\n[c]\nd=1\n[a/b]\ne=2\n") ==
          "# head\n# x\na/b key \"value = more\"\na/b e \"2\"\nc d \"1\"\n");
    CHECK(reading(FileFamily::ini, "a=1\r\na=2\r\nb=\r\n[s]\r\na=3") == "a [\"1\", \"2\"]\nb \"\"\ns a \"3\"\n");
    CHECK(reading(FileFamily::ini, "a = C:\\dir\\\n") == "a \"C:\\\\dir\\\\\"\n");
    CHECK(reading(FileFamily::ini, "a = \\\\n\\s\n") == "a \"\\\\n \"\n");
    CHECK(reading(FileFamily::ini, "key value more\nnone\n", Layout{.separator = " "}) ==
          "key \"value more\"\nnone \"\"\n");
  }

  TEST_CASE("json: lists of more than scalars are sections of numbers, numbers keep their digits") {
    CHECK(reading(FileFamily::json,
                  "{\"a\": [1, \"x\", {\"b\": 2}, [3, 4], []], \"c\": 1.250e+03, \"d\": -0, \"e\": null, \"f\": []}") ==
          "a 1 1\na 2 \"x\"\na 4 [3, 4]\na 5 []\na/3 b 2\nc 1.250e+03\nd -0\ne null\nf []\n");
    CHECK(reading(FileFamily::json, "{\"a\": \"\\ud83d\\ude42\\r\\n\\/\", \"b\": {}, \"c\": [[[1]]]}") ==
          "a \"\xf0\x9f\x99\x82\\n/\"\nc/1 1 [1]\n");
  }

  TEST_CASE("yaml: what quotes tell, what null is, and both styles") {
    CHECK(reading(FileFamily::yaml,
                  "# c\n#d\na: yes\nb: 'yes'\nc: ~\nd:\ne: null\nf: \"\"\ng: {h: [x, 'y'], i: [[1], {j: 2}]}\nk: |\n  "
                  "l\n  m\nn: >-\n  o\n  p\n") ==
          "# c\n# d\na yes\nb \"yes\"\nc null\nd \ne null\nf \"\"\nk \"l\\nm\\n\"\nn \"o p\"\ng h [x, \"y\"]\ng/i 1 "
          "[1]\ng/i/2 j 2\n");
    // A word that only starts like null, behind a value that is not there.
    CHECK(reading(FileFamily::yaml, "a:\nnullb: 1\nc: [x, , ~y]\n") == "a \nnullb 1\nc [x, , ~y]\n");
    CHECK(reading(FileFamily::yaml, "a: 1\nb:\n  c: d\ne\n") == "a 1\ne \nb c d\n");
  }

  TEST_CASE("csv: quotes, carriage returns, blank lines and missing values") {
    CHECK(reading(FileFamily::csv, "a,\"b \"\"c\"\"\"\r\n\r\n1,\"\"\r\n,\"x\r\ny\"\r\n \" ,2") ==
          "1 a \"1\"\n1 b \"c\" \"\"\n2 b \"c\" \"x\\ny\"\n3 a \" \\\" \"\n3 b \"c\" \"2\"\n");
    CHECK(reading(FileFamily::csv, "a;b\n1,5;2\n", Layout{.delimiter = ';'}) == "1 a \"1,5\"\n1 b \"2\"\n");
    CHECK(reading(FileFamily::csv, "a,b\n") == "");
    CHECK(reading(FileFamily::csv, "a,b\n,\n1,\n") == "1 a \"1\"\n");
  }

  TEST_CASE("xml: entities, sections of characters, comments, and attributes that mean nothing here") {
    CHECK(reading(FileFamily::xml,
                  "<?xml version='1.0' encoding='utf-8'?>\n<!-- one\n  two -->\n<!---->\n<profile id='1'>\n"
                  "<a b='c'>&lt;&#65;&#x1F642;&apos;</a>\n<d> <![CDATA[<&>]]>\r\n</d>\n<e/><e>x<!-- y -->z</e>\n<s><f> "
                  "</f></s>\n<s><g>1</g></s>\n</profile>\n<!-- end -->\n") ==
          "# one\n# two\n# \na \"<A\xf0\x9f\x99\x82'\"\nd \" <&>\\n\"\ne [\"\", \"xz\"]\ns f \" \"\ns g \"1\"\n");
    Layout layout{.root = "r", .item = "v", .key_in = "id", .value_in = "is", .section = "g"};
    CHECK(reading(FileFamily::xml, "<r><v is='1\n2&#10;3' x='y' id='a b'/><g id='s/t'><v id='' is=''/></g></r>",
                  layout) == "program-file: v");
    CHECK(reading(FileFamily::xml, "<r><v is='1\n2&#10;3' x='y' id='a b'/><g id='s/t'><v id='c' is=''/></g></r>",
                  layout) == "a b \"1 2\\n3\"\ns/t c \"\"\n");
    // Keys and sections that one name would confuse are told apart by their elements.
    CHECK(reading(FileFamily::xml, "<profile><v name='a'>1</v><a><v name='a'>2</v></a></profile>",
                  Layout{.item = "v"}) == "a \"1\"\na a \"2\"\n");
    CHECK(reading(FileFamily::xml, "<profile><v name='a'>1</v><v name='b'><v name='a'>2</v></v></profile>",
                  Layout{.item = "v", .section = "v"}) == "a \"1\"\nb a \"2\"\n");
  }

  TEST_CASE("an entry tells the bytes that it was read from") {
    CHECK(places(FileFamily::ini, "[s]\na = x y \r\nb =\nc = 1\nc = 2\n") == "a<x y> b<b => c<1\nc = 2>");
    CHECK(places(FileFamily::json,
                 "{\"a\" : 12 ,\"b\":[1, 2 ],\"c\":{\"d\":\"x\\\"\"},\"e\":true,\"f\":null,\"\xc3\xa9\":-1e5}") ==
          "a<12> b<[1, 2 ]> e<true> f<null> \xc3\xa9<-1e5> d<\"x\\\"\">");
    CHECK(places(FileFamily::yaml, "a: x y\nb: [1, 'z']\nc:\n- 1\n- 2\n\xc3\xa9: \"\xc3\xa9\"\n") ==
          "a<x y> b<[1, 'z'> c<- 1\n- 2> \xc3\xa9<\"\xc3\xa9\">");
    CHECK(places(FileFamily::csv, "a,b\n1,\"x\"\"\"\n") == "a<1> b<\"x\"\"\">");
    CHECK(places(FileFamily::xml, "<profile><a>x &amp; y</a><b/><c><![CDATA[z]]></c><d>1</d><d>2</d></profile>") ==
          "a<x &amp; y> b<b> c<z> d<1</d><d>2>");
    CHECK(places(FileFamily::xml, "<profile><v x = 'n\"' value=\"1 &lt; 2\" name='a'/></profile>",
                 Layout{.item = "v", .value_in = "value"}) == "a<1 &lt; 2>");
  }
}
