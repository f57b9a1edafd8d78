#include "syntax/document.h"

#include <algorithm>

#include "syntax/plain.h"
#include "syntax/yaml.h"

namespace bindery {

std::optional<Document> parse_document(FileId id, const SourceFile& file, Diagnostics& out) {
  Document plain;
  plain.nodes.reserve(file.text.size() / 12 + 8);
  if (read_plain(id, file.text, plain)) return plain;
  return parse_yaml(id, file, out);
}

Span place_within(const SourceFile& file, const Text& scalar, std::size_t offset, std::size_t length) {
  if (scalar.exact || !scalar.block) return scalar.part(offset, length);
  std::string_view before = scalar.text.substr(0, offset);
  auto lines = std::count(before.begin(), before.end(), '\n');
  std::size_t column = before.size() - (before.rfind('\n') == std::string_view::npos ? 0 : before.rfind('\n') + 1);
  std::string_view source = file.text;
  std::size_t first = source.find('\n', scalar.span.begin);
  if (first == std::string_view::npos) return scalar.span;
  std::size_t start = first + 1;
  for (auto i = lines; i > 0; --i) {
    start = source.find('\n', start);
    if (start == std::string_view::npos) return scalar.span;
    ++start;
  }
  // Each line of the scalar is the tail of its line in the file; what stands before it there is its indentation.
  std::size_t line_end = std::min(source.find('\n', start), source.size());
  if (line_end > start && source[line_end - 1] == '\r') --line_end;
  std::size_t own = offset - column;
  std::size_t own_length = std::min(scalar.text.find('\n', own), scalar.text.size()) - own;
  if (line_end - start < own_length) return scalar.span;
  std::size_t indent = line_end - start - own_length;
  auto begin = static_cast<std::uint32_t>(std::min(start + indent + column, source.size()));
  auto end = static_cast<std::uint32_t>(std::min(begin + length, source.size()));
  return {scalar.span.file, begin, end};
}

}  // namespace bindery
