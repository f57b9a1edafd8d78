#include "base/words.h"

#include <chrono>

#include "../support.h"

using namespace bindery;

TEST_SUITE("base/words") {

TEST_CASE("a star in a glob stands for any run of characters, an empty one too") {
  CHECK(glob_match("*", ""));
  CHECK(glob_match("*", "heron-220+0.4"));
  CHECK(glob_match("pla-*", "pla-"));
  CHECK(glob_match("pla-*", "pla-plain"));
  CHECK_FALSE(glob_match("pla-*", "pla"));
  CHECK(glob_match("*+0.4", "heron-220+0.4"));
  CHECK_FALSE(glob_match("*+0.4", "heron-220+0.40"));
  CHECK(glob_match("a*b*c", "a-b-b-c"));
  CHECK_FALSE(glob_match("a*b*c", "a-c-b"));
  CHECK(glob_match("**", "x"));
}

TEST_CASE("nothing but the star is special in a glob") {
  CHECK_FALSE(glob_match("a?c", "abc"));
  CHECK_FALSE(glob_match("a.c", "abc"));
  CHECK_FALSE(glob_match("[ab]", "a"));
  CHECK_FALSE(glob_match("!a", "b"));
  CHECK(glob_match("a?c", "a?c"));
  CHECK_FALSE(glob_match("", "a"));
  CHECK(glob_match("", ""));
}

TEST_CASE("a glob of many stars is matched in time") {
  std::string pattern, text(20000, 'a');
  for (int i = 0; i < 100; ++i) pattern += "a*";
  pattern += "b";
  auto start = std::chrono::steady_clock::now();
  CHECK_FALSE(glob_match(pattern, text));
  CHECK(glob_match(pattern, text + "b"));
  // A matcher that tries every way would take longer than the universe is old.
  CHECK(std::chrono::steady_clock::now() - start < std::chrono::seconds(5));
}

TEST_CASE("the nearest word is the one with the fewest slips of the hand") {
  CHECK(nearest("wall.outter.speed", {"wall.inner.speed", "wall.outer.speed", "wall.outer.width"}) == "wall.outer.speed");
  CHECK(nearest("speeed", {"speech", "speed"}) == "speed");
  CHECK(nearest("hieght", {"weight", "height"}) == "height");
}

TEST_CASE("a swap of neighbours is one slip") {
  // A word of five letters bears one slip: two replaced letters would be too many.
  CHECK(nearest("lyaer", {"layer"}) == "layer");
  CHECK(nearest("lxxer", {"layer"}).empty());
}

TEST_CASE("a word that resembles none has no nearest word") {
  CHECK(nearest("temperature", {"layer", "nozzle", "speed"}).empty());
  CHECK(nearest("", {"a", "b"}).empty());
  CHECK(nearest("speed", {}).empty());
  CHECK(nearest(std::string(5000, 'a'), {"a"}).empty());
}

TEST_CASE("of two words as near as each other the first by letters is the nearest") {
  CHECK(nearest("set", {"sex", "sea"}) == "sea");
  CHECK(nearest("set", {"sea", "sex"}) == "sea");
}

TEST_CASE("words are joined with commas and a last word between the last two") {
  CHECK(join_words({}) == "");
  CHECK(join_words({"a"}) == "a");
  CHECK(join_words({"a", "b"}) == "a and b");
  CHECK(join_words({"a", "b", "c"}, "or") == "a, b or c");
}

TEST_CASE("things are counted in the singular and the plural") {
  CHECK(counted(0, "profile") == "0 profiles");
  CHECK(counted(1, "profile") == "1 profile");
  CHECK(counted(3, "profile") == "3 profiles");
  CHECK(counted(2, "body", "bodies") == "2 bodies");
}

// The tree: "A name matches `[a-z0-9][a-z0-9.-]*`".
TEST_CASE("a name is of small letters, digits, points and hyphens") {
  for (std::string_view name : {"heron-220", "0.4", "a", "pla-plain", "a..b"}) CHECK_MESSAGE(is_name(name), name);
  for (std::string_view name : {"", "-a", ".a", "A", "a_b", "a b", "a+b", "a/b", "\xc3\xa4"}) CHECK_FALSE_MESSAGE(is_name(name), name);
}

TEST_CASE("a key is of segments joined by dots") {
  for (std::string_view key : {"wall.outer.speed", "a.b2", "a.b_c"}) CHECK_MESSAGE(is_key(key), key);
  for (std::string_view key : {"", ".", "a.", ".a", "a..b", "A.b", "a.2b", "a-b", "a b", "a._b"}) CHECK_FALSE_MESSAGE(is_key(key), key);
}

}
