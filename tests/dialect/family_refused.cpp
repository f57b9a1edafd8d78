// What readers refuse, and the bytes that they point at.
#include <algorithm>

#include "family_world.h"

using namespace bindery;
using namespace bindery::test;

namespace {

// The first report's message.
std::string message(FileFamily family, std::string text, const Layout& layout = {}) {
  FamilyFile file(family, std::move(text), layout);
  REQUIRE(!file.out.items().empty());
  return file.out.items().front().message;
}

}  // namespace

TEST_SUITE("dialect/family_refused") {
  TEST_CASE("no family takes bytes that are no clean UTF-8") {
    for (FileFamily family : read_families) {
      CAPTURE(name_of(family));
      CHECK(reading(family, "") == "file-empty: ");
      CHECK(reading(family, "\xef\xbb\xbf{}") == "file-encoding: \xef\xbb\xbf");
      CHECK(reading(family, "a\xff") == "file-encoding: \xff");
      CHECK(reading(family, std::string("a\0b", 3)) == std::string("character-forbidden: \0", 22));
      CHECK(reading(family, "a\x1b[1m") == "character-forbidden: \x1b");
      CHECK(reading(family, "a\rb") == "character-forbidden: \r");
      CHECK(reading(family, "a\xe2\x80\xae") == "character-forbidden: \xe2\x80\xae");
      CHECK(reading(family, "a\xef\xbf\xbf") == "character-forbidden: \xef\xbf\xbf");
      CHECK(reading(family, std::string(largest_program_file + 1, ' ')) == "file-too-large: ");
    }
    CHECK(reading(FileFamily::text, "a") == "program-file: ");
  }

  TEST_CASE("ini: lines that are no key, no section and no comment") {
    CHECK(reading(FileFamily::ini, "a = 1\nword\n") == "program-file: word");
    CHECK(reading(FileFamily::ini, "a: 1\n") == "program-file: a: 1");
    CHECK(reading(FileFamily::ini, "= 1\n") == "program-file: = 1");
    CHECK(reading(FileFamily::ini, "[a\nb = 1\nb = 2\n") == "program-file: [a");
    CHECK(reading(FileFamily::ini, "[a] b = 1\n") == "program-file: b = 1");
    CHECK(reading(FileFamily::ini, "[]\n") == "program-file: []");
    CHECK(reading(FileFamily::ini, "[a//b]\n") == "program-file: [a//b]");
    CHECK(reading(FileFamily::ini, "[a/b\tc]\n") == "character-forbidden: b\tc");
    CHECK(reading(FileFamily::ini, "a = 1\nb\nc\n") == "program-file: b\nprogram-file: c");
    CHECK(message(FileFamily::ini, "a\n", Layout{.separator = ": "}) ==
          "this line holds no ':' between a key and a value");
  }

  TEST_CASE("ini: a key twice, but for lines in a row, which are a list") {
    CHECK(reading(FileFamily::ini, "a = 1\nb = 2\na = 3\n") == "program-key-twice: a");
    CHECK(reading(FileFamily::ini, "[s]\na = 1\n[t]\na = 2\n[s]\na = 3\n") == "program-key-twice: a");
    FamilyFile file(FileFamily::ini, "[s]\nkey = 1\n[s]\nkey = 2\n");
    REQUIRE(file.out.items().size() == 1);
    const Diagnostic& report = file.out.items().front();
    CHECK(report.message == "'key' stands twice");
    REQUIRE(report.related.size() == 1);
    CHECK(report.span.begin == 16);
    CHECK(report.related.front().span.begin == 4);
  }

  TEST_CASE("json: what is malformed, cut off, or no object") {
    CHECK(reading(FileFamily::json, "[1]") == "program-file: [");
    CHECK(reading(FileFamily::json, "12") == "program-file: 1");
    CHECK(reading(FileFamily::json, "\"a\"") == "program-file: \"");
    CHECK(reading(FileFamily::json, "{\"a\": 1,}") == "program-file: }");
    CHECK(reading(FileFamily::json, "{\"a\" 1}") == "program-file: 1");
    CHECK(reading(FileFamily::json, "{\"a\": 01}") == "program-file: 1");
    CHECK(reading(FileFamily::json, "{\"a\": 1} x") == "program-file: x");
    CHECK(reading(FileFamily::json, "{\"a\": 1e999}") == "program-file: 1e999");
    CHECK(reading(FileFamily::json, "{\"a\": \"x\\q\"}") == "program-file: \"x\\q");
    CHECK(reading(FileFamily::json, "{\"a\": {\"b\": 1}\n") == "program-file: }");
    CHECK(reading(FileFamily::json, "{\"a\": // no\n1}") == "program-file: /");
    CHECK(message(FileFamily::json, "{\"a\": [1,\n") == "the file ends in the midst of its JSON");
    CHECK(message(FileFamily::json, "{\"a\" 1}") == "this is no JSON: unexpected number literal; expected ':'");
    CHECK(message(FileFamily::json, "{\"a\": 1e999}") == "this is no JSON: number overflow parsing '1e999'");
  }

  TEST_CASE("json: keys twice, empty keys, and escapes that hide something") {
    CHECK(reading(FileFamily::json, "{\"a\": 1, \"b\": 2, \"a\": 1}") == "program-key-twice: \"a\"");
    CHECK(reading(FileFamily::json, "{\"s\": {\"a\": 1}, \"s\": {}}") == "program-key-twice: \"s\"");
    CHECK(reading(FileFamily::json, "{\"s\": {\"a\": 1}, \"t\": {\"a\": 1}}") == "s a 1\nt a 1\n");
    CHECK(reading(FileFamily::json, "{\"\\u0061\": 1, \"a\": 1}") == "program-key-twice: \"a\"");
    CHECK(reading(FileFamily::json, "{\"\": 1}") == "program-file: \"\"");
    CHECK(reading(FileFamily::json, "{\"a\\nb\": 1}") == "character-forbidden: \"a\\nb\"");
    CHECK(reading(FileFamily::json, "{\"a\": \"\\u0000\"}") == "character-forbidden: \"\\u0000\"");
    CHECK(reading(FileFamily::json, "{\"a\": \"x\\ry\"}") == "character-forbidden: \"x\\ry\"");
    CHECK(reading(FileFamily::json, "{\"a\": [\"\\u202e\"]}") == "character-forbidden: \"\\u202e\"");
  }

  TEST_CASE("yaml: what is malformed or refers to elsewhere") {
    CHECK(reading(FileFamily::yaml, "a: &x 1\n") == "program-entity: &");
    CHECK(reading(FileFamily::yaml, "a: *x\n") == "program-entity: *");
    CHECK(reading(FileFamily::yaml, "a: !t 1\n") == "program-file: !");
    CHECK(reading(FileFamily::yaml, "a: 1\nb: 2\na: 3\n") == "program-key-twice: a");
    CHECK(reading(FileFamily::yaml, "- a\n") == "program-file: -");
    CHECK(reading(FileFamily::yaml, "a: 1\n---\nb: 2\n") == "program-file: -");
    CHECK(reading(FileFamily::yaml, "a: [1\n") == "program-file: 1");
    CHECK(reading(FileFamily::yaml, "a:\n\tb: 1\n") == "program-file: \t");
    CHECK(reading(FileFamily::yaml, "\n") == "file-empty: ");
    CHECK(reading(FileFamily::yaml, "a: \"\\x07\"\n") == "character-forbidden: \"\\x07\"");
    CHECK(reading(FileFamily::yaml, "\"a\\nb\": 1\n") == "character-forbidden: \"a\\nb\"");
    CHECK(reading(FileFamily::yaml, "a: " + std::string(40, '[') + std::string(40, ']') + "\n") == "too-many: [");
  }

  TEST_CASE("csv: records of another length, columns of one name, quotes that do not end") {
    CHECK(reading(FileFamily::csv, "a,b\n1\n2,3\n4,5,6\n") == "program-file: 1\nprogram-file: 4,5,6");
    CHECK(reading(FileFamily::csv, "a,b,a\n1,2,3\n") == "program-key-twice: a");
    CHECK(reading(FileFamily::csv, "a,,c\n1,2,3\n") == "program-file: ,");
    CHECK(reading(FileFamily::csv, "a,\"\"\n1,2\n") == "program-file: \"\"");
    CHECK(reading(FileFamily::csv, "a\n\"x\n") == "program-file: \"");
    CHECK(reading(FileFamily::csv, "a\n\"x\"y\n") == "program-file: y");
    CHECK(reading(FileFamily::csv, "\"a\nb\"\n") == "character-forbidden: \"a\nb\"");
    CHECK(message(FileFamily::csv, "a;b\n1\n", Layout{.delimiter = ';'}) ==
          "this record has 1 fields, and the first one names 2 columns");
  }

  TEST_CASE("xml: document types and entities are not expanded") {
    CHECK(reading(FileFamily::xml, "<!DOCTYPE profile [<!ENTITY a \"b\">]>\n<profile><x>&a;</x></profile>") ==
          "program-entity: <!DOCTYPE");
    CHECK(reading(FileFamily::xml, "<profile><x>&a;</x></profile>") == "program-entity: &a;");
    CHECK(reading(FileFamily::xml, "<profile><x y='&nbsp;'/></profile>") == "program-entity: &nbsp;");
    CHECK(reading(FileFamily::xml, "<profile><x>a & b</x></profile>") == "program-file: &");
    CHECK(reading(FileFamily::xml, "<profile><x>&#xZ;</x></profile>") == "program-file: &#xZ;");
    CHECK(reading(FileFamily::xml, "<profile><x>&#xD800;&#99999999999;</x></profile>") == "program-file: &#xD800;");
    CHECK(reading(FileFamily::xml, "<profile><x>&#0;</x></profile>") == "character-forbidden: &#0;");
    CHECK(reading(FileFamily::xml, "<profile><x>&#x202E;</x></profile>") == "character-forbidden: &#x202E;");
    CHECK(reading(FileFamily::xml, "<profile><x>a&#13;</x></profile>") == "character-forbidden: a&#13;");
    CHECK(reading(FileFamily::xml, "<profile><!-- &a; --><x><![CDATA[&a;]]></x></profile>") == "x \"&a;\"\n");
  }

  TEST_CASE("xml: what is malformed, or of another layout") {
    CHECK(reading(FileFamily::xml, "text") == "program-file: t");
    CHECK(reading(FileFamily::xml, "<profile><a>1</b></profile>").starts_with("program-file: "));
    CHECK(reading(FileFamily::xml, "<profile><a>1</a>").starts_with("program-file: "));
    CHECK(reading(FileFamily::xml, "<profile/><profile/>") == "program-file: profile");
    CHECK(reading(FileFamily::xml, "<profile/>more") == "program-file: m");
    CHECK(reading(FileFamily::xml, "<!-- a --") == "program-file: <!--");
    CHECK(reading(FileFamily::xml, "<profile><![CDATA[x</profile>") == "program-file: <![CDATA[");
    CHECK(reading(FileFamily::xml, "<profile><a b='</profile>") == "program-file: '");
    CHECK(reading(FileFamily::xml, "<profile><a b='<'/></profile>") == "program-file: <");
    CHECK(reading(FileFamily::xml, "<profile") == "program-file: <");
    CHECK(reading(FileFamily::xml, "<profile><a/ ></profile>").starts_with("program-file: "));
    CHECK(reading(FileFamily::xml, "<profile><1/></profile>").starts_with("program-file: "));
    CHECK(reading(FileFamily::xml, "<!-- a -->") == "program-file: <");
    CHECK(reading(FileFamily::xml, "<profile>text<a>1</a></profile>") == "program-file: text");
    CHECK(reading(FileFamily::xml, "<other/>") == "program-file: other");
    CHECK(message(FileFamily::xml, "<other/>") ==
          "the outermost element is 'other', where a file of the dialect has 'profile'");
    CHECK(reading(FileFamily::xml, "<?xml version='1.0' encoding='ISO-8859-1'?><profile><a>\xc3\xa9</a></profile>") ==
          "file-encoding: encoding");
    CHECK(reading(FileFamily::xml, "<?xml version='1.0' encoding='ISO-8859-1'?><profile><a>e</a></profile>") ==
          "a \"e\"\n");
    Layout layout{.item = "v", .section = "g"};
    CHECK(reading(FileFamily::xml, "<profile><v name='a'>1</v><w name='b'>2</w></profile>", layout) ==
          "program-file: w");
    CHECK(reading(FileFamily::xml, "<profile><v id='a'>1</v></profile>", layout) == "program-file: v");
    CHECK(reading(FileFamily::xml, "<profile><v name='a' name='b'>1</v></profile>", layout) ==
          "program-key-twice: name");
    CHECK(reading(FileFamily::xml, "<profile><v name='a'><b/></v></profile>", layout) == "program-file: b");
    CHECK(reading(FileFamily::xml, "<profile><v name='a&#10;b'>1</v></profile>", layout) ==
          "character-forbidden: a&#10;b");
  }

  TEST_CASE("xml: a key twice, but for elements in a row, which are a list") {
    CHECK(reading(FileFamily::xml, "<profile><a>1</a><b>2</b><a>3</a></profile>") == "program-key-twice: a");
    CHECK(reading(FileFamily::xml, "<profile><a>1</a><a><b>2</b></a></profile>") == "program-key-twice: a");
    CHECK(reading(FileFamily::xml, "<profile><a><b>2</b></a><a>1</a></profile>") == "program-key-twice: a");
    CHECK(reading(FileFamily::xml, "<profile><a><b>1</b></a><a><b>2</b></a></profile>") == "program-key-twice: b");
  }

  TEST_CASE("more than is read ends in one report") {
    std::string deep, open, close;
    for (std::size_t i = 0; i <= deepest_section; ++i) {
      deep += i == 0 ? "s" : "/s";
      open += "{\"s\":";
      close += "}";
    }
    CHECK(reading(FileFamily::ini, "[" + deep + "]\nk = 1\n").starts_with("too-many: "));
    CHECK(reading(FileFamily::json, open + "{}" + close).starts_with("too-many: "));
    CHECK(reading(FileFamily::json, "{\"a\": " + std::string(100000, '[')) == "too-many: [");
    std::string flow = open;
    std::erase(flow, '"');
    std::string spaced;
    for (char c : flow) spaced += c == ':' ? std::string(": ") : std::string(1, c);
    CHECK(reading(FileFamily::yaml, spaced + "{}" + close + "\n").starts_with("too-many: "));
    std::string elements = "<profile>", ends = "</profile>";
    for (std::size_t i = 0; i <= deepest_section; ++i) {
      elements += "<s>";
      ends = "</s>" + ends;
    }
    CHECK(reading(FileFamily::xml, elements + "<k>1</k>" + ends) == "too-many: s");

    std::string long_name(201, 'n');
    CHECK(reading(FileFamily::ini, long_name + " = 1\n") == "too-many: " + long_name);
    CHECK(reading(FileFamily::json, "{\"" + long_name + "\": 1}") == "too-many: \"" + long_name + "\"");
    CHECK(reading(FileFamily::csv, long_name + "\n1\n") == "too-many: " + long_name);

    std::string lines, list = "{\"a\":[1";
    for (std::size_t i = 0; i <= most_entries; ++i) lines += "a=1\n";
    for (std::size_t i = 0; i < most_entries; ++i) list += ",1";
    CHECK(reading(FileFamily::ini, lines) == "too-many: 1");
    CHECK(reading(FileFamily::json, list + "]}") == "too-many: 1");
    CHECK(reading(FileFamily::csv, "a\n" + lines) == "too-many: a=1");
    CHECK(reading(FileFamily::yaml, "a: [" + std::string(4 * most_entries, ',') + "]\n") == "too-many: ");
  }

  TEST_CASE("of one file a hundred reports are told") {
    std::string lines;
    for (int i = 0; i < 1000; ++i) lines += "word\n";
    CHECK(FamilyFile(FileFamily::ini, lines).out.items().size() == 100);
  }
}
