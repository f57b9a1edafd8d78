// csv as RFC 4180 has it: the first record names the columns, each further one that holds anything is a section by its
// number among these. The reader is an own one because it must tell an empty field (no entry) from a quoted one (an
// empty text), and where each stands.
#include <algorithm>
#include <map>
#include <unordered_map>

#include <fmt/format.h>

#include "dialect/families.h"

namespace bindery {

namespace {

struct Field {
  std::string text;
  bool quoted = false;
  std::size_t begin = 0, end = 0;
};

bool holds_anything(const Field& field) { return field.quoted || !field.text.empty(); }

class CsvReader {
 public:
  CsvReader(char delimiter, std::string_view text, Gathering& to) : delimiter_(delimiter), text_(text), to_(to) {}

  void read() {
    if (!record(most_entries) || !heads()) return;
    std::size_t number = 0;
    while (!to_.stopped() && record(heads_.size())) {
      if (count_ != heads_.size()) {
        to_.report(Code::program_file, to_.span(begin_, end_),
                   fmt::format("this record has {} fields, and the first one names {} columns", count_, heads_.size()))
            .with_help(fmt::format("give each record as many fields, with '{}' between", shown()));
        continue;
      }
      if (std::none_of(fields_.begin(), fields_.end(), holds_anything)) continue;
      auto section = to_.create(Gathering::top, std::to_string(++number), to_.span(begin_, end_));
      if (!section) return;
      for (std::size_t i = 0; i < heads_.size() && !to_.stopped(); ++i) {
        Field& field = fields_[i];
        if (holds_anything(field))
          to_.add(*section, heads_[i], {std::move(field.text), false}, to_.span(field.begin, field.end));
      }
    }
  }

 private:
  std::string shown() const { return delimiter_ == '\t' ? "a tab" : std::string(1, delimiter_); }

  bool heads() {
    if (count_ > fields_.size()) {
      to_.give_up(to_.span(begin_, begin_), fmt::format("there are more than {} columns", most_entries),
                  "check that the file is one of the program's");
      return false;
    }
    bool sound = true;
    for (Field& field : fields_) {
      Span place = to_.span(field.begin, field.end == field.begin ? std::min(field.end + 1, text_.size()) : field.end);
      if (to_.stopped() || !to_.sound_name(field.text, place) || !to_.claim(Gathering::top, field.text, place))
        sound = false;
      heads_.push_back(std::move(field.text));
    }
    return sound;
  }

  bool at_break() const { return text_[at_] == '\n' || text_.substr(at_, 2) == "\r\n"; }
  void pass_break() { at_ += text_[at_] == '\r' ? 2 : 1; }

  // Reads the next record that is no blank line: `count_` fields, of which `fields_` holds the first `most`. False at
  // the end of the text, or after a report of what ends the reading.
  bool record(std::size_t most) {
    while (at_ < text_.size() && at_break()) pass_break();
    if (at_ >= text_.size()) return false;
    fields_.clear();
    count_ = 0;
    begin_ = at_;
    for (;;) {
      Field field;
      field.begin = at_;
      if (at_ < text_.size() && text_[at_] == '"') {
        if (!read_quoted(field)) return false;
      } else {
        while (at_ < text_.size() && text_[at_] != delimiter_ && !at_break()) ++at_;
        field.text = text_.substr(field.begin, at_ - field.begin);
      }
      field.end = at_;
      if (count_++ < most) fields_.push_back(std::move(field));
      bool more = at_ < text_.size() && text_[at_] == delimiter_;
      if (!more) break;
      ++at_;
    }
    end_ = at_;
    if (at_ < text_.size()) pass_break();
    return true;
  }

  bool read_quoted(Field& field) {
    field.quoted = true;
    for (++at_; at_ < text_.size(); ++at_) {
      if (text_[at_] == '"') {
        ++at_;
        if (at_ >= text_.size() || text_[at_] == delimiter_ || at_break()) return true;
        if (text_[at_] != '"') {
          to_.report(Code::program_file, to_.span(at_, at_ + 1), "this follows a closing quote")
              .with_help("double a quote within a quoted field");
          return false;
        }
      }
      if (text_[at_] != '\r') field.text += text_[at_];
    }
    to_.report(Code::program_file, to_.span(field.begin, field.begin + 1), "this quote is never closed")
        .with_help("close it, or take the file anew from the program if it was cut off");
    return false;
  }

  char delimiter_;
  std::string_view text_;
  Gathering& to_;
  std::vector<std::string> heads_;
  std::size_t at_ = 0, begin_ = 0, end_ = 0, count_ = 0;
  std::vector<Field> fields_;
};

std::string written(std::string_view text, char delimiter) {
  bool plain = !text.empty() && text.find_first_of("\"\n\r") == std::string_view::npos &&
               text.find(delimiter) == std::string_view::npos && trimmed(text) == text;
  if (plain) return std::string(text);
  std::string out = "\"";
  for (char c : text) {
    if (c == '"') out += c;
    out += c;
  }
  return out += '"';
}

}  // namespace

std::string write_csv(const Layout& layout, const FileContent& content) {
  std::vector<std::string_view> heads;
  std::unordered_map<std::string_view, std::size_t> column;
  for (const Entry& entry : content.entries) {
    if (column.emplace(entry.key, heads.size()).second) heads.push_back(entry.key);
  }
  std::string out;
  for (std::string_view head : heads) {
    if (!out.empty()) out += layout.delimiter;
    out += written(head, layout.delimiter);
  }
  out += '\n';
  for (const auto& entries : by_section(content, 1)) {
    std::map<std::size_t, std::string_view> fields;
    for (const Entry* entry : entries) {
      fields.emplace(column.at(entry->key), entry->values.front().text);
    }
    std::size_t at = 0;
    for (const auto& [index, text] : fields) {
      out.append(index - at, layout.delimiter);
      out += written(text, layout.delimiter);
      at = index;
    }
    out.append(heads.size() - 1 - at, layout.delimiter);
    out += '\n';
  }
  return out;
}

void read_csv(const Layout& layout, const SourceFile& file, Gathering& to) {
  CsvReader(layout.delimiter, file.text, to).read();
}

std::optional<char> likely_delimiter(std::string_view text) {
  constexpr std::size_t looked_at = 100;  // records
  constexpr std::string_view candidates = ",;\t";
  std::size_t first[3] = {}, now[3] = {}, records = 0;
  bool constant[3] = {true, true, true}, inside = false, blank = true;
  auto end_record = [&] {
    if (blank) return;
    for (std::size_t i = 0; i < candidates.size(); ++i) {
      if (records == 0) first[i] = now[i];
      else if (now[i] != first[i]) constant[i] = false;
      now[i] = 0;
    }
    ++records;
    blank = true;
  };
  for (std::size_t at = 0; at < text.size() && records < looked_at; ++at) {
    char c = text[at];
    if (c == '"') inside = !inside;
    if (inside) blank = false;
    else if (c == '\n') end_record();
    else if (c != '\r') {
      blank = false;
      std::size_t which = candidates.find(c);
      if (which != std::string_view::npos) ++now[which];
    }
  }
  end_record();
  std::optional<std::size_t> best;
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    if (constant[i] && first[i] > 0 && (!best || first[i] > first[*best])) best = i;
  }
  if (!best) return std::nullopt;
  return candidates[*best];
}

void recognise_csv(std::string_view text, Layout& layout) {
  layout.delimiter = likely_delimiter(text).value_or(layout.delimiter);
}

}  // namespace bindery
