#include "syntax/yaml.h"

#include <algorithm>
#include <istream>
#include <streambuf>
#include <unordered_map>

#include <fmt/format.h>

#include <yaml-cpp/eventhandler.h>
#include <yaml-cpp/exceptions.h>
#include <yaml-cpp/mark.h>
#include <yaml-cpp/parser.h>
#include "base/utf8.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

constexpr std::size_t deepest = 32;

// Thrown through yaml-cpp to end its recursion once the file is refused; never leaves this file.
struct Refused {};

// Reads from a string without copying it.
struct ViewBuffer : std::streambuf {
  explicit ViewBuffer(std::string_view text) {
    char* start = const_cast<char*>(text.data());  // streambuf's interface; nothing writes
    setg(start, start, start + text.size());
  }
};

class TapeWriter : public YAML::EventHandler {
 public:
  TapeWriter(FileId id, std::string_view source, Document& tape, Diagnostics& out)
      : id_(id), source_(source), tape_(tape), out_(out) {}

  bool failed() const { return failed_; }

  void OnDocumentStart(const YAML::Mark&) override {}
  void OnDocumentEnd() override {}

  void OnAlias(const YAML::Mark& mark, YAML::anchor_t) override {
    refuse(Code::yaml_alias, mark, "an alias stands here; the language has none", "write the value out");
  }

  void OnNull(const YAML::Mark& mark, YAML::anchor_t anchor) override {
    if (anchor != 0) refuse_anchor(mark);
    std::string_view word = written_null(mark);
    Span span = at(mark, 0);
    // yaml-cpp marks an absent value at the next token; the key before it is the place to show.
    if (expects_value() && word.empty()) span = tape_.nodes[frames_.back().last_key].text.span;
    add_node(NodeKind::null, Text{word, span});
  }

  void OnScalar(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                const std::string& value) override {
    if (anchor != 0) refuse_anchor(mark);
    bool is_quote = quoted_at(mark);
    if (tag != "?" && !(tag == "!" && is_quote)) refuse_tag(mark);
    add_node(NodeKind::scalar, make_text(mark, value, is_quote));
  }

