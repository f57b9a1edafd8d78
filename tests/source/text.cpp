#include "../support.h"

using namespace bindery;

namespace {

// What check_text() says of a text: "" for a sound one, otherwise "code begin-end".
std::string checked(std::string text) {
  SourceFile file{"profiles-src/machine/m.yaml", std::move(text), true};
  Diagnostics out;
  check_text(0, file, out);
  if (file.sound != out.items().empty()) return "soundness and reports disagree";
  if (file.sound) return "";
  const Diagnostic& item = out.items().front();
  return fmt::format("{} {}-{}", describe(item.code).name, item.span.begin, item.span.end);
}

}  // namespace

TEST_SUITE("source/text") {

TEST_CASE("clean UTF-8 with line breaks of both kinds is sound") {
  CHECK(checked("title: 215 \xc2\xb0" "C\r\nabout: \xe2\x82\xac \xf0\x9f\x99\x82\n") == "");
  CHECK(checked("") == "");
  CHECK(checked("a:\tb\n") == "");  // a tab between words; in an indentation YAML refuses it
}

// RFC 3629, sections 3 and 4 (from memory): no overlong forms, no surrogates, nothing above U+10FFFF.
TEST_CASE("bytes that are no UTF-8 are reported where they stand") {
  CHECK(checked("ab\xff") == "file-encoding 2-3");
  CHECK(checked("a\xc0\x80") == "file-encoding 1-2");          // overlong
  CHECK(checked("a\xe0\x80\xaf") == "file-encoding 1-2");      // overlong
  CHECK(checked("a\xed\xa0\x80") == "file-encoding 1-2");      // a surrogate
  CHECK(checked("a\xf4\x90\x80\x80") == "file-encoding 1-2");  // above U+10FFFF
  CHECK(checked("a\xe2\x82") == "file-encoding 1-2");          // cut off
  CHECK(checked("a\x80") == "file-encoding 1-2");              // a lone continuation
}

TEST_CASE("a byte-order mark is refused") {
  CHECK(checked("\xef\xbb\xbftitle: x\n") == "file-encoding 0-3");
  CHECK(checked("a\xef\xbb\xbf") == "character-forbidden 1-4");
}

TEST_CASE("control characters are refused") {
  CHECK(checked(std::string("a\0b", 3)) == "character-forbidden 1-2");
  CHECK(checked("a\x1b[0m") == "character-forbidden 1-2");
  CHECK(checked("a\x7f") == "character-forbidden 1-2");
  CHECK(checked("a\xc2\x85") == "character-forbidden 1-3");  // a next-line control
  CHECK(checked("a\rb") == "character-forbidden 1-2");       // a return that ends no line
}

// Unicode Standard Annex 9: the explicit formatting characters (from memory).
TEST_CASE("characters that reorder a line are refused") {
  for (std::string_view mark : {"\xd8\x9c", "\xe2\x80\x8e", "\xe2\x80\x8f", "\xe2\x80\xaa", "\xe2\x80\xae", "\xe2\x81\xa6", "\xe2\x81\xa9"}) {
    CAPTURE(mark);
    CHECK(checked("ab" + std::string(mark)) == fmt::format("character-forbidden 2-{}", 2 + mark.size()));
  }
}

TEST_CASE("a text has at most 256 KiB") {
  CHECK(checked(std::string(256 * 1024, '#')) == "");
  CHECK(checked(std::string(256 * 1024 + 1, '#')) == "file-too-large 0-0");
}

TEST_CASE("lines and columns count from one, a column by code points") {
  SourceFile file{"x", "ab\n\xc2\xb0" "C: 1\r\nend", true};
  auto at = [&](std::size_t offset) {
    Position p = position_of(file, offset);
    return fmt::format("{}:{}", p.line, p.column);
  };
  CHECK(at(0) == "1:1");
  CHECK(at(2) == "1:3");
  CHECK(at(3) == "2:1");
  CHECK(at(5) == "2:2");   // behind a character of two bytes
  CHECK(at(11) == "3:1");
  CHECK(at(14) == "3:4");
  CHECK(at(999) == "3:4");
}

TEST_CASE("a file is found by its path") {
  Sources sources = test::sources_of({{"a.yaml", ""}, {"b.yaml", ""}, {"c.yaml", ""}});
  CHECK(sources.find("b.yaml") == 1);
  CHECK(sources.find("c.yaml") == 2);
  CHECK(sources.find("bb.yaml") == no_file);
  CHECK(Sources{}.find("a") == no_file);
}

}
