// yaml: mappings are sections, lists of scalars are lists; other lists are sections of numbers, as in json. What is
// written is read alike by readers of YAML 1.1 and 1.2: all that is no bare word stands in double quotes.
#include <algorithm>

#include <fmt/format.h>

#include "dialect/families.h"
#include "syntax/document.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

// What parse_document() says of the project's own files, in words for those of others.
void pass_on(Diagnostics&& said, std::size_t size, Gathering& to) {
  for (Diagnostic& item : said.items()) {
    if (to.stopped()) return;
    switch (item.code) {
      case Code::key_duplicate: item.code = Code::program_key_twice; break;
      case Code::yaml_alias:
        item.code = Code::program_entity;
        item.message = "an anchor or alias stands here, and is not followed";
        break;
      case Code::yaml_tag:
        item.code = Code::program_file;
        item.message = "a tag stands here, and what it makes of the value is not known";
        break;
      case Code::yaml_depth:
        item.code = Code::too_many;
        item.help = "check that the file is one of the program's; if it is, leave this part out";
        break;
      case Code::yaml_invalid:
      case Code::yaml_tab:
      case Code::yaml_trailing:
      case Code::yaml_not_mapping: item.code = Code::program_file; break;
      default: break;
    }
    // What is missing at the end is told behind it.
    Span place = to.span(std::min<std::size_t>(item.span.begin, size), std::min<std::size_t>(item.span.end, size));
    Diagnostic& report = to.report(item.code, place, std::move(item.message));
    report.help = std::move(item.help);
    report.related = std::move(item.related);
  }
}

class YamlReader {
 public:
  YamlReader(const Document& doc, Gathering& to) : doc_(doc), to_(to) {}

  void mapping(std::uint32_t node, Gathering::Section section) {
    for (std::uint32_t key = node + 1; key < doc_[node].next && !to_.stopped(); key = doc_[key + 1].next) {
      const Text& name = doc_[key].text;
      if (to_.sound_name(name.text, name.span)) value(key + 1, section, std::string(name.text), name.span);
    }
  }

 private:
  // Calls itself as deep as parse_document() lets a file be.
  void value(std::uint32_t node, Gathering::Section section, const std::string& key, Span key_place) {
    const Node& value = doc_[node];
    if (value.kind == NodeKind::mapping) {
      if (auto inner = to_.create(section, key, key_place)) mapping(node, *inner);
    } else if (value.kind != NodeKind::list) {
      to_.add(section, key, scalar(value), value.text.span);
    } else if (is_plain(node)) {
      if (!to_.start(section, key, true, value.text.span)) return;
      for (std::uint32_t item = node + 1; item < value.next && !to_.stopped(); ++item) {
        to_.value(scalar(doc_[item]), doc_[item].text.span);
        to_.last().span.end = std::max(to_.last().span.end, doc_[item].text.span.end);
      }
    } else if (auto inner = to_.create(section, key, key_place)) {
      std::size_t number = 0;
      for (std::uint32_t item = node + 1; item < value.next && !to_.stopped(); item = doc_[item].next)
        this->value(item, *inner, std::to_string(++number), doc_[item].text.span);
    }
  }

  // Does the list hold scalars alone?
  bool is_plain(std::uint32_t list) const {
    for (std::uint32_t item = list + 1; item < doc_[list].next; ++item) {
      if (doc_[item].kind == NodeKind::mapping || doc_[item].kind == NodeKind::list) return false;
    }
    return true;
  }

  // Null is the word for it where it is written, and empty where nothing is.
  Scalar scalar(const Node& node) const {
    if (node.kind != NodeKind::null) return {std::string(node.text.text), !node.text.quoted};
    return {node.text.empty() ? "" : "null", true};
  }

  const Document& doc_;
  Gathering& to_;
};

// U+2028 and U+2029, which YAML 1.1 takes for line breaks.
constexpr std::string_view line_separator = "\xe2\x80\xa8", paragraph_separator = "\xe2\x80\xa9";

std::string in_quotes(std::string_view text) {
  std::string out = "\"";
  for (std::size_t i = 0; i < text.size(); ++i) {
    std::string_view letter = text.substr(i, 3);
    if (letter == line_separator || letter == paragraph_separator) {
      out += letter == line_separator ? "\\L" : "\\P";
      i += 2;
      continue;
    }
    switch (text[i]) {
      case '"': out += "\\\""; break;
      case '\\': out += "\\\\"; break;
      case '\n': out += "\\n"; break;
      case '\t': out += "\\t"; break;
      default: out += text[i];
    }
  }
  return out += '"';
}

bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }
bool is_digit(char c) { return c >= '0' && c <= '9'; }

