#include "syntax/plain.h"

#include <algorithm>
#include <cstdint>
#include <cstring>

#include "syntax/limits.h"

namespace bindery {

namespace {

constexpr std::size_t deepest_plain = 24;  // below the language's own limit, which is reported elsewhere

bool is_word_letter(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_';
}

// A letter that a plain scalar may start with in any place, whatever follows it.
bool starts_plain(char c) {
  bool is_ascii = static_cast<unsigned char>(c) < 0x80;
  return is_word_letter(c) || c == '.' || c == '/' || c == '(' || c == '+' || c == '$' || !is_ascii;
}

bool is_null(std::string_view word) { return word.size() == 4 && (word == "null" || word == "Null" || word == "NULL"); }

class PlainReader {
 public:
  PlainReader(FileId id, std::string_view text, Document& tape) : id_(id), text_(text), tape_(tape) {}

  bool read() {
    // A return or a tab may be fine where it stands, but each needs rules of its own.
    if (std::memchr(text_.data(), '\r', text_.size()) || std::memchr(text_.data(), '\t', text_.size())) return false;
    if (!find_line(0) || indent_ != 0 || !starts_key(text_[at_])) return false;
    return read_block_mapping() && at_ == text_.size();
  }

 private:
  // --- Lines: `at_` is where reading goes on, `indent_` its column where a line's content starts ---

  char here() const { return at_ < text_.size() ? text_[at_] : '\n'; }
  char after() const { return at_ + 1 < text_.size() ? text_[at_ + 1] : '\n'; }
  bool at_end() const { return at_ == text_.size(); }

  void skip_blanks() {
    while (here() == ' ') ++at_;
  }

  // Goes to the content of the first line from `start` on that has any; false at the end of the text.
  bool find_line(std::size_t start) {
    for (line_ = at_ = start; !at_end(); line_ = at_) {
      skip_blanks();
      if (at_end()) break;
      if (here() != '\n' && here() != '#') {
        indent_ = at_ - line_;
        return true;
      }
      at_ = std::min(text_.find('\n', at_), text_.size() - 1) + 1;
    }
    return false;
  }

  // Leaves a line that holds at most a comment from here on; false where it holds more.
  bool finish_line() {
    skip_blanks();
    if (here() == '#' && text_[at_ - 1] == ' ') at_ = std::min(text_.find('\n', at_), text_.size());
    if (here() != '\n') return false;
    find_line(std::min(at_ + 1, text_.size()));
    return true;
  }

  bool is_item() const { return here() == '-' && after() == ' '; }

  // --- Nodes ---

  std::uint32_t open(NodeKind kind) {
    auto index = static_cast<std::uint32_t>(tape_.nodes.size());
    auto begin = static_cast<std::uint32_t>(at_);
    tape_.nodes.push_back({kind, index + 1, Text{{}, {id_, begin, begin + 1}}});
    ++depth_;
    return index;
  }

  // Ends a collection; false where one key stands twice in it.
  bool close(std::uint32_t index) {
    --depth_;
    tape_.nodes[index].next = static_cast<std::uint32_t>(tape_.nodes.size());
    return tape_.nodes[index].kind == NodeKind::list || differ(index);
  }

  bool differ(std::uint32_t mapping) {
    keys_.clear();
    std::uint32_t end = tape_.nodes[mapping].next;
    for (std::uint32_t key = mapping + 1; key < end; key = tape_.nodes[key + 1].next)
      keys_.push_back(tape_.nodes[key].text.text);
    std::sort(keys_.begin(), keys_.end());
    return std::adjacent_find(keys_.begin(), keys_.end()) == keys_.end();
  }

  void add_scalar(std::size_t begin, std::size_t end, bool quoted) {
    Text text;
    text.quoted = quoted;
    text.exact = true;
    std::size_t quote = quoted ? 1 : 0;
    text.inner = static_cast<std::uint32_t>(begin + quote);
    text.span = {id_, static_cast<std::uint32_t>(begin), static_cast<std::uint32_t>(end)};
    text.text = text_.substr(begin + quote, end - begin - 2 * quote);
    tape_.nodes.push_back({NodeKind::scalar, static_cast<std::uint32_t>(tape_.nodes.size()) + 1, text});
  }

  // A scalar whose text is not as it stands in the file.
  void add_owned(std::size_t begin, std::size_t end, std::string made) {
    Text text;
    text.inner = static_cast<std::uint32_t>(begin);
    text.span = {id_, text.inner, static_cast<std::uint32_t>(end)};
    text.text = tape_.owned.emplace_back(std::move(made));
    tape_.nodes.push_back({NodeKind::scalar, static_cast<std::uint32_t>(tape_.nodes.size()) + 1, text});
  }

