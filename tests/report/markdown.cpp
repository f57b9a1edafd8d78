// Markdown is read by CommonMark 0.31.2.
#include "report/markdown.h"

#include "../support.h"

using namespace bindery;

namespace {

// CommonMark 0.31.2, section 6.1: "A code span begins with a backtick string and ends with a backtick string of equal
// length"; line endings become spaces; "if the resulting string both begins and ends with a space character, but does
// not consist entirely of space characters, a single space character is removed from the front and back". Gives what
// the span holds, if the whole text is one.
std::optional<std::string> span_of(std::string_view text) {
  std::size_t fence = text.find_first_not_of('`');
  if (fence == 0 || fence == std::string_view::npos) return std::nullopt;
  for (std::size_t at = fence; at < text.size();) {
    std::size_t begin = text.find('`', at);
    if (begin == std::string_view::npos) return std::nullopt;
    std::size_t end = std::min(text.find_first_not_of('`', begin), text.size());
    if (end - begin == fence) {
      if (end != text.size()) return std::nullopt;
      std::string inside(text.substr(fence, begin - fence));
      if (inside.starts_with(' ') && inside.ends_with(' ') && inside.find_first_not_of(' ') != std::string::npos)
        inside = inside.substr(1, inside.size() - 2);
      return inside;
    }
    at = end;
  }
  return std::nullopt;
}

// Section 2.4: "Any ASCII punctuation character may be backslash-escaped"; a backslash before anything else is one.
std::string unescaped(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    bool escape = text[i] == '\\' && i + 1 < text.size() &&
                  std::string_view("!\"#$%&'()*+,-./:;<=>?@[\\]^_`{|}~").find(text[i + 1]) != std::string_view::npos;
    out += escape ? text[++i] : text[i];
  }
  return out;
}

}  // namespace

TEST_SUITE("report/markdown") {

TEST_CASE("a code span holds its text") {
  for (std::string text : {"150 mm/s", "a`b", "`", "``", "`a`", "a```b`", "<b>", "*x*", "a\\", " a", "a ", " a ", "   ",
                           "[x](y)", "\\`"}) {
    CAPTURE(text);
    CHECK(span_of(code(text)) == text);
  }
}

// Section 6.1, its examples: "`` foo ` bar ``" and "` `` `".
TEST_CASE("backticks inside are fenced by more of them, or fewer") {
  CHECK(span_of("`` foo ` bar ``") == "foo ` bar");  // the reader of this test
  CHECK(span_of("` `` `") == "``");
  CHECK(code("foo ` bar") == "``foo ` bar``");
  CHECK(code("``") == "``` `` ```");
}

TEST_CASE("nothing is a blank in a code span, for two backticks are none") { CHECK(span_of(code("")) == " "); }

TEST_CASE("a code span stands on one line") { CHECK(code("a\nb") == "`a b`"); }

TEST_CASE("words are shown as they are") {
  for (std::string text : {"plain words, 3 of them.", "a*b*c", "_under_", "[link](address)", "<script>x</script>",
                           "a|b", "&amp;", "# no heading", "back\\slash", "`tick`", "~~struck~~", "- no list", "+ none",
                           "= none", "1. no list", "12) none", "3.5 mm", "1990", "\xc3\xa4\xc3\xb6"}) {
    CAPTURE(text);
    CHECK(unescaped(plain_text(text)) == text);
  }
  CHECK(plain_text("plain words, 3 of them.") == "plain words, 3 of them.");
  CHECK(plain_text("a\nb") == "a b");
}

TEST_CASE("no sign of words can start a tag, a span, a link, a heading or a list") {
  for (std::string_view sign : {"<", ">", "*", "_", "`", "[", "]", "|", "&", "#", "~", "\\"}) {
    CAPTURE(sign);
    CHECK(plain_text(fmt::format("a{}b", sign)) == fmt::format("a\\{}b", sign));
  }
  CHECK(plain_text("- a") == "\\- a");
  CHECK(plain_text("+ a") == "\\+ a");
  CHECK(plain_text("1. a") == "1\\. a");
  CHECK(plain_text("1.5 mm") == "1.5 mm");
}

// What a publisher writes in a note may be Markdown of one's own; what would break out of its item may not.
TEST_CASE("a note keeps its Markdown, and starts no heading, frame or tag") {
  CHECK(tame_markdown("Some *words* with `code` and a [link](https://example.org).\n") ==
        "Some *words* with `code` and a [link](https://example.org).");
  CHECK(tame_markdown("# Heading") == "\\# Heading");
  CHECK(tame_markdown("a\n  ## Heading") == "a\n  \\## Heading");
  CHECK(tame_markdown("a <b>") == "a \\<b>");
  CHECK(tame_markdown("```\ncode\n```") == "\\```\ncode\n\\```");
  CHECK(tame_markdown("~~~\ncode") == "\\~~~\ncode");
  CHECK(tame_markdown("Title\n===\nOther\n---") == "Title\n\\===\nOther\n\\---");
  CHECK(tame_markdown("a\r\nb") == "a\nb");
}

}
