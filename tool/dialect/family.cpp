#include "dialect/family.h"

#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "dialect/families.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

constexpr std::array<std::string_view, family_count> names = {"ini", "json", "yaml", "csv", "xml", "text"};

// Reports what makes the bytes of any family unfit.
bool sound_bytes(const SourceFile& file, Gathering& to) {
  std::string_view text = file.text;
  std::size_t clean = clean_length(text);
  if (text.size() > largest_program_file) {
    to.report(Code::file_too_large, to.span(0, 0),
              fmt::format("the file has {} bytes, and at most {} MiB are read", text.size(),
                          largest_program_file / (1024 * 1024)))
        .with_help("take a file that holds fewer profiles");
  } else if (text.empty()) {
    to.report(Code::file_empty, to.span(0, 0), "the file is empty").with_help("take it anew from the program");
  } else if (text.starts_with("\xef\xbb\xbf")) {
    to.report(Code::file_encoding, to.span(0, 3), "the file starts with a byte-order mark")
        .with_help("save it as UTF-8 without a mark");
  } else if (auto hidden = find_forbidden(text.substr(0, clean))) {
    to.report(Code::character_forbidden, to.span(hidden->at, hidden->at + hidden->length),
              fmt::format("the character U+{:04X} is not allowed: it hides or reorders what a reader sees",
                          static_cast<unsigned>(hidden->character)))
        .with_help("delete it");
  } else if (clean < text.size()) {
    to.report(Code::file_encoding, to.span(clean, clean + 1), "the bytes from here on are not UTF-8")
        .with_help("save the file as UTF-8");
  } else {
    return true;
  }
  return false;
}

bool stands_before(std::string_view line, char sign, std::string_view others) {
  std::size_t at = line.find(sign);
  return at != std::string_view::npos && at > 0 && line.find_first_of(others) > at;
}

// Is it `key: value`, `key:` or `- item`?
bool is_yaml_line(std::string_view line) {
  if (line.starts_with("---") || line.starts_with("%YAML") || line.starts_with("- ")) return true;
  std::size_t quote = line.find_first_of("\"'") == 0 ? line.find(line[0], 1) : 0;
  if (quote == std::string_view::npos) return false;
  line.remove_prefix(quote);
  for (std::size_t at = line.find(':'); at != std::string_view::npos; at = line.find(':', at + 1)) {
    if (at + 1 < line.size() && line[at + 1] != ' ') continue;
    return at > 0 && line.find_first_of(",;\t=") > at;
  }
  return false;
}

}  // namespace

std::string_view name_of(FileFamily family) { return names[static_cast<std::size_t>(family)]; }

std::optional<FileFamily> family_named(std::string_view word) {
  auto at = std::find(names.begin(), names.end(), word);
  if (at == names.end()) return std::nullopt;
  return static_cast<FileFamily>(at - names.begin());
}

std::string write_content(FileFamily family, const Layout& layout, const FileContent& content) {
  switch (family) {
    case FileFamily::ini: return write_ini(layout, content);
    case FileFamily::json: return write_json(layout, content);
    case FileFamily::yaml: return write_yaml(layout, content);
    case FileFamily::csv: return write_csv(layout, content);
    case FileFamily::xml: return write_xml(layout, content);
    case FileFamily::text: break;
  }
  return {};
}

std::string why_unfit(FileFamily family, const Layout& layout, std::string_view name, bool section) {
  std::string_view what = section ? "the name of a section" : "a key";
  if (name.empty()) return fmt::format("{} is not empty", what);
  if (name.size() > most::key_letters) return fmt::format("{} has at most {} letters", what, most::key_letters);
  if (!is_plain_name(name) || find_forbidden(name))
    return fmt::format("{} holds no control characters and nothing hidden", what);
  if (family == FileFamily::ini) return unfit_ini(layout, name, section);
  if (family == FileFamily::xml) return unfit_xml(layout, name, section);
  return {};
}

std::optional<FileContent> read_content(FileFamily family, const Layout& layout, FileId id, const SourceFile& file,
                                        Diagnostics& out) {
  // In these a key and a section are told apart by more than their name.
  bool apart =
      family == FileFamily::ini || (family == FileFamily::xml && !(layout.item.empty() && layout.section.empty()));
  Gathering to(id, out, apart);
  if (!sound_bytes(file, to)) return std::nullopt;
  switch (family) {
    case FileFamily::ini: read_ini(layout, file, to); break;
    case FileFamily::json: read_json(file, to); break;
    case FileFamily::yaml: read_yaml(id, file, to); break;
    case FileFamily::csv: read_csv(layout, file, to); break;
    case FileFamily::xml: read_xml(layout, file, to); break;
    case FileFamily::text:
      to.report(Code::program_file, to.span(0, 0), "a sheet is read with its template alone")
          .with_help("name its dialect");
      break;
  }
  return to.finish();
}

std::optional<FileFamily> recognise_family(std::string_view text) {
  std::size_t first = text.find_first_not_of(" \t\r\n");
  if (first == std::string_view::npos) return std::nullopt;
  if (text[first] == '{') return FileFamily::json;
  if (text[first] == '<') return FileFamily::xml;
  bool yaml = false;
  for (Lines lines(text); lines.next();) {
    std::string_view line = trimmed(lines.line());
    if (line.empty() || line[0] == '#' || line[0] == ';') continue;
    if (line[0] == '[' && lines.line()[0] == '[') {
      if (line.back() == ']' && line.find_first_of("\"',{", 1) == std::string_view::npos) return FileFamily::ini;
      if (!yaml) return FileFamily::json;  // a list
    }
    if (yaml) continue;
    if (stands_before(line, '=', ",;\t:\"")) return FileFamily::ini;
    yaml = is_yaml_line(line);
    if (!yaml) break;
  }
  if (yaml) return FileFamily::yaml;
  if (likely_delimiter(text)) return FileFamily::csv;
  return std::nullopt;
}

Layout recognise_layout(FileFamily family, std::string_view text) {
  Layout layout;
  switch (family) {
    case FileFamily::ini: recognise_ini(text, layout); break;
    case FileFamily::json: recognise_json(text, layout); break;
    case FileFamily::yaml: recognise_yaml(text, layout); break;
    case FileFamily::csv: recognise_csv(text, layout); break;
    case FileFamily::xml: recognise_xml(text, layout); break;
    case FileFamily::text: break;
  }
  return layout;
}

}  // namespace bindery