  void OnSequenceStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                       YAML::EmitterStyle::value) override {
    open(NodeKind::list, mark, tag, anchor);
  }
  void OnSequenceEnd() override { close(); }

  void OnMapStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                  YAML::EmitterStyle::value) override {
    open(NodeKind::mapping, mark, tag, anchor);
  }
  void OnMapEnd() override { close(); }

 private:
  struct Frame {
    std::uint32_t node;
    bool mapping;
    bool key_next;
    std::uint32_t last_key = 0;
    std::unordered_map<std::string_view, std::uint32_t> seen;
  };

  Span at(const YAML::Mark& mark, std::size_t length) const {
    auto begin = static_cast<std::uint32_t>(
        std::min<std::size_t>(mark.pos < 0 ? 0 : static_cast<std::size_t>(mark.pos), source_.size()));
    return {id_, begin, begin + static_cast<std::uint32_t>(length)};
  }

  bool quoted_at(const YAML::Mark& mark) const {
    std::size_t begin = at(mark, 0).begin;
    return begin < source_.size() && std::string_view("\"'|>").find(source_[begin]) != std::string_view::npos;
  }

  // The word for null that stands there; empty where none does.
  std::string_view written_null(const YAML::Mark& mark) const {
    std::string_view rest = source_.substr(at(mark, 0).begin);
    for (std::string_view word : {"~", "null", "Null", "NULL"}) {
      bool ends = rest.size() == word.size() ||
                  (rest.size() > word.size() &&
                   std::string_view(" \t\r\n,]}:").find(rest[word.size()]) != std::string_view::npos);
      if (rest.starts_with(word) && ends) return rest.substr(0, word.size());
    }
    return {};
  }

  bool expects_value() const { return !frames_.empty() && frames_.back().mapping && !frames_.back().key_next; }

  [[noreturn]] void refuse(Code code, const YAML::Mark& mark, std::string message, std::string help) {
    out_.add(code, at(mark, 1), std::move(message)).with_help(std::move(help));
    throw Refused{};
  }
  [[noreturn]] void refuse_anchor(const YAML::Mark& mark) {
    refuse(Code::yaml_alias, mark, "an anchor stands here; the language has no aliases",
           "write the value where it is used");
  }
  [[noreturn]] void refuse_tag(const YAML::Mark& mark) {
    refuse(Code::yaml_tag, mark, "a tag stands here; the language has none", "remove the word that starts with `!`");
  }

  void open(NodeKind kind, const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor) {
    if (anchor != 0) refuse_anchor(mark);
    if (tag != "?" && !tag.empty()) refuse_tag(mark);
    if (frames_.size() >= deepest) {
      refuse(Code::yaml_depth, mark, fmt::format("this is nested deeper than {} levels", deepest),
             "write dotted keys instead of nested ones");
    }
    if (is_key())
      refuse(Code::yaml_invalid, mark, "a key must be one word",
             "write a plain key before the colon; a list stands behind its key");
    std::uint32_t node = add_node(kind, Text{{}, at(mark, 1)});
    frames_.push_back({node, kind == NodeKind::mapping, true, 0, {}});
  }

  void close() {
    tape_.nodes[frames_.back().node].next = static_cast<std::uint32_t>(tape_.nodes.size());
    frames_.pop_back();
  }

  bool is_key() const { return !frames_.empty() && frames_.back().mapping && frames_.back().key_next; }

  std::uint32_t add_node(NodeKind kind, Text text) {
    auto index = static_cast<std::uint32_t>(tape_.nodes.size());
    if (is_key()) note_key(kind, text, index);
    else if (!frames_.empty()) frames_.back().key_next = true;
    tape_.nodes.push_back({kind, index + 1, text});
    return index;
  }

  void note_key(NodeKind kind, const Text& text, std::uint32_t index) {
    Frame& frame = frames_.back();
    frame.key_next = false;
    frame.last_key = index;
    if (kind != NodeKind::scalar || text.empty()) {
      out_.add(Code::yaml_invalid, {text.span.file, text.span.begin, std::max(text.span.end, text.span.begin + 1)},
               "a key is empty")
          .with_help("write a word before the colon");
      throw Refused{};
    }
    if (text.text.size() > most::key_letters) {
      out_.add(Code::too_many, text.span, fmt::format("there are more than {} letters of a key", most::key_letters))
          .with_help("write a shorter one");
      throw Refused{};
    }
    auto [first, fresh] = frame.seen.emplace(text.text, index);
    if (!fresh) {
      failed_ = true;
      if (out_.skip(Code::key_duplicate)) return;
      out_.add(Code::key_duplicate, text.span, fmt::format("'{}' stands twice in one mapping", text.text))
          .with_help("keep one of the two")
          .with_related(tape_.nodes[first->second].text.span, "first set here");
    }
  }

  Text make_text(const YAML::Mark& mark, const std::string& value, bool is_quote) {
    Text text;
    text.quoted = is_quote;
    Span start = at(mark, 0);
    char opening = is_quote ? source_[start.begin] : ' ';
    bool is_string = opening == '"' || opening == '\'';
    text.block = opening == '|';
    std::size_t inner = start.begin + (is_string ? 1 : 0);
    bool same = opening != '|' && opening != '>' && source_.substr(inner, value.size()) == value;
    text.exact = same && value.find('\n') == std::string::npos;
    text.inner = static_cast<std::uint32_t>(inner);
    text.span = {id_, start.begin, end_of(start.begin, inner, value.size(), same, opening)};
    if (text.exact) {
      text.text = source_.substr(inner, value.size());
    } else {
      if (!is_utf8(value)) {
        out_.add(Code::file_encoding, text.span, "an escape in this text makes a character that cannot be read")
            .with_help("write the character itself");
        throw Refused{};
      }
      if (auto hidden = find_hidden(value)) {
        out_.add(Code::character_forbidden, text.span,
                 fmt::format(
                     "an escape in this text makes the character U+{:04X}, which hides or reorders what a reader sees",
                     static_cast<unsigned>(hidden->character)))
            .with_help("delete it");
        throw Refused{};
      }
      text.text = tape_.owned.emplace_back(value);
    }
    return text;
  }

  // Where a scalar ends: after its closing quote, or after the text, or at the end of the line.
  std::uint32_t end_of(std::size_t begin, std::size_t inner, std::size_t size, bool same, char opening) const {
    bool is_string = opening == '"' || opening == '\'';
    if (same && (!is_string || (inner + size < source_.size() && source_[inner + size] == opening)))
      return static_cast<std::uint32_t>(inner + size + (is_string ? 1 : 0));
    if (is_string) {
      for (std::size_t i = begin + 1; i < source_.size(); ++i) {
        if (opening == '"' && source_[i] == '\\') ++i;
        else if (source_[i] == opening && opening == '\'' && i + 1 < source_.size() && source_[i + 1] == opening) ++i;
        else if (source_[i] == opening) return static_cast<std::uint32_t>(i + 1);
      }
      // yaml-cpp takes the end of the file for the closing quote.
      out_.add(Code::yaml_invalid, {id_, static_cast<std::uint32_t>(begin), static_cast<std::uint32_t>(begin + 1)},
               "this quote is never closed")
          .with_help(fmt::format("close it with `{}`", opening));
      throw Refused{};
    }
    std::size_t end = std::min(source_.find('\n', begin), source_.size());
    while (end > begin + 1 && (source_[end - 1] == ' ' || source_[end - 1] == '\r')) --end;
    return static_cast<std::uint32_t>(end);
  }

  FileId id_;
  std::string_view source_;
  Document& tape_;
  Diagnostics& out_;
  std::vector<Frame> frames_;
  bool failed_ = false;
};

