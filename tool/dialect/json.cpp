// json: objects are sections, lists of scalars are lists. A list that holds anything else is a section too, whose keys
// and sections are numbers from 1 on.
#include "base/json.h"

#include <iterator>
#include <unordered_map>

#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "dialect/families.h"

namespace bindery {

namespace {

using Json = nlohmann::json;

// Goes through a text and tells how far it came, whichever copy of it moves.
struct Counting {
  using iterator_category = std::input_iterator_tag;
  using value_type = char;
  using difference_type = std::ptrdiff_t;
  using pointer = const char*;
  using reference = const char&;

  const char* at;
  const char** reached;

  reference operator*() const { return *at; }
  Counting& operator++() {
    *reached = ++at;
    return *this;
  }
  Counting operator++(int) {
    Counting before = *this;
    ++*this;
    return before;
  }
  bool operator==(const Counting& other) const { return at == other.at; }
  bool operator!=(const Counting& other) const { return at != other.at; }
};

bool is_number_letter(char c) { return std::string_view("+-.0123456789eE").find(c) != std::string_view::npos; }

class JsonReader : public nlohmann::json_sax<Json> {
 public:
  JsonReader(std::string_view text, Gathering& to) : text_(text), to_(to), reached_(text.data()) {}

  void read() {
    Json::sax_parse(Counting{text_.data(), &reached_}, Counting{text_.data() + text_.size(), &reached_}, this);
  }

  bool null() override { return scalar({"null", true}, token()); }
  bool boolean(bool value) override { return scalar({value ? "true" : "false", true}, token()); }
  // Numbers are kept as they are written.
  bool number_integer(number_integer_t) override { return number(); }
  bool number_unsigned(number_unsigned_t) override { return number(); }
  bool number_float(number_float_t, const string_t&) override { return number(); }
  bool string(string_t& text) override { return scalar({std::move(text), false}, token()); }
  bool binary(binary_t&) override { return false; }  // JSON has none

  bool key(string_t& name) override {
    key_place_ = token();
    key_ = std::move(name);
    // Without a sound name there is no section to go on in.
    return to_.sound_name(key_, key_place_) && to_.claim(levels_.back().section, key_, key_place_);
  }

  bool start_object(std::size_t) override { return open(false, token()); }
  bool end_object() override {
    token();
    levels_.pop_back();
    return true;
  }
  bool start_array(std::size_t) override { return open(true, token()); }
  bool end_array() override {
    Span end = token();
    if (levels_.back().plain) to_.last().span.end = end.end;
    levels_.pop_back();
    return !to_.stopped();
  }

  bool parse_error(std::size_t, const std::string&, const nlohmann::detail::exception& error) override {
    Span place = token();
    if (place.begin >= text_.size()) {
      std::size_t last = text_.find_last_not_of(" \t\r\n");
      std::size_t at = last == std::string_view::npos ? 0 : last;
      to_.report(Code::program_file, to_.span(at, std::min(at + 1, text_.size())),
                 "the file ends in the midst of its JSON")
          .with_help("it was cut off; take it anew from the program");
      return false;
    }
    // Of a number that JSON has not, what makes it none was read too.
    while (place.end > place.begin + 1 && is_number_letter(text_[place.begin]) &&
           !is_number_letter(text_[place.end - 1]))
      --place.end;
    std::string_view reason = error.what();
    if (std::size_t at = reason.find(" - "); at != std::string_view::npos) reason.remove_prefix(at + 3);
    else if (at = reason.find("] "); at != std::string_view::npos) reason.remove_prefix(at + 2);
    reason = reason.substr(0, reason.find("; last read"));
    to_.report(Code::program_file, place, fmt::format("this is no JSON: {}", reason))
        .with_help("take the file anew from the program, or mend it here");
    return false;
  }

 private:
  struct Level {
    Gathering::Section section = Gathering::top;  // of a plain list: the one that it stands in
    bool list = false;
    bool plain = false;  // a list of scalars so far: the last entry
    std::string key;     // of a list
    Span key_place;
    std::size_t items = 0;
  };

  // The token that was read last: what follows the one before, and signs between. A `number` shows in the byte behind
  // it, which was read too unless the text ends there.
  Span token(bool number = false) {
    std::size_t end = static_cast<std::size_t>(reached_ - text_.data());
    std::size_t begin = std::min(text_.find_first_not_of(" \t\r\n,:", end_), text_.size());
    if (number && (end < text_.size() || !is_number_letter(text_[end - 1]))) --end;
    end_ = std::max(begin, end);
    return to_.span(begin, end_);
  }

