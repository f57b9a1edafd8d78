#include "edit/writing.h"

#include <algorithm>

#include <fmt/format.h>

#include "syntax/document.h"

namespace bindery {

namespace {

// Would YAML, as its grammar goes, take the text for more than a plain scalar? The reader alone is laxer than other
// programs that read the file.
bool is_marked(std::string_view text, bool in_flow) {
  if (text.empty() || text.front() == ' ' || text.back() == ' ' || text.back() == ':') return true;
  if (std::string_view(",[]{}#&*!|>'\"%@`?:").find(text.front()) != std::string_view::npos) return true;
  if (text == "-" || text.starts_with("- ")) return true;
  if (text.starts_with("---") || text.starts_with("...")) return true;
  if (text.find(": ") != std::string_view::npos || text.find(" #") != std::string_view::npos) return true;
  return in_flow && text.find_first_of(",[]{}") != std::string_view::npos;
}

bool is_read_plain(std::string_view text, bool in_flow) {
  if (is_marked(text, in_flow)) return false;
  for (char c : text) {
    if (static_cast<unsigned char>(c) < 0x20) return false;
  }
  SourceFile trial{"", in_flow ? fmt::format("{{ key: {}, next: 1 }}\n", text) : fmt::format("key: {}\n", text)};
  Diagnostics ignored;
  auto doc = parse_document(0, trial, ignored);
  if (!doc || doc->nodes.size() != (in_flow ? 5u : 3u)) return false;
  return (*doc)[2].kind == NodeKind::scalar && (*doc)[2].text.text == text;
}

}  // namespace

std::string written_scalar(std::string_view text, bool in_flow) {
  if (is_read_plain(text, in_flow)) return std::string(text);
  std::string out = "\"";
  for (char c : text) {
    if (c == '"' || c == '\\') out.append({'\\', c});
    else if (c == '\n') out += "\\n";
    else if (c == '\t') out += "\\t";
    else if (static_cast<unsigned char>(c) < 0x20) out += fmt::format("\\x{:02x}", static_cast<unsigned char>(c));
    else out += c;
  }
  return out + '"';
}

std::string written_list(const std::vector<std::string>& items) {
  std::string out = "[";
  for (const std::string& item : items) out += (out.size() == 1 ? "" : ", ") + written_scalar(item, true);
  return out + ']';
}

std::string written_pair(std::string_view key, std::string_view value, bool in_flow) {
  return fmt::format("{}: {}", written_scalar(key, in_flow), value);
}

std::string in_braces(std::string_view pair, bool padded) {
  return padded ? fmt::format("{{ {} }}", pair) : fmt::format("{{{}}}", pair);
}

bool gives_list(const FragmentEdit& edit) {
  return edit.op == OpKind::append || edit.op == OpKind::remove || (edit.op == OpKind::set && edit.is_list);
}

std::string written_operand(const FragmentEdit& edit, bool in_flow) {
  if (gives_list(edit)) return written_list(edit.items);
  return edit.op == OpKind::unset ? "true" : written_scalar(edit.scalar, in_flow);
}

std::string written_value(const FragmentEdit& edit, bool in_flow, bool padded) {
  if (edit.op == OpKind::set) return written_operand(edit, in_flow);
  return in_braces(written_pair(name_of(edit.op), written_operand(edit, true), true), padded);
}

}  // namespace bindery
