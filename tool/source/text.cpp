// Checks on a text's bytes, and positions in it.
#include <algorithm>
#include <optional>

#include <fmt/format.h>

#include "source/source.h"

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

// How many bytes from the start are UTF-8.
std::size_t clean_length(std::string_view text) {
  std::size_t at = 0;
  while (at < text.size()) {
    auto point = decode(text, at);
    if (!point) break;
    at += point->length;
  }
  return at;
}

bool is_control(char32_t c) { return (c < 0x20 && c != '\n' && c != '\t') || (c >= 0x7f && c < 0xa0); }

// Characters that reorder what a reader sees.
bool is_bidirectional(char32_t c) {
  return c == 0x61c || c == 0x200e || c == 0x200f || (c >= 0x202a && c <= 0x202e) || (c >= 0x2066 && c <= 0x2069);
}

}  // namespace

void check_text(FileId id, SourceFile& file, Diagnostics& out) {
  auto report = [&](Code code, std::size_t at, std::size_t length, std::string message, std::string help) {
    Span span{id, static_cast<std::uint32_t>(at), static_cast<std::uint32_t>(at + length)};
    out.add(code, span, std::move(message)).with_help(std::move(help));
    file.sound = false;
  };
  std::string_view text = file.text;
  if (text.size() > largest_text) {
    report_oddity(id, file, Oddity::too_large, out);
    return;
  }
  if (text.starts_with("\xef\xbb\xbf")) {
    report(Code::file_encoding, 0, 3, "the file starts with a byte-order mark", "save it as UTF-8 without a mark");
    return;
  }
  std::size_t clean = clean_length(text);
  if (auto hidden = find_hidden(text)) {
    report(Code::character_forbidden, hidden->at, hidden->length,
           fmt::format("the character U+{:04X} is not allowed: it hides or reorders what a reader sees",
                       static_cast<unsigned>(hidden->character)),
           "delete it");
  } else if (clean < text.size()) {
    report(Code::file_encoding, clean, 1, "the bytes from here on are not UTF-8", "save the file as UTF-8");
  }
}

bool is_utf8(std::string_view text) { return clean_length(text) == text.size(); }

std::optional<HiddenCharacter> find_hidden(std::string_view text) {
  for (std::size_t at = 0; at < text.size();) {
    auto point = decode(text, at);
    if (!point) return std::nullopt;
    bool line_break = point->value == '\r' && at + 1 < text.size() && text[at + 1] == '\n';
    if ((is_control(point->value) && !line_break) || is_bidirectional(point->value) || point->value == 0xfeff)
      return HiddenCharacter{point->value, at, point->length};
    at += point->length;
  }
  return std::nullopt;
}

Position position_of(const SourceFile& file, std::size_t offset) {
  Position out;
  std::string_view text = std::string_view(file.text).substr(0, std::min(offset, file.text.size()));
  out.line += static_cast<std::size_t>(std::count(text.begin(), text.end(), '\n'));
  std::size_t start = text.rfind('\n');
  std::string_view line = start == std::string_view::npos ? text : text.substr(start + 1);
  out.column += static_cast<std::size_t>(
      std::count_if(line.begin(), line.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xc0) != 0x80; }));
  return out;
}

FileId Sources::find(std::string_view path) const {
  auto at = std::lower_bound(files.begin(), files.end(), path,
                             [](const SourceFile& file, std::string_view p) { return file.path < p; });
  return at != files.end() && at->path == path && at->present ? static_cast<FileId>(at - files.begin()) : no_file;
}

}  // namespace bindery
