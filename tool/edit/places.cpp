#include "edit/places.h"

#include <algorithm>

namespace bindery {

namespace {

bool is_blank(char c) { return c == ' ' || c == '\t'; }
bool is_space(char c) { return is_blank(c) || c == '\r' || c == '\n'; }

}  // namespace

Places::Places(const SourceFile& file, const Document& doc) : text_(file.text), doc_(doc), places_(doc.nodes.size()) {
  if (!doc.empty()) measure(0, 0, 0);
}

bool Places::is_flow(std::uint32_t node) const {
  bool is_collection = doc_[node].kind == NodeKind::mapping || doc_[node].kind == NodeKind::list;
  return is_collection && begin(node) < text_.size() && (text_[begin(node)] == '{' || text_[begin(node)] == '[');
}

bool Places::is_block_text(std::uint32_t node) const {
  return doc_[node].kind == NodeKind::scalar && (text_[begin(node)] == '|' || text_[begin(node)] == '>');
}

std::string Places::indentation(std::uint32_t node) const {
  std::size_t start = line_start(begin(node));
  if (opens_line(begin(node))) return std::string(text_.substr(start, begin(node) - start));
  return std::string(begin(node) - start, ' ');
}

std::size_t Places::line_start(std::size_t at) const { return at == 0 ? 0 : text_.rfind('\n', at - 1) + 1; }

std::size_t Places::line_end(std::size_t at) const {
  std::size_t end = std::min(text_.find('\n', at), text_.size());
  return end > at && text_[end - 1] == '\r' ? end - 1 : end;
}

bool Places::opens_line(std::size_t at) const {
  std::size_t start = line_start(at);
  return std::all_of(text_.begin() + static_cast<std::ptrdiff_t>(start),
                     text_.begin() + static_cast<std::ptrdiff_t>(at), is_blank);
}

std::size_t Places::above(std::uint32_t key, std::size_t floor) const {
  std::size_t at = line_start(begin(key));
  while (at > 0) {
    std::size_t start = line_start(at - 1);
    std::size_t word = text_.find_first_not_of(" \t", start);
    if (start < floor || word == std::string_view::npos || text_[word] != '#' || word - start > column(key)) break;
    at = start;
  }
  return at;
}

std::size_t Places::skip(std::size_t at) const {
  while (at < text_.size()) {
    if (is_space(text_[at])) ++at;
    else if (text_[at] == '#') at = std::min(text_.find('\n', at), text_.size());
    else break;
  }
  return at;
}

// Notes the places of a subtree and gives its end. `from` is behind what stands before it, `column` that of the block
// mapping or list around it.
std::size_t Places::measure(std::uint32_t node, std::size_t from, std::size_t column) {
  const Node& it = doc_[node];
  Place& place = places_[node];
  if (it.kind == NodeKind::null) {
    place = {from, from, from};
    if (std::size_t end = written_null(skip(from)); end != 0) place = {skip(from), end, end};
    return place.end;
  }
  place.begin = it.text.span.begin;
  place.end = it.kind == NodeKind::scalar ? end_of_scalar(it.text, column) : measure_collection(node, column);
  return place.end;
}

std::size_t Places::measure_collection(std::uint32_t node, std::size_t column) {
  const Node& it = doc_[node];
  bool flow = is_flow(node);
  std::size_t at = begin(node) + (flow ? 1 : 0);
  if (!flow) column = this->column(node);
  for (std::uint32_t child = node + 1; child < it.next; child = doc_[child].next) {
    if (it.kind == NodeKind::mapping) {
      std::size_t end = measure(child, at, column), colon = skip(end);
      bool is_colon = colon < text_.size() && text_[colon] == ':';
      at = places_[child].behind = is_colon ? colon + 1 : end;
      ++child;
    } else if (std::size_t mark = skip(at); mark < text_.size() && text_[mark] == (flow ? ',' : '-')) {
      at = mark + 1;
    }
    at = measure(child, at, column);
  }
  if (!flow) return at;
  for (at = skip(at); at < text_.size() && text_[at] == ',';) at = skip(at + 1);
  return std::min(at + 1, text_.size());
}

// Behind `~` or `null`, or 0 where the text at `at` is something else.
std::size_t Places::written_null(std::size_t at) const {
  for (std::string_view word : {"~", "null", "Null", "NULL"}) {
    std::size_t end = at + word.size();
    if (!text_.substr(std::min(at, text_.size())).starts_with(word)) continue;
    if (end == text_.size() || is_space(text_[end]) || std::string_view(",]}#").find(text_[end]) != word.npos)
      return end;
  }
  return 0;
}

std::size_t Places::end_of_scalar(const Text& text, std::size_t column) const {
  char first = text_[text.span.begin];
  if (first == '|' || first == '>') return end_of_block_text(text.span.begin, column);
  return text.exact || text.quoted ? text.span.end : end_of_plain(text);
}

std::size_t Places::end_of_block_text(std::size_t begin, std::size_t column) const {
  std::size_t end = begin + 1, indent = 0;
  bool keeps = false;
  for (; end < text_.size() && std::string_view("+-123456789").find(text_[end]) != std::string_view::npos; ++end) {
    if (text_[end] == '+') keeps = true;
    else if (text_[end] != '-') indent = column + static_cast<std::size_t>(text_[end] - '0');
  }
  std::size_t at = text_.find('\n', end);
  while (at != std::string_view::npos && at + 1 < text_.size()) {
    std::size_t start = at + 1, stop = line_end(start);
    std::size_t word = std::min(text_.find_first_not_of(' ', start), stop);
    bool only_blanks = word == stop;
    if (!only_blanks && word - start < std::max(column + 1, indent)) break;
    if (!only_blanks && indent == 0) indent = word - start;
    if (!only_blanks || (indent != 0 && stop - start > indent)) end = stop;
    at = text_.find('\n', stop);
  }
  if (keeps) end = at == std::string_view::npos ? text_.size() : at + 1;
  return end;
}

// A plain text over several lines: its words stand in the file as they are, blanks and line breaks between them vary.
std::size_t Places::end_of_plain(const Text& text) const {
  std::size_t at = text.span.begin;
  for (char c : text.text) {
    if (is_space(c)) continue;
    while (at < text_.size() && is_space(text_[at])) ++at;
    if (at == text_.size() || text_[at] != c) return text.span.end;
    ++at;
  }
  return at;
}

}  // namespace bindery
