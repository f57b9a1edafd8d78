// What the tests of families share: a file that was read, contents as short lines, and contents by chance.
#pragma once

#include <array>
#include <random>
#include <set>

#include "base/json.h"
#include "dialect/family.h"

#include "../support.h"

namespace bindery::test {

inline constexpr std::array read_families = {FileFamily::ini, FileFamily::json, FileFamily::yaml, FileFamily::csv,
                                             FileFamily::xml};

// A text as a file of a family.
struct FamilyFile {
  Sources sources;
  Diagnostics out;
  std::optional<FileContent> content;

  FamilyFile(FileFamily family, std::string text, const Layout& layout = {})
      : sources(sources_of({{"file", std::move(text)}})) {
    content = read_content(family, layout, 0, sources[0], out);
    // It is content or a report, and every place lies in the file.
    CHECK(content.has_value() != out.any_errors());
    auto within = [&](Span span) {
      CHECK((span.file == 0 && span.begin <= span.end && span.end <= sources[0].text.size()));
    };
    for (const Diagnostic& item : out.items()) {
      within(item.span);
      CHECK(!item.help.empty());
      for (const Related& related : item.related) within(related.span);
    }
    if (!content) return;
    for (const Entry& entry : content->entries) within(entry.span);
  }

  std::string said() const { return pointed(out, sources); }
};

// `a/b key "text"`, a line each: bare scalars without quotes, lists in brackets, comments after `#`.
inline std::string shown(const FileContent& content) {
  std::string all;
  for (const std::string& comment : content.comments) all += fmt::format("# {}\n", comment);
  for (const Entry& entry : content.entries) {
    std::vector<std::string> values;
    for (const Scalar& scalar : entry.values) values.push_back(scalar.bare ? scalar.text : json_quoted(scalar.text));
    std::string value = fmt::format("{}", fmt::join(values, ", "));
    all += fmt::format("{}{}{} {}\n", fmt::join(entry.section, "/"), entry.section.empty() ? "" : " ", entry.key,
                       entry.list ? "[" + value + "]" : value);
  }
  return all;
}

// What a file says: its content, or the codes and the bytes that they point at.
inline std::string reading(FileFamily family, std::string text, const Layout& layout = {}) {
  FamilyFile file(family, std::move(text), layout);
  return file.content ? shown(*file.content) : file.said();
}

inline Entry one(std::vector<std::string> section, std::string key, std::string text, bool bare = false) {
  return {std::move(section), std::move(key), {{std::move(text), bare}}, false, {}};
}
inline Entry several(std::vector<std::string> section, std::string key, const std::vector<std::string>& texts,
                     bool bare = false) {
  Entry out{std::move(section), std::move(key), {}, true, {}};
  for (const std::string& text : texts) out.values.push_back({text, bare});
  return out;
}

// Texts that one family or another has to write with care.
inline const std::vector<std::string>& awkward_pieces() {
  static const std::vector<std::string> pieces = {"a",
                                                  "b c",
                                                  "\"",
                                                  "'",
                                                  "=",
                                                  ":",
                                                  ": ",
                                                  "#",
                                                  " #",
                                                  ";",
                                                  ",",
                                                  "<",
                                                  "&",
                                                  ">",
                                                  "]]>",
                                                  "<!--",
                                                  "-->",
                                                  "--",
                                                  "&amp;",
                                                  "&#10;",
                                                  "<a/>",
                                                  "\xc3\xa9",
                                                  "\xe2\x82\xac",
                                                  "\xf0\x9f\x99\x82",
                                                  "\xe2\x80\xa8",
                                                  "\xe2\x80\xa9",
                                                  "\xc2\xa0",
                                                  "\t",
                                                  "\n",
                                                  "\n\n",
                                                  " ",
                                                  "  ",
                                                  "",
                                                  "true",
                                                  "012",
                                                  "1e5",
                                                  "-0",
                                                  "1:30",
                                                  "2020-01-01",
                                                  "yes",
                                                  "null",
                                                  "~",
                                                  "\\",
                                                  "\\n",
                                                  "\\s",
                                                  "\\\\",
                                                  "[",
                                                  "]",
                                                  "[x]",
                                                  "{",
                                                  "}",
                                                  "- ",
                                                  "-",
                                                  "---",
                                                  "...",
                                                  "%",
                                                  "@",
                                                  "`",
                                                  "*",
                                                  "!",
                                                  "|",
                                                  "?",
                                                  "? ",
                                                  "<<",
                                                  "/",
                                                  "${x}",
                                                  "\"\"",
                                                  "0x1f",
                                                  ".inf",
                                                  "G1 X{1}"};
  return pieces;
}

// Draws contents that can be written in a family and layout, the same ones for the same seed.
class Chance {
 public:
  explicit Chance(unsigned seed) : random_(seed) {}