// Finds where a second document or stray text starts: the first event after the first document.
class FirstEvent : public YAML::EventHandler {
 public:
  YAML::Mark mark;
  void OnDocumentStart(const YAML::Mark& at) override {
    mark = at;
    throw Refused{};
  }
  void OnDocumentEnd() override {}
  void OnNull(const YAML::Mark&, YAML::anchor_t) override {}
  void OnAlias(const YAML::Mark&, YAML::anchor_t) override {}
  void OnScalar(const YAML::Mark&, const std::string&, YAML::anchor_t, const std::string&) override {}
  void OnSequenceStart(const YAML::Mark&, const std::string&, YAML::anchor_t, YAML::EmitterStyle::value) override {}
  void OnSequenceEnd() override {}
  void OnMapStart(const YAML::Mark&, const std::string&, YAML::anchor_t, YAML::EmitterStyle::value) override {}
  void OnMapEnd() override {}
};

struct Told {
  std::string message, help;
};

// yaml-cpp's words in those of a reader.
Told tell(const std::string& reason) {
  if (reason == YAML::ErrorMsg::MAP_VALUE)
    return {"a second colon stands in this line, or it is indented too far",
            "quote a text that holds `: `; indent the lines of one mapping alike"};
  if (reason == YAML::ErrorMsg::END_OF_MAP || reason == YAML::ErrorMsg::END_OF_SEQ)
    return {"this line fits nothing above it", "indent the lines of one mapping or list alike"};
  if (reason == YAML::ErrorMsg::END_OF_MAP_FLOW || reason == YAML::ErrorMsg::END_OF_SEQ_FLOW)
    return {"a comma or the closing bracket is missing", "close what is opened, and put commas between the items"};
  if (reason == YAML::ErrorMsg::UNKNOWN_TOKEN)
    return {"a text may not start with this character", "put the text in quotes"};
  if (reason == YAML::ErrorMsg::FLOW_END) return {"this bracket closes nothing", "remove it"};
  if (reason.find("hex number") != std::string::npos)
    return {"this escape lacks digits", "write `\\\\` for a backslash, or use single quotes"};
  if (reason.find("escape") != std::string::npos)
    return {"this escape is unknown", "write `\\\\` for a backslash, or use single quotes"};
  return {fmt::format("this is no YAML: {}", reason),
          "check the indentation, the colons and the brackets near this place"};
}

