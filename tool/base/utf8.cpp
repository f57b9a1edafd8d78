#include "base/utf8.h"

#include <fmt/format.h>

namespace bindery {

namespace {

struct CodePoint {
  char32_t value;
  std::size_t length;
};

// The code point at `at`; nothing where the bytes are no UTF-8 (overlong forms and surrogates included).
std::optional<CodePoint> decode(std::string_view text, std::size_t at) {
  auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  unsigned char lead = byte(at);
  if (lead < 0x80) return CodePoint{lead, 1};
  std::size_t length = lead >= 0xf0 ? 4 : lead >= 0xe0 ? 3 : 2;
  if (lead < 0xc2 || lead > 0xf4 || at + length > text.size()) return std::nullopt;
  char32_t value = lead & (0xff >> (length + 1));
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(at + i) & 0xc0) != 0x80) return std::nullopt;
    value = value << 6 | (byte(at + i) & 0x3f);
  }
  constexpr char32_t least[] = {0, 0, 0x80, 0x800, 0x10000};
  if (value < least[length] || value > 0x10ffff || (value >= 0xd800 && value <= 0xdfff)) return std::nullopt;
  return CodePoint{value, length};
}

// Where the run of letters, digits, signs, blanks and line breaks of ASCII that starts at `at` ends.
std::size_t end_of_ascii(std::string_view text, std::size_t at) {
  while (at < text.size() && ((text[at] >= 0x20 && text[at] < 0x7f) || text[at] == '\n')) ++at;
  return at;
}

bool is_control(char32_t c) { return (c < 0x20 && c != '\n' && c != '\t') || (c >= 0x7f && c < 0xa0); }

// Characters that reorder what a reader sees.
bool is_bidirectional(char32_t c) {
  return c == 0x61c || c == 0x200e || c == 0x200f || (c >= 0x202a && c <= 0x202e) || (c >= 0x2066 && c <= 0x2069);
}

}  // namespace

std::size_t clean_length(std::string_view text) {
  std::size_t at = end_of_ascii(text, 0);
  while (at < text.size()) {
    auto point = decode(text, at);
    if (!point) break;
    at = end_of_ascii(text, at + point->length);
  }
  return at;
}

bool is_utf8(std::string_view text) { return clean_length(text) == text.size(); }

std::optional<HiddenCharacter> find_hidden(std::string_view text) {
  for (std::size_t at = end_of_ascii(text, 0); at < text.size();) {
    auto point = decode(text, at);
    if (!point) return std::nullopt;
    bool line_break = point->value == '\r' && at + 1 < text.size() && text[at + 1] == '\n';
    if ((is_control(point->value) && !line_break) || is_bidirectional(point->value) || point->value == 0xfeff)
      return HiddenCharacter{point->value, at, point->length};
    at = end_of_ascii(text, at + point->length);
  }
  return std::nullopt;
}

bool is_plain_name(std::string_view name) {
  if (end_of_ascii(name, 0) == name.size() && name.find('\n') == std::string_view::npos) return true;
  return is_utf8(name) && !find_hidden(name) && name.find_first_of("\n\t") == std::string_view::npos;
}

std::string one_line(std::string_view text) {
  std::string out(text);
  for (char& c : out) {
    if (c == '\n' || c == '\r' || c == '\t') c = ' ';
  }
  return is_plain_name(out) ? out : plain_name(out);
}

std::string plain_name(std::string_view name) {
  if (is_plain_name(name)) return std::string(name);
  std::string out;
  for (std::size_t at = 0; at < name.size();) {
    auto point = decode(name, at);
    std::size_t length = point ? point->length : 1;
    std::string_view bytes = name.substr(at, length);
    if (point && is_plain_name(bytes)) out += bytes;
    else
      for (char c : bytes) out += fmt::format("\\x{:02x}", static_cast<unsigned char>(c));
    at += length;
  }
  return out;
}

}  // namespace bindery