  // --- Scalars ---

  static bool is_quote(char c) { return c == '"' || c == '\''; }
  static bool starts_key(char c) { return is_word_letter(c) || is_quote(c); }

  // A text in quotes on one line whose bytes stand for themselves.
  bool read_quoted() {
    std::size_t begin = at_;
    char quote = here();
    for (++at_; here() != quote; ++at_) {
      if (here() == '\n' || here() == '\\') return false;
    }
    ++at_;
    if (here() == quote) return false;  // a doubled quote goes on
    add_scalar(begin, at_, true);
    return true;
  }

  // A word in quotes or of letters, digits, `_ . - + /`, and the colon and blank behind it.
  bool read_key() {
    std::size_t begin = at_;
    if (is_quote(here())) {
      if (!read_quoted() || at_ - begin == 2) return false;
    } else {
      if (!is_word_letter(here())) return false;
      while (is_word_letter(here()) || here() == '.' || here() == '-' || here() == '+' || here() == '/') ++at_;
      if (is_null(text_.substr(begin, at_ - begin))) return false;
      add_scalar(begin, at_, false);
    }
    if (at_ - begin > most::key_letters || here() != ':') return false;
    ++at_;
    return here() == ' ' || here() == '\n';
  }

  // Goes behind the letters of a plain scalar in this line. In a flow collection, what has a meaning there ends it or
  // is left to yaml-cpp. Gives where its last letter ends, 0 where it is left.
  std::size_t skip_word(bool in_flow) {
    for (;; ++at_) {
      char c = here();
      if (c == '\n') break;
      if (c == '#' && text_[at_ - 1] == ' ') break;
      if (c == ':' && (after() == ' ' || after() == '\n')) return 0;
      if (!in_flow) continue;
      if (c == ',' || c == ']' || c == '}') break;
      if (c == '[' || c == '{' || c == '?' || c == ':') return 0;
    }
    std::size_t end = at_;
    while (text_[end - 1] == ' ') --end;
    return end;
  }

  bool is_word_here() const {
    bool is_minus = here() == '-' && (is_word_letter(after()) || after() == '.');
    return starts_plain(here()) || is_minus;
  }

  // A plain scalar in a flow collection: of one line.
  bool read_flow_word() {
    std::size_t begin = at_;
    std::size_t end = is_word_here() ? skip_word(true) : 0;
    if (end == 0 || is_null(text_.substr(begin, end - begin))) return false;
    add_scalar(begin, end, false);
    return true;
  }

  // A plain scalar below the key at column `indent`. Lines that are indented further belong to it, each joined with a
  // blank.
  bool read_words(std::size_t indent) {
    std::size_t begin = at_;
    std::size_t first_end = is_word_here() ? skip_word(false) : 0;
    if (first_end == 0 || is_null(text_.substr(begin, first_end - begin))) return false;
    if (!goes_on(indent)) {
      add_scalar(begin, first_end, false);
      return true;
    }
    std::string joined(text_.substr(begin, first_end - begin));
    std::size_t end = first_end;
    while (goes_on(indent)) {
      if (end != at_) return false;
      at_ = text_.find_first_not_of(' ', at_ + 1);
      std::size_t start = at_;
      end = is_word_letter(here()) || here() == '(' ? skip_word(false) : 0;
      if (end == 0) return false;
      joined += ' ';
      joined += text_.substr(start, end - start);
    }
    add_owned(begin, first_end, std::move(joined));
    return true;
  }

  // Does the line end here, and the next hold more of a plain scalar?
  bool goes_on(std::size_t indent) const {
    if (here() != '\n' || at_end()) return false;
    std::size_t content = text_.find_first_not_of(' ', at_ + 1);
    if (content == std::string_view::npos || text_[content] == '\n' || text_[content] == '#') return false;
    return content - at_ - 1 > indent;
  }

  // A block scalar below the key at column `indent`: `|` or `>`, `-` where no line end closes it, and the lines that
  // are indented further. Empty lines may stand within a literal one. It ends with its last line that is not empty.
  bool read_block_scalar(std::size_t indent) {
    std::size_t begin = at_;
    bool folds = here() == '>', strips = after() == '-';
    std::size_t header_end = begin + (strips ? 2 : 1);
    std::size_t at = header_end + 1;
    if (at >= text_.size() || text_[header_end] != '\n') return false;
    std::size_t content = text_.find_first_not_of(' ', at);
    if (content == std::string_view::npos || text_[content] == '\n' || content - at <= indent) return false;
    std::size_t depth = content - at;
    std::string lines;
    std::size_t kept = 0;
    while (at < text_.size()) {
      std::size_t end = text_.find('\n', at);
      if (end == std::string_view::npos) return false;
      content = std::min(text_.find_first_not_of(' ', at), end);
      if (content == end && content > at) return false;  // blanks alone
      if (content < end && content - at < depth) break;
      if (content < end) {
        // What is indented further, lies behind an empty line or ends with a blank is not simply folded.
        if (folds && (content - at > depth || kept < lines.size() || text_[end - 1] == ' ')) return false;
        lines.append(text_, at + depth, end - at - depth);
        lines += folds ? ' ' : '\n';
        kept = lines.size();
      } else {
        lines += '\n';
      }
      at = end + 1;
    }
    lines.resize(kept - 1);
    if (!strips) lines += '\n';
    add_owned(begin, header_end, std::move(lines));
    Text& text = tape_.nodes.back().text;
    text.quoted = true;
    text.block = !folds;
    find_line(at);
    return at_end() || indent_ <= indent;
  }