// A key that no reader takes for a number, a flag, a date or null.
bool is_plain_key(std::string_view key) {
  if (!is_letter(key[0]) && key[0] != '_') return false;
  if (!std::all_of(key.begin(), key.end(),
                   [](char c) { return is_letter(c) || is_digit(c) || c == '_' || c == '-' || c == '.'; }))
    return false;
  std::string lower(key);
  for (char& c : lower) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  for (std::string_view word : {"y", "n", "yes", "no", "on", "off", "true", "false", "null"}) {
    if (lower == word) return false;
  }
  return true;
}

// Can the text stand without quotes and be read as one scalar of this very text?
bool is_plain_scalar(std::string_view text) {
  if (text.empty() || text.front() == ' ' || text.back() == ' ' || text.back() == ':') return false;
  if (text == "=" || text == "<<") return false;  // YAML 1.1 gives them a meaning of their own
  if (std::string_view(",[]{}#&*!|>'\"%@`").find(text[0]) != std::string_view::npos) return false;
  if (std::string_view("-?:").find(text[0]) != std::string_view::npos && (text.size() == 1 || text[1] == ' '))
    return false;
  for (std::string_view sign : {std::string_view(": "), std::string_view(" #"), std::string_view("\n"),
                                std::string_view("\t"), line_separator, paragraph_separator}) {
    if (text.find(sign) != std::string_view::npos) return false;
  }
  return true;
}

std::string written(const Scalar& scalar) {
  if (scalar.bare && scalar.text.empty()) return {};
  return scalar.bare && is_plain_scalar(scalar.text) ? scalar.text : in_quotes(scalar.text);
}

class YamlWriter {
 public:
  YamlWriter(const Layout& layout, const FileContent& content)
      : step_(static_cast<std::size_t>(std::max(layout.indent, 1))),
        tree_(content, true),
        out_(comment_lines("#", content.comments)) {
    // A comment does not end within its line.
    for (std::string_view sign : {line_separator, paragraph_separator}) {
      for (std::size_t at = 0; (at = out_.find(sign, at)) != std::string::npos;) out_.replace(at, sign.size(), " ");
    }
  }

  std::string write() {
    if (tree_.branches[0].items.empty()) return out_ + "{}\n";
    branch(0, 0);
    return std::move(out_);
  }

 private:
  void line(std::size_t indent, std::string_view start, std::string_view rest) {
    out_.append(indent, ' ');
    out_ += start;
    if (!rest.empty()) out_ += ' ';
    out_ += rest;
    out_ += '\n';
  }

  void branch(std::size_t at, std::size_t indent) {
    for (const Branches::Item& item : tree_.branches[at].items) {
      std::string_view name =
          item.entry == nullptr ? tree_.branches[item.branch].name : std::string_view(item.entry->key);
      std::string key = (is_plain_key(name) ? std::string(name) : in_quotes(name)) + ':';
      if (item.entry == nullptr) {
        line(indent, key, "");
        branch(item.branch, indent + step_);
      } else if (!item.entry->list) {
        line(indent, key, written(item.entry->values.front()));
      } else {
        line(indent, key, item.entry->values.empty() ? "[]" : "");
        for (const Scalar& scalar : item.entry->values) line(indent + step_, "-", written(scalar));
      }
    }
  }

  std::size_t step_;
  Branches tree_;
  std::string out_;
};

}  // namespace

std::string write_yaml(const Layout& layout, const FileContent& content) { return YamlWriter(layout, content).write(); }

void read_yaml(FileId id, const SourceFile& file, Gathering& to) {
  // Each node but the first follows one of these signs, so that this bounds what the parser builds.
  constexpr std::size_t most_signs = 4 * most_entries;
  std::size_t signs = 0;
  for (std::size_t i = 0; i < file.text.size(); ++i) {
    bool dash = file.text[i] == ' ' && i > 0 && file.text[i - 1] == '-';
    if (dash || std::string_view(",:\n[{?").find(file.text[i]) != std::string_view::npos) ++signs;
  }
  if (signs > most_signs) {
    to.give_up(to.span(0, 0), fmt::format("the file has more than {} lines, colons, commas and brackets", most_signs),
               "read a file of profiles, not of all that was ever printed");
    return;
  }
  Diagnostics said;
  auto doc = parse_document(id, file, said);
  if (!doc) {
    pass_on(std::move(said), file.text.size(), to);
    return;
  }
  for (Lines lines(file.text); lines.next() && !to.stopped();) {
    std::string_view line = trimmed(lines.line());
    if (!line.empty() && line[0] != '#') break;
    if (!line.empty())
      to.comment(comment_after("#", lines.line()), to.span(lines.begin(), lines.begin() + lines.line().size()));
  }
  YamlReader(*doc, to).mapping(0, Gathering::top);
}

void recognise_yaml(std::string_view text, Layout& layout) {
  layout.indent = likely_indent(text).value_or(layout.indent);
}

}  // namespace bindery
