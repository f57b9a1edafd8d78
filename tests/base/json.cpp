#include "base/json.h"

#include <nlohmann/json.hpp>

#include "../support.h"

using namespace bindery;
using Json = nlohmann::json;

TEST_SUITE("report/json") {

TEST_CASE("objects and lists are written in the order of the calls") {
  JsonWriter json;
  json.open_object().field("b", "x").key("a").open_list().whole(1).flag(true).null().close().key("c").open_object().close().close();
  CHECK(json.finish() == "{\n \"b\": \"x\",\n \"a\": [\n  1,\n  true,\n  null\n ],\n \"c\": {}\n}\n");
}

TEST_CASE("without indentation all stands on one line") {
  JsonWriter json(0);
  json.open_list().text("a").open_object().key("k").number(1.5).close().open_list().close().close();
  CHECK(json.finish() == "[\"a\",{\"k\":1.5},[]]\n");
}

// The language: numbers are written "without exponent or `-0`".
TEST_CASE("numbers are written as the language writes them") {
  JsonWriter json(0);
  json.open_list().number(1e21).number(-0.0).number(0.1 + 0.2).number(1e-9).whole(-9007199254740993LL).close();
  CHECK(json.finish() == "[1000000000000000000000,0,0.3,0,-9007199254740993]\n");
}

TEST_CASE("a field that is empty is an empty text, or null where that is asked for") {
  JsonWriter json(0);
  json.open_object().field("a", "").field_or_null("b", "").field_or_null("c", "x").close();
  CHECK(json.finish() == "{\"a\":\"\",\"b\":null,\"c\":\"x\"}\n");
}

// RFC 8259, section 7, by nlohmann-json, a reader of its own.
TEST_CASE("any text is quoted so that another reader gives it back") {
  using namespace std::literals;
  for (std::string text : {"plain"s, "\"quoted\" \\ back"s, "tab\tline\nreturn\r"s, "\x01\x1f"s, "zero\0byte"s, "\xc2\xb0" "C \xf0\x9f\x99\x82"s, "/slash/"s, ""s}) {
    CAPTURE(text);
    CHECK(Json::parse(json_quoted(text)).get<std::string>() == text);
  }
  CHECK(json_quoted("\xc2\xb0" "C") == "\"\xc2\xb0" "C\"");  // UTF-8 as it is
  CHECK(json_quoted("a\x02") == "\"a\\u0002\"");
  // Wherever in a text it stands, beside whatever.
  for (int byte = 0; byte < 128; ++byte) {
    for (std::size_t at = 0; at < 20; ++at) {
      std::string text = std::string(at, 'p') + static_cast<char>(byte) + "\xc3\x9f\x7f\xc2\x80 words";
      CAPTURE(byte);
      CAPTURE(at);
      CHECK(Json::parse(json_quoted(text)).get<std::string>() == text);
    }
  }
}

TEST_CASE("what was written can be handed over, and the text goes on") {
  JsonWriter json;
  json.open_object().key("a").open_list().whole(1);
  std::string first = json.hand_over("");
  CHECK(json.size() == 0);
  json.whole(2).close();
  std::string second = json.hand_over("");
  json.close();
  CHECK(first + second + json.finish() == "{\n \"a\": [\n  1,\n  2\n ]\n}\n");
}

}