void report_syntax(FileId id, const SourceFile& file, const YAML::ParserException& error, Diagnostics& out) {
  std::size_t at =
      std::min<std::size_t>(error.mark.pos < 0 ? 0 : static_cast<std::size_t>(error.mark.pos), file.text.size());
  std::string_view text = file.text;
  std::size_t start = at == 0 ? 0 : text.rfind('\n', at - 1) + 1;
  std::size_t tab = text.find('\t', start);
  std::size_t content = text.find_first_not_of(" \t", start);
  Span span{id, static_cast<std::uint32_t>(at), static_cast<std::uint32_t>(std::min(at + 1, text.size()))};
  if (tab != std::string_view::npos && tab < content) {
    span.begin = static_cast<std::uint32_t>(tab);
    span.end = span.begin + 1;
    out.add(Code::yaml_tab, span, "a tab indents this line").with_help("indent with blanks");
    return;
  }
  if (error.msg.find("anchor") != std::string::npos) {
    out.add(Code::yaml_alias, span, "an alias stands here; the language has none").with_help("write the value out");
    return;
  }
  auto told = tell(error.msg);
  // yaml-cpp marks an escape behind it.
  if (error.msg.find("escape") != std::string::npos || error.msg.find("hex number") != std::string::npos) {
    std::size_t backslash = text.rfind('\\', at == 0 ? 0 : at - 1);
    if (backslash != std::string_view::npos && backslash >= start)
      span = {id, static_cast<std::uint32_t>(backslash), static_cast<std::uint32_t>(backslash + 1)};
  }
  // What is never closed shows at the end of the file; the last word is the place to look at.
  if (at >= text.size() || text.find_first_not_of(" \r\n", at) == std::string_view::npos) {
    std::size_t last = text.find_last_not_of(" \r\n");
    if (last != std::string_view::npos)
      span = {id, static_cast<std::uint32_t>(last), static_cast<std::uint32_t>(last + 1)};
  }
  out.add(Code::yaml_invalid, span, std::move(told.message)).with_help(std::move(told.help));
}

}  // namespace

std::optional<Document> parse_yaml(FileId id, const SourceFile& file, Diagnostics& out) {
  std::optional<Document> tape(std::in_place);
  tape->nodes.reserve(file.text.size() / 12 + 8);
  ViewBuffer buffer(file.text);
  std::istream stream(&buffer);
  TapeWriter writer(id, file.text, *tape, out);
  try {
    YAML::Parser parser(stream);
    parser.HandleNextDocument(writer);
    if (parser) {
      FirstEvent rest;
      try {
        parser.HandleNextDocument(rest);
      } catch (const Refused&) {}
      auto at = static_cast<std::uint32_t>(std::clamp<int>(rest.mark.pos, 0, static_cast<int>(file.text.size())));
      if (std::size_t first = file.text.find_first_not_of(" \r\n");
          first != std::string::npos && file.text[first] == ',') {
        auto comma = static_cast<std::uint32_t>(first);
        out.add(Code::yaml_invalid, {id, comma, comma + 1}, "a comma starts the file").with_help("remove it");
        return std::nullopt;
      }
      out.add(Code::yaml_trailing, {id, at, at + 1}, "text stands after the end of the document")
          .with_help("a file holds one document; put the rest in a file of its own, or mend the line before it");
      return std::nullopt;
    }
  } catch (const Refused&) {
    return std::nullopt;
  } catch (const YAML::ParserException& error) {
    report_syntax(id, file, error, out);
    return std::nullopt;
  }
  if (writer.failed()) return std::nullopt;
  if (tape->empty() || ((*tape)[0].kind == NodeKind::null)) {
    out.add(Code::file_empty, {id, 0, 0}, "the file is empty")
        .with_help("write the mapping that belongs here, or delete the file");
    return std::nullopt;
  }
  if ((*tape)[0].kind != NodeKind::mapping) {
    out.add(Code::yaml_not_mapping, (*tape)[0].text.span, "the file holds no mapping")
        .with_help("a file is a mapping: `key: value`, a line each");
    return std::nullopt;
  }
  return tape;
}

}  // namespace bindery
