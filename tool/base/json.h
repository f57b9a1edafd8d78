// A writer of JSON texts: in order, numbers as the language writes them (no exponent), UTF-8 as it is.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/value.h"

namespace bindery {

class JsonWriter {
 public:
  // `indent` blanks a level; with 0 everything stands on one line.
  explicit JsonWriter(int indent = 1) : indent_(indent) {}

  JsonWriter& open_object() { return open('{'); }
  JsonWriter& open_list() { return open('['); }
  JsonWriter& close();
  JsonWriter& key(std::string_view name);
  JsonWriter& text(std::string_view value);
  JsonWriter& number(double value);
  JsonWriter& whole(long long value) { return raw(std::to_string(value)); }
  JsonWriter& flag(bool value) { return raw(value ? "true" : "false"); }
  JsonWriter& null() { return raw("null"); }
  // A text that is JSON already.
  JsonWriter& ready(std::string_view json) { return raw(json); }
  // A key and its text, which is null where it is empty.
  JsonWriter& field(std::string_view name, std::string_view value) { return key(name).text(value); }
  JsonWriter& field_or_null(std::string_view name, std::string_view value) {
    return value.empty() ? key(name).null() : field(name, value);
  }

  // The finished text, with a line break at its end.
  std::string finish();

  // What is written so far, of which no more is held: the text goes on in `empty`.
  std::string hand_over(std::string empty) { return std::exchange(out_, std::move(empty)); }
  std::size_t size() const { return out_.size(); }

 private:
  struct Level {
    char close;
    bool any = false;
  };
  JsonWriter& open(char bracket);
  JsonWriter& raw(std::string_view text);
  void next();
  void line();

  int indent_;
  bool after_key_ = false;
  std::vector<Level> levels_;
  std::string out_;
};

// A value: numbers and flags bare, words as texts, null where it is unset.
void value_json(const Value& value, JsonWriter& json);

// The text as a JSON string, with its quotes.
std::string json_quoted(std::string_view text);
void append_json(std::string& out, std::string_view text);

}  // namespace bindery
