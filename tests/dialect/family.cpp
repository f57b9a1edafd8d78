#include "dialect/family.h"

#include "family_world.h"

using namespace bindery;
using namespace bindery::test;

TEST_SUITE("dialect/family") {
  TEST_CASE("a family has a name, and a name a family") {
    for (std::size_t i = 0; i < family_count; ++i) {
      auto family = static_cast<FileFamily>(i);
      CHECK(family_named(name_of(family)) == family);
    }
    CHECK(name_of(FileFamily::yaml) == "yaml");
    CHECK(!family_named("toml"));
    CHECK(!family_named(""));
  }

  TEST_CASE("no family holds a name that is empty, endless or hides something") {
    for (FileFamily family : read_families) {
      CAPTURE(name_of(family));
      for (bool section : {false, true}) {
        CHECK(why_unfit(family, {}, "wall_speed", section) == "");
        CHECK(why_unfit(family, {}, "", section) ==
              (section ? "the name of a section is not empty" : "a key is not empty"));
        for (std::string_view name : {"a\nb", "a\tb", "a\rb", "a\x01", "a\xe2\x80\xae", "a\xff", "a\xef\xbf\xbe"})
          CHECK(why_unfit(family, {}, name, section) != "");
        CHECK(why_unfit(family, {}, std::string(200, 'a'), section) == "");
        CHECK(why_unfit(family, {}, std::string(201, 'a'), section) != "");
      }
    }
  }

  TEST_CASE("an ini key holds no sign that ends it, and starts with none that means something else") {
    auto key = [](std::string_view name, const Layout& layout = {}) {
      return why_unfit(FileFamily::ini, layout, name, false);
    };
    CHECK(key("a=b") == "an ini key holds no '='");
    CHECK(key("a:b") == "an ini key holds no ':'");
    CHECK(key("a -> b", Layout{.separator = " -> "}) == "an ini key holds no '->'");
    CHECK(key("[a") == "an ini key starts with no '['");
    CHECK(key("#a") == "an ini key starts with no '#'");
    CHECK(key(";a") == "an ini key starts with no ';'");
    CHECK(key(" a") == "an ini key starts and ends with no blank");
    CHECK(key("a ") == "an ini key starts and ends with no blank");
    CHECK(key("\xc2\xa0"
              "a") == "an ini key starts and ends with no blank");
    CHECK(key("a\xe2\x80\xa8") == "an ini key starts and ends with no blank");
    CHECK(key("a\xe2\x80\xa8"
              "b\xc3\xa9") == "");
    CHECK(key("a b[1]#;/") == "");
    CHECK(key("a b", Layout{.separator = " "}) != "");
  }

  TEST_CASE("an ini section holds no bracket and no slash, which parts it from the one within") {
    auto section = [](std::string_view name) { return why_unfit(FileFamily::ini, {}, name, true); };
    CHECK(section("a/b") == "the name of an ini section holds no '/'");
    CHECK(section("a]") == "the name of an ini section holds no ']'");
    CHECK(section("[a") == "the name of an ini section holds no '['");
    CHECK(section("a ") == "an ini section starts and ends with no blank");
    CHECK(section("#a = b: c") == "");
  }

  // XML 1.0, production Name, as far as its editions agree, from memory.
  TEST_CASE("an XML element has an XML name, unless an attribute holds the key") {
    auto key = [](std::string_view name, const Layout& layout = {}) {
      return why_unfit(FileFamily::xml, layout, name, false);
    };
    for (std::string_view name : {"a", "_a", "a-1.b", "A_"}) CHECK(key(name) == "");
    for (std::string_view name :
         {"1a", "-a", ".a", "a b", "a:b", "a<", "\xc3\xa9", "\xe2\x82\xac", "xml", "XmlA", "a/b"}) {
      CAPTURE(name);
      CHECK(key(name) != "");
      CHECK(key(name, Layout{.item = "item"}) == "");
      CHECK(why_unfit(FileFamily::xml, Layout{.item = "item"}, name, true) != "");
      CHECK(why_unfit(FileFamily::xml, Layout{.section = "group"}, name, true) == "");
    }
    CHECK(key("group", Layout{.section = "group"}) == "'group' is the element of all sections");
    CHECK(why_unfit(FileFamily::xml, Layout{.item = "item"}, "item", true) == "'item' is the element of all keys");
  }

  TEST_CASE("json, yaml and csv hold any other name") {
    for (FileFamily family : {FileFamily::json, FileFamily::yaml, FileFamily::csv}) {
      for (std::string_view name : {"a=b: c", " a ", "#", "\"", "<&>", "yes", "1"})
        CHECK(why_unfit(family, {}, name, false) == "");
    }
  }
}