  std::size_t below(std::size_t end) { return random_() % end; }
  bool yes() { return below(2) == 0; }

  std::string text() {
    std::string out;
    for (std::size_t left = below(5); left > 0; --left) out += awkward_pieces()[below(awkward_pieces().size())];
    return out;
  }
  std::string name(FileFamily family, const Layout& layout, bool section) {
    for (;;) {
      std::string out = text() + std::to_string(++names_);
      if (below(3) == 0) out = "k" + std::to_string(names_);
      if (why_unfit(family, layout, out, section).empty()) return out;
    }
  }

  Layout layout() {
    Layout out;
    auto any = [&](auto... values) {
      std::vector<std::string> all{values...};
      return all[below(all.size())];
    };
    out.separator = any("=", " = ", ": ", ":");
    out.comment = any("#", ";");
    out.indent = static_cast<int>(below(5));
    out.delimiter = any(",", ";", "\t")[0];
    out.root = any("profile", "r");
    out.item = any("", "", "item");
    out.key_in = any("name", "key");
    out.value_in = any("", "", "value");
    out.section = any("", "", "group", "item");
    return out;
  }

  FileContent content(FileFamily family, const Layout& layout) {
    FileContent out;
    for (std::size_t left = below(3); left > 0; --left) out.comments.push_back(any_line());
    if (family == FileFamily::csv) records(layout, out);
    else section({}, family, layout, out);
    return out;
  }

 private:
  std::string any_line() {
    std::string out;
    do out = text();
    while (out.find('\n') != std::string::npos || out.find("--") != std::string::npos ||
           out.find("\xe2\x80") != std::string::npos);
    return out;
  }

  Scalar scalar() {
    static const std::vector<std::string> bare = {
        "0",    "-1",    "1.50", "1e5", "123456789012345678901234567890", "0.1000000000000000055511151231257827",
        "true", "false", "null"};
    if (below(3) == 0) return {bare[below(bare.size())], true};
    return {text(), false};
  }

  void entry(const std::vector<std::string>& section, std::string key, FileFamily family, FileContent& out) {
    Entry made{section, std::move(key), {}, family != FileFamily::csv && below(4) == 0, {}};
    for (std::size_t left = made.list ? below(4) : 1; left > 0; --left) made.values.push_back(scalar());
    out.entries.push_back(std::move(made));
  }

  void section(const std::vector<std::string>& path, FileFamily family, const Layout& layout, FileContent& out) {
    for (std::size_t left = below(4); left > 0; --left) entry(path, name(family, layout, false), family, out);
    if (path.size() >= 3) return;
    for (std::size_t left = below(3); left > 0; --left) {
      std::vector<std::string> inner = path;
      inner.push_back(name(family, layout, true));
      section(inner, family, layout, out);
    }
  }

  void records(const Layout& layout, FileContent& out) {
    std::vector<std::string> keys;
    for (std::size_t left = 1 + below(4); left > 0; --left) keys.push_back(name(FileFamily::csv, layout, false));
    std::size_t number = 0;
    for (std::size_t left = below(5); left > 0; --left) {
      std::vector<std::string> record = {std::to_string(number + 1)};
      std::size_t before = out.entries.size();
      // The first record names all columns, so that their order is that of the others too.
      for (const std::string& key : keys) {
        if (number == 0 || yes()) entry(record, key, FileFamily::csv, out);
      }
      if (out.entries.size() > before) ++number;
    }
  }

  std::mt19937 random_;
  std::size_t names_ = 0;
};

// How a content comes back: what the family cannot tell is as it is read.
inline FileContent as_read(FileFamily family, const FileContent& content) {
  bool marked = family == FileFamily::json || family == FileFamily::yaml;
  FileContent out = content;
  if (family == FileFamily::json || family == FileFamily::csv) out.comments.clear();
  if (marked) return out;
  std::vector<Entry> kept;
  for (Entry& entry : out.entries) {
    for (Scalar& scalar : entry.values) scalar.bare = false;
    if (entry.values.size() < 2) entry.list = false;
    if (!entry.values.empty()) kept.push_back(std::move(entry));
  }
  out.entries = std::move(kept);
  return out;
}

}  // namespace bindery::test
