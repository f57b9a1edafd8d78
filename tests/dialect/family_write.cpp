// The bytes that each family writes.
#include <nlohmann/json.hpp>

#include "family_world.h"

using namespace bindery;
using namespace bindery::test;

namespace {

const FileContent& sample() {
  static const FileContent content{
      {"made by hand", ""},
      {one({}, "title", "Fine: \"0.2\" #1"), one({}, "count", "3", true), one({"wall"}, "speed", "<60 & more>", false),
       several({"wall"}, "order", {"in", "out"}), one({"wall", "first"}, "code", "G28\nM104\tS0 "),
       one({"fan"}, "on", "true", true), one({"fan"}, "note", "")}};
  return content;
}

}  // namespace

TEST_SUITE("dialect/family_write") {
  TEST_CASE("ini: the top first, then sections; a list repeats its key") {
    CHECK(write_content(FileFamily::ini, {}, sample()) ==
          "# made by hand\n#\ntitle = Fine: \"0.2\" #1\ncount = 3\n\n[wall]\nspeed = <60 & more>\norder = in\norder = "
          "out\n\n"
          "[wall/first]\ncode = G28\\nM104\\tS0\\s\n\n[fan]\non = true\nnote =\n");
    CHECK(write_content(FileFamily::ini, Layout{.separator = ":", .comment = ";"},
                        FileContent{{"c"}, {one({"a"}, "b", " c\\d "), one({}, "e", " ")}}) ==
          "; c\ne:\\s\n\n[a]\nb:\\sc\\\\d\\s\n");
  }

  TEST_CASE("json: objects within each other, numbers and flags as they are") {
    CHECK(write_content(FileFamily::json, {}, sample()) == R"({
  "title": "Fine: \"0.2\" #1",
  "count": 3,
  "wall": {
    "speed": "<60 & more>",
    "order": [
      "in",
      "out"
    ],
    "first": {
      "code": "G28\nM104\tS0 "
    }
  },
  "fan": {
    "on": true,
    "note": ""
  }
}
)");
    CHECK(write_content(FileFamily::json, Layout{.indent = 0},
                        FileContent{{}, {several({"a"}, "b", {"1.50", "-0"}, true), several({}, "c", {})}}) ==
          "{\"a\":{\"b\":[1.50,-0]},\"c\":[]}\n");
  }

  TEST_CASE("json: a bare word that JSON does not know stands in quotes") {
    for (std::string_view text : {"", "yes", "012", "1.", ".5", "+1", "1 ", "1e999", "NaN", "[1]", "\"a\"", "tru"}) {
      CAPTURE(text);
      std::string written = write_content(FileFamily::json, Layout{.indent = 0},
                                          FileContent{{}, {one({}, "a", std::string(text), true)}});
      CHECK(written == fmt::format("{{\"a\":{}}}\n", json_quoted(text)));
    }
  }

  TEST_CASE("yaml: mappings within each other, texts in double quotes") {
    CHECK(write_content(FileFamily::yaml, {}, sample()) == R"(# made by hand
#
title: "Fine: \"0.2\" #1"
count: 3
wall:
  speed: "<60 & more>"
  order:
    - "in"
    - "out"
  first:
    code: "G28\nM104\tS0 "
fan:
  "on": true
  note: ""
)");
    CHECK(write_content(FileFamily::yaml, Layout{.indent = 4},
                        FileContent{{},
                                    {one({"1"}, "yes", "\xe2\x80\xa8\\", false), several({"1"}, "e", {}),
                                     one({"1"}, "m", "", true)}}) ==
          "\"1\":\n    \"yes\": \"\\L\\\\\"\n    e: []\n    m:\n");
  }

  TEST_CASE("a comment ends with its line, and no earlier") {
    FileContent content{{"a\nb",
                         "c\xe2\x80\xa8"
                         "d: 1\xe2\x80\xa9"
                         "e --> f"},
                        {}};
    CHECK(write_content(FileFamily::ini, {}, content) ==
          "# a\n# b\n# c\xe2\x80\xa8"
          "d: 1\xe2\x80\xa9"
          "e --> f\n");
    CHECK(write_content(FileFamily::yaml, {}, content) == "# a\n# b\n# c d: 1 e --> f\n{}\n");
    CHECK(write_content(FileFamily::xml, {}, content)
              .find("<!-- a b -->\n<!-- c\xe2\x80\xa8"
                    "d: 1\xe2\x80\xa9"
                    "e - -> f -->\n") != std::string::npos);
  }

  // YAML 1.1's types (yaml.org/type), from memory: bool, null, int, float, timestamp, merge and value.
  TEST_CASE("yaml: a key that a reader would take for something else stands in quotes") {
    for (std::string_view key :
         {"yes",        "No", "ON", "off", "y",    "N",    "true", "null", "~",    "1",        "0x1f", "1:30",
          "2020-01-01", "<<", "=",  "-",   "a: b", "a #b", " a",   "a ",   ".inf", "\xc3\xa9", "a,b"}) {
      CAPTURE(key);
      CHECK(write_content(FileFamily::yaml, {}, FileContent{{}, {one({}, std::string(key), "1", true)}}) ==
            fmt::format("{}: 1\n", json_quoted(key)));
    }
    for (std::string_view key : {"a", "_a", "a.b-c_1", "yes.no", "nozzle"}) {
      CHECK(write_content(FileFamily::yaml, {}, FileContent{{}, {one({}, std::string(key), "1", true)}}) ==
            fmt::format("{}: 1\n", key));
    }
  }

  TEST_CASE("yaml: a bare text that cannot stand without quotes stands in them") {
    for (std::string_view text : {" a", "a ", "a: b", "a #b", "a:",  "#a", "- a", "-",  "? a", "[a",   "{a", "*a", "&a",
                                  "!a", "|",  ">",    "'a",   "\"a", "%a", "@a",  "`a", ",a",  "a\nb", "=",  "<<"}) {
      CAPTURE(text);
      CHECK(write_content(FileFamily::yaml, {}, FileContent{{}, {one({}, "k", std::string(text), true)}}) ==
            fmt::format("k: {}\n", json_quoted(text)));
    }
    for (std::string_view text : {"1", "-1", "a b", "a:b", "a#b", "-a", "12 mm/s", "yes", "[", "\xc3\xa9"}) {
      if (text == "[") continue;
      CHECK(write_content(FileFamily::yaml, {}, FileContent{{}, {one({}, "k", std::string(text), true)}}) ==
            fmt::format("k: {}\n", text));
    }
  }

  // RFC 4180, section 2: fields with line breaks, quotes and commas in quotes, quotes doubled; lines end as the
  // project's.
  TEST_CASE("csv: a record a section, empty where a key is missing") {
    FileContent content{{"lost"},
                        {one({"first"}, "a", "1"), one({"first"}, "b,c", "x \"y\"\nz"), one({"second"}, "d", ""),
                         one({"second"}, "a", " 2")}};
    CHECK(write_content(FileFamily::csv, {}, content) == "a,\"b,c\",d\n1,\"x \"\"y\"\"\nz\",\n\" 2\",,\"\"\n");
    CHECK(write_content(FileFamily::csv, Layout{.delimiter = ';'}, content) ==
          "a;b,c;d\n1;\"x \"\"y\"\"\nz\";\n\" 2\";;\"\"\n");
    CHECK(write_content(FileFamily::csv, {}, FileContent{{}, {one({}, "a", "1"), one({}, "b", "2")}}) == "a,b\n1,2\n");
  }

  TEST_CASE("xml: elements, or attributes where the layout names them") {
    FileContent content{{"made -- by hand---"},
                        {one({}, "title", "<a> & \"b\"]]>"), several({"wall"}, "order", {"in", "\tout\n"}),
                         one({"wall", "first"}, "code", "")}};
    CHECK(write_content(FileFamily::xml, {}, content) == R"(<?xml version="1.0" encoding="UTF-8"?>
<!-- made - - by hand- - - -->
<profile>
  <title>&lt;a&gt; &amp; "b"]]&gt;</title>
  <wall>
    <order>in</order>
    <order>	out
