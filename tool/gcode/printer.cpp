// The grammar of print firmware, from memory; what differs between machines is told by their facts.
#include <algorithm>
#include <cctype>

#include <fmt/format.h>

#include "gcode/block.h"

namespace bindery {

namespace {

bool is_letter(char c) { return std::isalpha(static_cast<unsigned char>(c)) != 0; }
bool is_digit(char c) { return std::isdigit(static_cast<unsigned char>(c)) != 0; }
bool is_blank(char c) { return c == ' ' || c == '\t' || c == '\r'; }
bool in_name(char c) { return is_letter(c) || is_digit(c) || c == '_'; }
char capital(char c) { return static_cast<char>(std::toupper(static_cast<unsigned char>(c))); }

class PrinterReader {
 public:
  PrinterReader(std::string_view line, const std::function<bool(char, int)>& takes_text)
      : line_(line), takes_text_(takes_text), end_(line.size()) {}

  ReadLine read() {
    cut_checksum();
    if (!out_.fault && has_line_number()) read_line_number();
    if (!out_.fault && skip_blanks() && starts_macro()) read_macro();
    while (!out_.fault && skip_blanks()) read_item();
    if (!out_.fault) check_line();
    return std::move(out_);
  }

 private:
  bool skip_blanks() {
    while (at_ < end_ && is_blank(line_[at_])) ++at_;
    return at_ < end_ && line_[at_] != ';';
  }

  void fault(std::size_t begin, std::size_t end, std::string message, std::string help) {
    if (!out_.fault) out_.fault = LineFault{begin, std::max(begin, end), std::move(message), std::move(help)};
  }

  // What follows `;` is a comment; on a line with a number, `*` starts a checksum, the exclusive or of all bytes
  // before.
  void cut_checksum() {
    std::size_t comment = std::min(line_.find(';'), line_.size());
    if (comment < line_.size()) out_.block.comments.emplace_back(line_.substr(comment + 1));
    end_ = comment;
    if (!has_line_number()) return;
    std::size_t star = line_.substr(0, comment).find('*');
    if (star == std::string_view::npos) return;
    std::size_t stop = star + 1, number = 0;
    while (stop < comment && is_digit(line_[stop]) && stop - star < 5)
      number = number * 10 + static_cast<std::size_t>(line_[stop++] - '0');
    bool clean = stop > star + 1 && std::all_of(line_.begin() + static_cast<std::ptrdiff_t>(stop),
                                                line_.begin() + static_cast<std::ptrdiff_t>(comment), is_blank);
    unsigned sum = 0;
    for (char c : line_.substr(0, star)) sum ^= static_cast<unsigned char>(c);
    if (!clean || number != sum)
      return fault(star, stop,
                   clean ? fmt::format("the checksum is {}, and the line's is {}", number, sum) : "this is no checksum",
                   "take the `*` and what follows out");
    end_ = star;
  }

  bool has_line_number() {
    return skip_blanks() && capital(line_[at_]) == 'N' && at_ + 1 < end_ && is_digit(line_[at_ + 1]);
  }

  void read_line_number() {
    std::size_t begin = at_++;
    long number = 0;
    while (at_ < end_ && is_digit(line_[at_]) && at_ - begin < 10) number = number * 10 + (line_[at_++] - '0');
    out_.block.line_number = number;
  }

  // A whole word: two letters or `_` at its start, so that it is no code.
  bool starts_macro() const {
    return at_ + 1 < end_ && is_letter(line_[at_]) && (is_letter(line_[at_ + 1]) || line_[at_ + 1] == '_');
  }

  void read_macro() {
    while (at_ < end_ && in_name(line_[at_])) out_.block.macro += capital(line_[at_++]);
    out_.block.macro_end = at_;
    while (!out_.fault && skip_blanks()) {
      MacroArgument argument;
      argument.begin = at_;
      while (at_ < end_ && in_name(line_[at_])) argument.key += capital(line_[at_++]);
      if (argument.key.empty() || at_ >= end_ || line_[at_] != '=')
        return fault(argument.begin, std::max(at_, argument.begin + 1), "behind a macro stand KEY=VALUE",
                     "write a key, `=` and a value without blanks");
      std::size_t value = ++at_;
      while (at_ < end_ && !is_blank(line_[at_])) ++at_;
      argument.end = at_;
      if (at_ == value) return fault(argument.begin, at_, fmt::format("'{}' has no value", argument.key), "write one");
      out_.block.arguments.push_back(std::move(argument));
    }
  }