  // --- Flow collections ---

  // Goes to the next token; lines may end before it, but none may start without a blank.
  bool skip_to_token() {
    while (here() == ' ' || here() == '\n') {
      bool line_ends = here() == '\n';
      if (at_end()) return false;
      ++at_;
      if (line_ends && here() != ' ') return false;
    }
    return here() != '#';
  }

  bool read_flow_value() {
    if (here() == '{' || here() == '[') return read_flow();
    if (is_quote(here())) return read_quoted();
    return read_flow_word();
  }

  bool read_flow() {
    bool mapping = here() == '{';
    char closing = mapping ? '}' : ']';
    if (depth_ >= deepest_plain) return false;
    std::uint32_t node = open(mapping ? NodeKind::mapping : NodeKind::list);
    ++at_;
    if (!skip_to_token()) return false;
    while (here() != closing) {
      if (mapping) {
        if (!read_key() || here() != ' ') return false;
        skip_blanks();
      }
      if (!read_flow_value()) return false;
      skip_blanks();
      if (here() == closing) break;
      if (here() != ',') return false;
      ++at_;
      if (!skip_to_token() || here() == closing) return false;
    }
    ++at_;
    return close(node);
  }

  // --- Blocks ---

  // The value behind a key's colon or an item's dash at column `indent`, to the end of its last line.
  bool read_inline_value(std::size_t indent) {
    if (here() == '|' || here() == '>') return read_block_scalar(indent);
    bool read = here() == '{' || here() == '[' ? read_flow() : is_quote(here()) ? read_quoted() : read_words(indent);
    // A line that is indented further belongs to nothing known here.
    return read && finish_line() && (at_end() || indent_ <= indent);
  }

  bool read_value(std::size_t indent) {
    skip_blanks();
    if (here() != '\n' && here() != '#') return read_inline_value(indent);
    if (!finish_line() || at_end() || indent_ < indent) return false;
    if (is_item()) return read_block_list();
    return indent_ > indent && read_block_mapping();
  }

  bool read_block_mapping() {
    if (depth_ >= deepest_plain) return false;
    std::size_t indent = indent_;
    std::uint32_t node = open(NodeKind::mapping);
    do {
      if (!read_key() || !read_value(indent)) return false;
    } while (!at_end() && indent_ == indent);
    return (at_end() || indent_ < indent) && close(node);
  }

  bool read_block_list() {
    if (depth_ >= deepest_plain) return false;
    std::size_t indent = indent_;
    std::uint32_t node = open(NodeKind::list);
    do {
      ++at_;
      skip_blanks();
      if (here() == '\n' || here() == '#') return false;
      bool read = false;
      if (is_key_here()) {
        indent_ = at_ - line_;
        read = read_block_mapping();
      } else {
        read = read_inline_value(indent);
      }
      if (!read) return false;
    } while (!at_end() && indent_ == indent && is_item());
    return (at_end() || indent_ <= indent) && close(node);
  }

  // Does a key start here? Looks no further than its colon.
  bool is_key_here() const {
    if (!starts_key(here())) return false;
    std::size_t at = at_;
    if (is_quote(here())) {
      at = text_.find(here(), at + 1);
      if (at == std::string_view::npos) return false;
      ++at;
    } else {
      while (at < text_.size() && text_[at] != '\n' && text_[at] != ' ' && text_[at] != ':') ++at;
    }
    return at + 1 < text_.size() && text_[at] == ':' && (text_[at + 1] == ' ' || text_[at + 1] == '\n');
  }

  FileId id_;
  std::string_view text_;
  Document& tape_;
  std::size_t line_ = 0, at_ = 0, indent_ = 0, depth_ = 0;
  std::vector<std::string_view> keys_;
};

}  // namespace

bool read_plain(FileId id, std::string_view text, Document& out) {
  if (PlainReader(id, text, out).read()) return true;
  out = Document();
  return false;
}

}  // namespace bindery
