// Checks on a text's bytes, and positions in it.
#include <algorithm>

#include <fmt/format.h>

#include "base/utf8.h"
#include "source/source.h"

namespace bindery {

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
