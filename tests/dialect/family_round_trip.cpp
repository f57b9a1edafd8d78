// What is written is read as it was.
#include "family_world.h"

using namespace bindery;
using namespace bindery::test;

namespace {

void comes_back(FileFamily family, const Layout& layout, const FileContent& content) {
  std::string text = write_content(family, layout, content);
  CAPTURE(text);
  CHECK(write_content(family, layout, content) == text);
  CHECK(text.ends_with('\n'));
  CHECK(text.find('\r') == std::string::npos);
  CHECK(reading(family, text, layout) == shown(as_read(family, content)));
}

// The layouts in which a value stands in another place.
const std::vector<Layout>& layouts() {
  static const std::vector<Layout> all = {
      Layout{},
      Layout{.separator = "=", .comment = ";", .indent = 0, .delimiter = ';', .item = "item"},
      Layout{
          .separator = ": ", .indent = 4, .delimiter = '\t', .item = "item", .value_in = "value", .section = "group"},
      Layout{.separator = " ", .indent = 1, .item = "node", .section = "node"},
      Layout{.value_in = "value"},
      Layout{.section = "group"},
  };
  return all;
}

}  // namespace

TEST_SUITE("dialect/family_round_trip") {
  TEST_CASE("awkward values come back in every family and layout") {
    for (FileFamily family : read_families) {
      CAPTURE(name_of(family));
      for (const Layout& layout : layouts()) {
        for (const std::string& piece : awkward_pieces()) {
          std::vector<std::string> texts = {
              piece, piece + piece, " " + piece, piece + " ", "x" + piece + "y", "\n" + piece + "\t", "\\" + piece};
          FileContent content;
          for (std::size_t i = 0; i < texts.size(); ++i)
            content.entries.push_back(one({"1"}, fmt::format("k{}", i), texts[i]));
          if (family == FileFamily::xml && layout.section.empty()) content = {};
          for (std::size_t i = 0; i < texts.size() && family != FileFamily::csv; ++i)
            content.entries.push_back(one({"s"}, fmt::format("k{}", i), texts[i]));
          comes_back(family, layout, content);
        }
      }
    }
  }

  TEST_CASE("a list of awkward values comes back") {
    for (FileFamily family : {FileFamily::ini, FileFamily::json, FileFamily::yaml, FileFamily::xml}) {
      for (const Layout& layout : layouts())
        comes_back(family, layout,
                   FileContent{{}, {several({}, "all", awkward_pieces()), several({"s"}, "all", awkward_pieces())}});
    }
  }

  TEST_CASE("bare words come back as they were written") {
    for (std::string_view text : {"0", "-0", "1.50", "1e5", "1E+05", "12345678901234567890123",
                                  "0.10000000000000000555", "true", "false", "null"}) {
      for (FileFamily family : {FileFamily::json, FileFamily::yaml})
        comes_back(family, {},
                   FileContent{{},
                               {one({}, "a", std::string(text), true), one({}, "b", std::string(text)),
                                several({"s"}, "c", {std::string(text), "2"}, true)}});
    }
    // Words of yaml alone.
    for (std::string_view text :
         {"yes", "012", "+1", "1_000", "12 mm/s", "2020-01-01", "1:30", "plain words", "", "-x", "a:b", "a#b"})
      comes_back(FileFamily::yaml, {},
                 FileContent{{},
                             {one({}, "a", std::string(text), true),
                              several({"s"}, "c", {std::string(text), "x"}, true), one({"s"}, "z", "z")}});
  }

  TEST_CASE("sections come back in the place of the first, however they are mixed") {
    FileContent mixed{{},
                      {one({"b"}, "x", "1"), one({"a", "c"}, "x", "2"), one({"a"}, "x", "3"), one({"b"}, "y", "4"),
                       one({}, "x", "5")}};
    CHECK(reading(FileFamily::ini, write_content(FileFamily::ini, {}, mixed)) ==
          "x \"5\"\nb x \"1\"\nb y \"4\"\na/c x \"2\"\na x \"3\"\n");
    CHECK(reading(FileFamily::json, write_content(FileFamily::json, {}, mixed)) ==
          "b x \"1\"\nb y \"4\"\na/c x \"2\"\na x \"3\"\nx \"5\"\n");
  }

  TEST_CASE("as many levels as are read come back") {
    std::vector<std::string> path;
    for (std::size_t i = 0; i < deepest_section; ++i) path.push_back(fmt::format("s{}", i));
    for (FileFamily family : {FileFamily::ini, FileFamily::json, FileFamily::yaml, FileFamily::xml})
      comes_back(family, {}, FileContent{{}, {one(path, "k", "v")}});
  }

  TEST_CASE("five hundred contents by chance come back in each family") {
    for (FileFamily family : read_families) {
      CAPTURE(name_of(family));
      Chance chance(static_cast<unsigned>(family) + 1);
      for (int i = 0; i < 500; ++i) {
        CAPTURE(i);
        Layout layout = chance.layout();
        if (family == FileFamily::yaml && layout.indent == 0) layout.indent = 2;
        comes_back(family, layout, chance.content(family, layout));
      }
    }
  }

  // What is read and written again is what is read.
  TEST_CASE("what one reads of a file of others is written so that it reads the same") {
    const std::pair<FileFamily, std::string_view> files[] = {
        {FileFamily::ini, "; by hand\r\n[a]\r\nx=1\r\n[b]\r\ny = \\q\\\r\n[ a ]\r\nz=\"q\"\r\n"},
        {FileFamily::json, "{\"a\": {\"x\": [1, {\"y\": null}], \"z\": [[1, 2], []]}, \"t\": \"\\u00e9\\r\\n\"}"},
        {FileFamily::yaml, "# c\n---\na: {x: [1, ~], y: }\nb:\n- c: 'd'\n- |\n  text\n  more\nt: 'it''s'\n"},
        {FileFamily::csv, "a,b\r\n1,\"x\r\ny\"\r\n\r\n,2"},
        {FileFamily::xml,
         "<!-- c --><profile v='1'><a>x<![CDATA[<y>]]> &#x41;</a><s><b/><!-- n --></s><?p i?><s><c> "
         "</c></s></profile>"},
    };
    for (const auto& file : files) {
      CAPTURE(file.second);
      FamilyFile read(file.first, std::string(file.second));
      REQUIRE(read.said() == "");
      CHECK(reading(file.first, write_content(file.first, {}, *read.content)) == shown(*read.content));
    }
  }
}