  bool number() {
    Span place = token(true);
    return scalar({std::string(text_.substr(place.begin, place.end - place.begin)), true}, place);
  }

  bool scalar(Scalar value, Span place) {
    if (levels_.empty()) return no_object(place);
    Level& level = levels_.back();
    if (!level.list) return to_.add(level.section, key_, std::move(value), place);
    ++level.items;
    if (level.plain) to_.value(std::move(value), place);
    else to_.add(level.section, std::to_string(level.items), std::move(value), place);
    return !to_.stopped();
  }

  bool open(bool list, Span place) {
    if (levels_.empty() && list) return no_object(place);
    Level next;
    next.list = next.plain = list;
    next.key_place = place;
    if (!levels_.empty()) {
      if (levels_.back().plain && !make_section(levels_.back())) return false;
      Level& level = levels_.back();
      next.key = level.list ? std::to_string(++level.items) : key_;
      if (!level.list) next.key_place = key_place_;
      next.section = level.section;
      if (list) {
        if (!to_.start(level.section, next.key, true, place)) return false;
      } else {
        auto section = to_.create(level.section, next.key, next.key_place);
        if (!section) return false;
        next.section = *section;
      }
    }
    levels_.push_back(std::move(next));
    return true;
  }

  // A list that holds more than scalars: those that it had become entries of its section.
  bool make_section(Level& level) {
    Entry entry = to_.take_back();
    auto section = to_.create(level.section, level.key, level.key_place);
    if (!section) return false;
    level.section = *section;
    level.plain = false;
    std::size_t number = 0;
    for (Scalar& value : entry.values) {
      if (!to_.add(level.section, std::to_string(++number), std::move(value), entry.span)) return false;
    }
    return true;
  }

  bool no_object(Span place) {
    to_.report(Code::program_file, to_.span(place.begin, std::min<std::size_t>(place.begin + 1, place.end)),
               "the file holds no JSON object")
        .with_help("a file of the dialect is `{ ... }` as a whole");
    return false;
  }

  std::string_view text_;
  Gathering& to_;
  const char* reached_;
  std::size_t end_ = 0;  // of the token before
  std::vector<Level> levels_;
  std::string key_;
  Span key_place_;
};

// Is it a number, a flag or null of JSON, which a reader takes as it is?
bool is_json_word(std::string_view text) {
  if (text.empty() || std::string_view("-0123456789tfn").find(text[0]) == std::string_view::npos) return false;
  return text.find_first_of(" \t\r\n") == std::string_view::npos && Json::accept(text);
}

void write_scalar(const Scalar& scalar, JsonWriter& json) {
  if (scalar.bare && is_json_word(scalar.text)) json.ready(scalar.text);
  else json.text(scalar.text);
}

void write_branch(const Branches& tree, std::size_t at, JsonWriter& json) {
  json.open_object();
  for (const Branches::Item& item : tree.branches[at].items) {
    if (item.entry == nullptr) {
      json.key(tree.branches[item.branch].name);
      write_branch(tree, item.branch, json);
    } else if (item.entry->list) {
      json.key(item.entry->key).open_list();
      for (const Scalar& scalar : item.entry->values) write_scalar(scalar, json);
      json.close();
    } else {
      write_scalar(item.entry->values.front(), json.key(item.entry->key));
    }
  }
  json.close();
}

}  // namespace

std::string write_json(const Layout& layout, const FileContent& content) {
  JsonWriter json(layout.indent);
  write_branch(Branches(content, true), 0, json);
  return json.finish();
}

void read_json(const SourceFile& file, Gathering& to) { JsonReader(file.text, to).read(); }

void recognise_json(std::string_view text, Layout& layout) {
  std::size_t open = text.find_first_of("{[");
  if (open == std::string_view::npos) return;
  std::size_t next = text.find_first_not_of(" \r\n\t", open + 1);
  std::size_t line = text.substr(0, next).rfind('\n');
  if (line == std::string_view::npos || line < open) layout.indent = 0;
  else if (next != std::string_view::npos && next > line + 1)
    layout.indent = static_cast<int>(std::min<std::size_t>(next - line - 1, 8));
}

}  // namespace bindery
