#include "base/json.h"

#include <cstdint>
#include <cstring>

#include <fmt/format.h>

#include "base/number.h"

namespace bindery {

namespace {

bool is_plain(char c) { return c != '"' && c != '\\' && static_cast<unsigned char>(c) >= 0x20; }

// How many characters stand in a text before the first that is to be escaped. Eight at a time: the sum or difference
// sets the high bit of each byte that is looked for, and of others only beyond such a one.
std::size_t count_plain(std::string_view text) {
  constexpr std::uint64_t ones = 0x0101010101010101, high = ones << 7;
  auto any_zero = [](std::uint64_t bytes) { return (bytes - ones) & ~bytes; };
  std::size_t at = 0;
  for (; at + sizeof(std::uint64_t) <= text.size(); at += sizeof(std::uint64_t)) {
    std::uint64_t bytes = 0;
    std::memcpy(&bytes, text.data() + at, sizeof bytes);
    std::uint64_t below = (bytes - ones * 0x20) & ~bytes;
    if (((below | any_zero(bytes ^ (ones * '"')) | any_zero(bytes ^ (ones * '\\'))) & high) != 0) break;
  }
  while (at < text.size() && is_plain(text[at])) ++at;
  return at;
}

}  // namespace

void append_json(std::string& out, std::string_view text) {
  out += '"';
  std::size_t plain = count_plain(text);
  out += text.substr(0, plain);
  for (char c : text.substr(plain)) {
    switch (c) {
      case '"': out += "\\\""; break;
      case '\\': out += "\\\\"; break;
      case '\n': out += "\\n"; break;
      case '\t': out += "\\t"; break;
      case '\r': out += "\\r"; break;
      default:
        if (static_cast<unsigned char>(c) < 0x20)
          out += fmt::format("\\u{:04x}", static_cast<unsigned>(static_cast<unsigned char>(c)));
        else out += c;
    }
  }
  out += '"';
}

std::string json_quoted(std::string_view text) {
  std::string out;
  out.reserve(text.size() + 2);
  append_json(out, text);
  return out;
}

void JsonWriter::line() {
  if (indent_ == 0) return;
  out_ += '\n';
  out_.append(levels_.size() * static_cast<std::size_t>(indent_), ' ');
}

void JsonWriter::next() {
  if (after_key_) {
    after_key_ = false;
    return;
  }
  if (levels_.empty()) return;
  if (levels_.back().any) out_ += ',';
  levels_.back().any = true;
  line();
}

JsonWriter& JsonWriter::open(char bracket) {
  next();
  out_ += bracket;
  levels_.push_back({bracket == '{' ? '}' : ']'});
  return *this;
}

JsonWriter& JsonWriter::close() {
  Level level = levels_.back();
  levels_.pop_back();
  if (level.any) line();
  out_ += level.close;
  return *this;
}

JsonWriter& JsonWriter::key(std::string_view name) {
  next();
  append_json(out_, name);
  out_ += indent_ == 0 ? ":" : ": ";
  after_key_ = true;
  return *this;
}

JsonWriter& JsonWriter::raw(std::string_view text) {
  next();
  out_ += text;
  return *this;
}

JsonWriter& JsonWriter::text(std::string_view value) {
  next();
  append_json(out_, value);
  return *this;
}

JsonWriter& JsonWriter::number(double value) {
  next();
  append_number(out_, value);
  return *this;
}

std::string JsonWriter::finish() {
  out_ += '\n';
  return std::move(out_);
}

void value_json(const Value& value, JsonWriter& json) {
  switch (value.tag()) {
    case Value::Tag::number: json.number(value.number()); break;
    case Value::Tag::flag: json.flag(value.flag()); break;
    case Value::Tag::word: json.text(value.word()); break;
    case Value::Tag::list:
      json.open_list();
      for (const Value& item : value.items()) value_json(item, json);
      json.close();
      break;
    default: json.null();
  }
}

}  // namespace bindery
