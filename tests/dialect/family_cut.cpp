// Files that were cut off or damaged end in a report or in a content, never in a crash.
#include "family_world.h"

using namespace bindery;
using namespace bindery::test;

namespace {

std::string sample(FileFamily family) {
  switch (family) {
    case FileFamily::ini:
      return "# c\ntitle = a\\n\\\\b\n[wall/first]\nspeed = 60\norder = in\norder = out\n; x\n[fan]\non=\n";
    case FileFamily::json:
      return "{\"a\": [1, \"x\\u00e9\\n\", {\"b\": -1.5e3}, [2, []]], \"c\": {\"d\": null, \"e\": true}, \"f\": "
             "\"\"}\n";
    case FileFamily::yaml:
      return "# c\na: [1, 'x', \"y\\n\"]\nb:\n  - c: ~\n    d: |\n      text\n  - e\n\"f\": {g: h, i: }\n";
    case FileFamily::csv: return "a,\"b \"\"c\"\"\",d\n1,\"x\ny\",\n\"\",2,3\n";
    default:
      return "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!-- c -->\n<profile v='1'>\n <a>x &lt;&#10;y</a>\n <s><b> "
             "</b><b><![CDATA[<]]></b></s>\n <v name=\"n\" value=\"1\"/>\n</profile>\n";
  }
}

}  // namespace

TEST_SUITE("dialect/family_cut") {
  TEST_CASE("a file cut off at any byte is refused or read") {
    for (FileFamily family : read_families) {
      std::string text = sample(family);
      REQUIRE(reading(family, text).find("program-") == std::string::npos);
      for (std::size_t length = 0; length < text.size(); ++length) {
        CAPTURE(text.substr(0, length));
        FamilyFile file(family, text.substr(0, length));
        for (const Layout& layout : {Layout{.item = "v", .value_in = "value"}, Layout{.item = "b", .section = "s"}})
          reading(family, text.substr(0, length), layout);
        // What has an end of its own shows that it was cut off, up to its last line break.
        if ((family == FileFamily::json || family == FileFamily::xml) && length + 1 < text.size()) CHECK(!file.content);
      }
    }
  }

  TEST_CASE("a file with any byte changed, doubled or left out is refused or read") {
    for (FileFamily family : read_families) {
      std::string text = sample(family);
      for (std::size_t at = 0; at < text.size(); ++at) {
        for (std::string_view other : {"",   "<", ">", "&", "\"", "'", "\\",       "{",    "]",  ":", ",",
                                       "\n", "-", "!", ";", "#",  "=", "\xc3\xa9", "\xff", "[[", "\t"}) {
          std::string changed = text;
          changed.replace(at, 1, other);
          reading(family, changed);
        }
        reading(family, text.substr(0, at) + text.substr(at, 1) + text.substr(at));
      }
    }
  }

  TEST_CASE("any bytes at all are refused or read, and their family is guessed without harm") {
    Chance chance(20);
    for (int i = 0; i < 2000; ++i) {
      std::string text = chance.text() + chance.text() + "\n" + chance.text() + chance.text();
      Layout layout = chance.layout();
      for (FileFamily family : read_families) {
        reading(family, text, layout);
        reading(family, text, recognise_layout(family, text));
      }
      if (auto family = recognise_family(text)) CHECK(*family != FileFamily::text);
    }
  }
}