</order>
    <first>
      <code></code>
    </first>
  </wall>
</profile>
)");
    CHECK(
        write_content(FileFamily::xml,
                      Layout{.indent = 1, .root = "set", .item = "v", .key_in = "id", .value_in = "is", .section = "g"},
                      content) ==
        R"(<?xml version="1.0" encoding="UTF-8"?>
<!-- made - - by hand- - - -->
<set>
 <v id="title" is="&lt;a&gt; &amp; &quot;b&quot;]]&gt;"/>
 <g id="wall">
  <v id="order" is="in"/>
  <v id="order" is="&#9;out&#10;"/>
  <g id="first">
   <v id="code" is=""/>
  </g>
 </g>
</set>
)");
  }

  TEST_CASE("a file of nothing is still a file of its family") {
    CHECK(write_content(FileFamily::ini, {}, {}) == "\n");
    CHECK(write_content(FileFamily::json, {}, {}) == "{}\n");
    CHECK(write_content(FileFamily::yaml, {}, {}) == "{}\n");
    CHECK(write_content(FileFamily::csv, {}, {}) == "\n");
    CHECK(write_content(FileFamily::xml, {}, {}) == "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<profile/>\n");
    for (FileFamily family : read_families) CHECK(reading(family, write_content(family, {}, {})) == "");
  }

  // RFC 8259, by nlohmann-json's reader of whole documents.
  TEST_CASE("json: another reader finds the same values under the same keys") {
    Chance chance(4);
    for (int i = 0; i < 50; ++i) {
      Layout layout = chance.layout();
      FileContent content = chance.content(FileFamily::json, layout);
      auto json = nlohmann::json::parse(write_content(FileFamily::json, layout, content));
      for (const Entry& entry : content.entries) {
        const nlohmann::json* at = &json;
        for (const std::string& name : entry.section) at = &at->at(name);
        at = &at->at(entry.key);
        REQUIRE(at->is_array() == entry.list);
        for (std::size_t item = 0; item < entry.values.size(); ++item) {
          const nlohmann::json& found = entry.list ? at->at(item) : *at;
          const Scalar& scalar = entry.values[item];
          CHECK(found == (scalar.bare ? nlohmann::json::parse(scalar.text) : nlohmann::json(scalar.text)));
        }
      }
    }
  }
}