  void read_item() {
    std::size_t begin = at_;
    if (!out_.block.macro.empty()) return;
    // Firmware that knows no brackets reads the words in them.
    if (line_[at_] == '(') return fault(begin, begin + 1, "brackets are no comment here", "start the comment with `;`");
    if (!is_letter(line_[at_]))
      return fault(begin, begin + 1, "this starts no word",
                   "a word is a letter and a number; a comment starts with `;`");
    BlockWord word;
    word.letter = capital(line_[at_++]);
    word.begin = begin;
    word.value = read_value();
    word.end = at_;
    if (out_.fault) return;
    bool touches =
        at_ < end_ && (line_[at_] == '.' || line_[at_] == '_' || static_cast<unsigned char>(line_[at_]) >= 0x80);
    if (touches) return fault(begin, at_ + 1, "this is no word of machine code", "a word is a letter and a number");
    out_.block.words.push_back(word);
    if (out_.block.words.size() > 1 || !word.value.known()) return;
    auto tenths = code_tenths(word.value.number);
    if (tenths && takes_text_(word.letter, *tenths)) at_ = end_;
  }

  // A sign, digits and at most one point, or a placeholder of the running job, or nothing.
  WordValue read_value() {
    std::size_t begin = at_;
    if (line_.substr(at_, 2) == "@{") {
      std::size_t close = line_.substr(0, end_).find('}', at_);
      if (close != std::string_view::npos) {
        at_ = close + 1;
        return {WordValue::Of::job, 0};
      }
    }
    if (at_ < end_ && (line_[at_] == '-' || line_[at_] == '+')) ++at_;
    std::size_t digits = 0;
    bool point = false;
    while (at_ < end_ && (is_digit(line_[at_]) || (line_[at_] == '.' && !point))) {
      point |= line_[at_] == '.';
      digits += is_digit(line_[at_]) ? 1 : 0;
      ++at_;
    }
    if (at_ == begin) return {WordValue::Of::absent, 0};
    std::string_view text = line_.substr(begin, at_ - begin);
    if (text.front() == '+') text.remove_prefix(1);
    auto number = digits == 0 ? std::nullopt : decimal(text);
    if (!number) {
      fault(begin, at_, fmt::format("'{}' is no number", line_.substr(begin, at_ - begin)),
            "write digits with at most one point");
      return {};
    }
    return {WordValue::Of::number, *number};
  }

  // One code stands first, and each letter once.
  void check_line() {
    const auto& words = out_.block.words;
    if (words.empty()) return;
    auto is_code = [](const BlockWord& word) { return word.letter == 'G' || word.letter == 'M' || word.letter == 'T'; };
    const BlockWord& first = words.front();
    if (!is_code(first) || !first.value.known() || !code_tenths(first.value.number))
      return fault(first.begin, first.end, "the line does not start with a code",
                   "start it with G, M or T and a number, or with the name of a macro");
    for (std::size_t i = 1; i < words.size(); ++i) {
      bool second_code = (words[i].letter == 'G' || words[i].letter == 'M') && words[i].value.known();
      if (second_code)
        return fault(words[i].begin, words[i].end, "a second code stands on the line",
                     "put it on a line of its own; firmware may drop it");
      for (std::size_t j = 1; j < i; ++j) {
        if (words[j].letter == words[i].letter)
          return fault(words[i].begin, words[i].end, fmt::format("two {} words stand on a line", words[i].letter),
                       "keep one of the two");
      }
    }
  }

  std::string_view line_;
  const std::function<bool(char, int)>& takes_text_;
  ReadLine out_;
  std::size_t at_ = 0, end_;
};

}  // namespace

ReadLine read_printer(std::string_view line, const std::function<bool(char, int)>& takes_text) {
  return PrinterReader(line, takes_text).read();
}

}  // namespace bindery
