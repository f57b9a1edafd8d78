#include "report/diagnostics.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/words.h"

namespace bindery {

namespace {

constexpr std::size_t widest_line = 160;

std::string_view whole_line(std::string_view text, std::size_t offset, std::size_t& start) {
  offset = std::min(offset, text.size());
  std::size_t before = offset == 0 ? std::string_view::npos : text.rfind('\n', offset - 1);
  start = before == std::string_view::npos ? 0 : before + 1;
  std::size_t end = std::min(text.find('\n', start), text.size());
  std::string_view line = text.substr(start, end - start);
  if (line.ends_with('\r')) line.remove_suffix(1);
  return line;
}

std::size_t code_points(std::string_view text) {
  return static_cast<std::size_t>(
      std::count_if(text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xc0) != 0x80; }));
}

// The source line with carets below the span. Tabs are kept as one blank; a long line is left out.
void source_lines(const Sources& sources, Span span, const Palette& palette, std::string& out) {
  const SourceFile& file = sources[span.file];
  if (file.text.empty() || (span.begin == 0 && span.end == 0)) return;
  std::size_t start = 0;
  std::string_view line = whole_line(file.text, span.begin, start);
  if (line.size() > widest_line || !file.sound || !is_utf8(line) || find_hidden(line)) return;
  std::string shown(line);
  std::replace(shown.begin(), shown.end(), '\t', ' ');
  std::string number = std::to_string(position_of(file, span.begin).line);
  std::size_t lead = code_points(line.substr(0, std::min<std::size_t>(span.begin - start, line.size())));
  std::size_t end = std::min<std::size_t>(span.end, start + line.size());
  std::size_t width = end > span.begin ? code_points(file.text.substr(span.begin, end - span.begin)) : 1;
  out += fmt::format("  {}{} |{} {}\n", palette.place, number, palette.plain, shown);
  out += fmt::format("  {:{}} {}|{} {:{}}{}{:^>{}}{}\n", "", number.size(), palette.place, palette.plain, "", lead,
                     palette.error, "", std::max<std::size_t>(width, 1), palette.plain);
}

void json_place(const Sources& sources, Span span, JsonWriter& json) {
  if (!span.known()) {
    json.key("file").null().key("line").null().key("column").null().key("end_line").null().key("end_column").null();
    return;
  }
  const SourceFile& file = sources[span.file];
  Position begin = position_of(file, span.begin), end = position_of(file, std::max(span.begin, span.end));
  auto number = [](std::size_t value) { return static_cast<long long>(value); };
  json.field("file", file.path).key("line").whole(number(begin.line)).key("column").whole(number(begin.column));
  json.key("end_line").whole(number(end.line)).key("end_column").whole(number(end.column));
}

}  // namespace

Palette Palette::of(bool colour) {
  if (!colour) return {};
  return {"\x1b[1;31m", "\x1b[1;33m", "\x1b[1;36m", "\x1b[34m", "\x1b[32m", "\x1b[0m"};
}

std::string place_text(const Sources& sources, Span span) {
  if (!span.known()) return {};
  const SourceFile& file = sources[span.file];
  Position at = position_of(file, span.begin);
  return fmt::format("{}:{}:{}", file.path, at.line, at.column);
}

std::string_view line_at(const Sources& sources, Span span) {
  if (!span.known()) return {};
  std::size_t start = 0;
  std::string_view line = whole_line(sources[span.file].text, span.begin, start);
  std::size_t first = line.find_first_not_of(" \t");
  return first == std::string_view::npos ? std::string_view() : line.substr(first);
}

std::string diagnostics_text(const Diagnostics& diagnostics, const Sources& sources, const Palette& palette) {
  std::string out;
  for (const Diagnostic& item : diagnostics.items()) {
    std::string_view shade = item.severity == Severity::error     ? palette.error
                             : item.severity == Severity::warning ? palette.warning
                                                                  : palette.note;
    std::string_view code = describe(item.code).name;
    if (item.span.known()) out += fmt::format("{}{}{}: ", palette.place, place_text(sources, item.span), palette.plain);
    out += fmt::format("{}{}[{}]{}: {}\n", shade, name_of(item.severity), code, palette.plain, item.message);
    if (item.span.known()) source_lines(sources, item.span, palette, out);
    for (const Related& each : item.related) {
      out += each.span.known() ? fmt::format("  {}{}{}: {}\n", palette.place, place_text(sources, each.span),
                                             palette.plain, each.message)
                               : fmt::format("  {}\n", each.message);
    }
    if (item.profiles == 1) out += fmt::format("  in {}\n", item.profile);
    if (item.profiles > 1)
      out += fmt::format("  in {}, the first {}\n", counted(item.profiles, "profile"), item.profile);
    if (!item.help.empty()) out += fmt::format("  {}help:{} {}\n", palette.help, palette.plain, one_line(item.help));
  }
  return out;
}

std::string tally(const Diagnostics& diagnostics) {
  std::vector<std::string> parts;
  std::size_t errors = diagnostics.count(Severity::error);
  parts.push_back(errors == 0 ? "no errors" : counted(errors, "error"));
  if (std::size_t n = diagnostics.count(Severity::warning)) parts.push_back(counted(n, "warning"));
  if (std::size_t n = diagnostics.count(Severity::note)) parts.push_back(counted(n, "note"));
  return join_words(parts);
}

void diagnostics_json(const Diagnostics& diagnostics, const Sources& sources, JsonWriter& json) {
  json.open_list();
  for (const Diagnostic& item : diagnostics.items()) {
    json.open_object();
    json.field("code", describe(item.code).name)
        .field("severity", name_of(item.severity))
        .field("message", item.message);
    json_place(sources, item.span, json);
    json.field("help", item.help);
    if (!item.rule.empty()) json.field("rule", item.rule);
    if (item.profiles > 0)
      json.field("profile", item.profile).key("profiles").whole(static_cast<long long>(item.profiles));
    json.key("related").open_list();
    for (const Related& each : item.related) {
      json.open_object().field("message", each.message);
      json_place(sources, each.span, json);
      json.close();
    }
    json.close().close();
  }
  json.close();
}

}  // namespace bindery
