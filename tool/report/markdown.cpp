#include "report/markdown.h"

#include <algorithm>

namespace bindery {

std::string code(std::string_view text) {
  std::string line(text);
  std::replace(line.begin(), line.end(), '\n', ' ');
  std::size_t longest = 0, run = 0;
  for (char c : line) {
    run = c == '`' ? run + 1 : 0;
    longest = std::max(longest, run);
  }
  std::string fence(longest + 1, '`');
  // A blank at both ends is taken off again, and nothing makes no span (CommonMark 0.31.2, section 6.1).
  if (line.empty()) line = " ";
  bool blanks = line.starts_with(' ') && line.ends_with(' ') && line.find_first_not_of(' ') != std::string::npos;
  bool pad = line.starts_with('`') || line.ends_with('`') || blanks;
  return fence + (pad ? " " : "") + line + (pad ? " " : "") + fence;
}

std::string plain_text(std::string_view text) {
  std::string out;
  for (char c : text) {
    if (c == '\n') {
      out += ' ';
      continue;
    }
    if (std::string_view("\\`*_[]<>|&#~").find(c) != std::string_view::npos) out += '\\';
    out += c;
  }
  // What would start a list or underline a heading.
  if (!out.empty() && std::string_view("-+=").find(out.front()) != std::string_view::npos) out.insert(0, "\\");
  std::size_t digits = out.find_first_not_of("0123456789");
  bool numbered = digits != 0 && digits != std::string::npos && (out[digits] == '.' || out[digits] == ')') &&
                  (digits + 1 == out.size() || out[digits + 1] == ' ');
  if (numbered) out.insert(digits, "\\");
  return out;
}

std::string tame_markdown(std::string_view text) {
  std::string out;
  bool start = true;
  for (std::size_t i = 0; i < text.size(); ++i) {
    char c = text[i];
    if (c == '\r') continue;
    bool frame = text.substr(i).starts_with("```") || text.substr(i).starts_with("~~~");
    bool underline = text.substr(i).starts_with("---") || text.substr(i).starts_with("===");
    if (c == '<' || (start && (c == '#' || frame || underline))) out += '\\';
    out += c;
    if (c == '\n') start = true;
    else if (c != ' ' && c != '\t') start = false;
  }
  while (out.ends_with('\n') || out.ends_with(' ')) out.pop_back();
  return out;
}

}  // namespace bindery
