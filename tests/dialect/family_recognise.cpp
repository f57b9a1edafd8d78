// Families and layouts by the text of a file alone.
#include "family_world.h"

using namespace bindery;
using namespace bindery::test;

namespace {

std::string family_of(std::string_view text) {
  auto family = recognise_family(text);
  return std::string(family ? name_of(*family) : "none");
}

}  // namespace

TEST_SUITE("dialect/family_recognise") {
  TEST_CASE("a family shows in the first lines of a file") {
    CHECK(family_of("{\"a\": 1}") == "json");
    CHECK(family_of("\n  {\n}") == "json");
    CHECK(family_of("[{\"a\": 1}]") == "json");
    CHECK(family_of("[\n  1,\n  2\n]\n") == "json");
    CHECK(family_of("<a/>") == "xml");
    CHECK(family_of("<?xml version=\"1.0\"?>\n<a/>") == "xml");
    CHECK(family_of("[walls]\nspeed: 1\n") == "ini");
    CHECK(family_of("speed=1\n") == "ini");
    CHECK(family_of("; made by hand\nspeed = 1, 2\n") == "ini");
    CHECK(family_of("speed: 1\n\n[walls]\ncount: 2\n") == "ini");
    CHECK(family_of("speed: 1\n") == "yaml");
    CHECK(family_of("# made by hand\n---\nwalls:\n  speed: a = b\n") == "yaml");
    CHECK(family_of("\"a b\": 1\n") == "yaml");
    CHECK(family_of("walls: [1, 2]\nlist: [3, 4]\n") == "yaml");
    CHECK(family_of("name,speed\na,1\nb,2\n") == "csv");
    CHECK(family_of("name;time;note\na;12:30;\"x; y\nz\"\n") == "csv");
    CHECK(family_of("name\tspeed\r\na\t1\r\n") == "csv");
    CHECK(family_of("") == "none");
    CHECK(family_of(" \n\n") == "none");
    CHECK(family_of("G28\nG1 X1\n") == "none");
    CHECK(family_of("a,b\nc\n") == "none");
  }

  TEST_CASE("json shows its indentation") {
    CHECK(recognise_layout(FileFamily::json, "{\n    \"a\": 1\n}\n").indent == 4);
    CHECK(recognise_layout(FileFamily::json, "{\r\n \"a\": 1\r\n}\r\n").indent == 1);
    CHECK(recognise_layout(FileFamily::json, "{\"a\": 1,\n\"b\": 2}").indent == 0);
    CHECK(recognise_layout(FileFamily::json, "") == Layout{});
  }

  TEST_CASE("ini shows what stands between key and value, and before comments") {
    CHECK(recognise_layout(FileFamily::ini, "[a]\nx=1\n").separator == "=");
    CHECK(recognise_layout(FileFamily::ini, "x =\ny = 1\n").separator == " = ");
    CHECK(recognise_layout(FileFamily::ini, "x: a=b\n").separator == ": ");
    CHECK(recognise_layout(FileFamily::ini, "x=1\n").comment == "#");
    CHECK(recognise_layout(FileFamily::ini, "; one\n# two\nx=1\n").comment == ";");
  }

  TEST_CASE("yaml and csv show their indentation and delimiter") {
    CHECK(recognise_layout(FileFamily::yaml, "a: 1\nb:\n    c: 1\n").indent == 4);
    CHECK(recognise_layout(FileFamily::yaml, "a: 1\n").indent == 2);
    CHECK(recognise_layout(FileFamily::csv, "a;b;c\n1,5;2,5;3,5\n").delimiter == ';');
    CHECK(recognise_layout(FileFamily::csv, "a\tb\n1\t2\n").delimiter == '\t');
    CHECK(recognise_layout(FileFamily::csv, "a\n").delimiter == ',');
  }

  TEST_CASE("xml shows its elements and attributes") {
    Layout plain = recognise_layout(FileFamily::xml,
                                    "<?xml version=\"1.0\"?>\n<set>\n    <a>1</a>\n    <b><c>2</c></b>\n</set>\n");
    CHECK(plain == Layout{.indent = 4, .root = "set"});
    Layout items =
        recognise_layout(FileFamily::xml, "<set>\n<v id=\"a\">1</v>\n<g id=\"b\"><v id=\"c\">2</v></g></set>");
    CHECK(items == Layout{.root = "set", .item = "v", .key_in = "id", .section = "g"});
    Layout values = recognise_layout(FileFamily::xml, "<set><v id=\"a\" is=\"1\"/><g><v id=\"c\" is=\"2\"/></g></set>");
    CHECK(values == Layout{.root = "set", .item = "v", .key_in = "id", .value_in = "is"});
    CHECK(recognise_layout(FileFamily::xml, "<set") == Layout{});
  }

  TEST_CASE("what is written is recognised, and read with the layout that shows") {
    FileContent content{{},
                        {one({"walls"}, "speed", "1"), one({"walls"}, "count", "2"), one({"fan"}, "speed", "3"),
                         one({"fan"}, "count", "4")}};
    for (FileFamily family : read_families) {
      CAPTURE(name_of(family));
      for (const Layout& layout : {Layout{}, Layout{.separator = "=",
                                             .indent = 4,
                                             .delimiter = ';',
                                             .root = "r",
                                             .item = "i",
                                             .key_in = "k",
                                             .section = "s"}}) {
        std::string text = write_content(family, layout, content);
        REQUIRE(recognise_family(text) == family);
        Layout found = recognise_layout(family, text);
        CHECK(reading(family, text, found) == reading(family, text, layout));
        CHECK(write_content(family, found, content) == text);
      }
    }
  }
}
