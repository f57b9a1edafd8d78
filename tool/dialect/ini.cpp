// ini: `[section]` and `key = value`, a line each. There is no grammar that all programs share; this is what common
// readers take alike. A backslash before n, t, s or itself makes a line break, a tab, a blank at an end and a
// backslash.
#include <fmt/format.h>

#include "dialect/families.h"

namespace bindery {

namespace {

// What stands between key and value without its blanks; a blank where that is all.
std::string_view sign_of(const Layout& layout) {
  std::string_view sign = trimmed(layout.separator);
  return sign.empty() ? std::string_view(" ") : sign;
}

std::string escaped(std::string_view value) {
  std::string out;
  for (std::size_t i = 0; i < value.size(); ++i) {
    switch (value[i]) {
      case '\\': out += "\\\\"; break;
      case '\n': out += "\\n"; break;
      case '\t': out += "\\t"; break;
      case ' ': out += i == 0 || i + 1 == value.size() ? "\\s" : " "; break;
      default: out += value[i];
    }
  }
  return out;
}

// Readers that strip blanks may strip those of Unicode too.
bool starts_or_ends_blank(std::string_view name) {
  for (std::string_view blank : {" ", "\xc2\xa0", "\xe1\x9a\x80", "\xe2\x80\xa8", "\xe2\x80\xa9", "\xe2\x80\xaf",
                                 "\xe2\x81\x9f", "\xe3\x80\x80"}) {
    if (name.starts_with(blank) || name.ends_with(blank)) return true;
  }
  auto wide = [](std::string_view letter) {
    return letter.starts_with("\xe2\x80") && static_cast<unsigned char>(letter[2]) <= 0x8a;
  };
  return name.size() >= 3 && (wide(name.substr(0, 3)) || wide(name.substr(name.size() - 3)));
}

// A backslash before any other letter is one.
std::string unescaped(std::string_view value) {
  std::string out;
  for (std::size_t i = 0; i < value.size(); ++i) {
    char next = value[i] == '\\' && i + 1 < value.size() ? value[i + 1] : '\0';
    std::size_t which = next == '\0' ? std::string_view::npos : std::string_view("\\nts").find(next);
    if (which != std::string_view::npos) ++i;
    out += which == std::string_view::npos ? value[i] : "\\\n\t "[which];
  }
  return out;
}

class IniReader {
 public:
  IniReader(const Layout& layout, std::string_view text, Gathering& to)
      : sign_(sign_of(layout)), lines_(text), to_(to) {}

  void read() {
    for (bool head = true; lines_.next() && !to_.stopped();) {
      std::string_view line = trimmed(lines_.line());
      if (line.empty()) continue;
      if (line[0] == '#' || line[0] == ';') {
        if (head) to_.comment(comment_after(line.substr(0, 1), lines_.line()), place(line));
        continue;
      }
      head = false;
      if (line[0] == '[') section(line);
      else key(line);
    }
  }

 private:
  // The place of a part of the current line.
  Span place(std::string_view part) const {
    std::size_t begin = lines_.begin() + static_cast<std::size_t>(part.data() - lines_.line().data());
    return to_.span(begin, begin + part.size());
  }

  void section(std::string_view line) {
    section_.reset();
    std::size_t end = line.find(']');
    if (end == std::string_view::npos) {
      to_.report(Code::program_file, place(line), "this section is never closed").with_help("write it as `[name]`");
      return;
    }
    std::string_view rest = trimmed(line.substr(end + 1));
    if (!rest.empty() && rest[0] != '#' && rest[0] != ';') {
      to_.report(Code::program_file, place(rest), "this follows the name of a section on its line")
          .with_help("put a key on a line of its own");
      return;
    }
    std::string_view path = trimmed(line.substr(1, end - 1));
    Gathering::Section within = Gathering::top;
    for (bool more = true; more;) {
      std::size_t slash = path.find('/');
      std::string_view name = path.substr(0, slash);
      Span span = place(name.empty() ? line : name);
      if (!to_.sound_name(name, span)) return;
      auto next = to_.reopen(within, name, span);
      if (!next) return;
      within = *next;
      more = slash != std::string_view::npos;
      if (more) path.remove_prefix(slash + 1);
    }
    section_ = within;
  }

  void key(std::string_view line) {
    std::size_t at = sign_ == " " ? line.find_first_of(blank_letters) : line.find(sign_);
    if (at == std::string_view::npos && sign_ == " ") at = line.size();
    if (at == std::string_view::npos) {
      to_.report(Code::program_file, place(line),
                 fmt::format("this line holds no '{}' between a key and a value", sign_))
          .with_help(fmt::format("write `key{}value` or `[section]`, a line each", sign_));
      return;
    }
    std::string_view key = trimmed(line.substr(0, at));
    std::string_view value = trimmed(line.substr(std::min(at + sign_.size(), line.size())));
    Span key_place = place(key.empty() ? line : key), value_place = place(value.empty() ? line : value);
    if (!section_ || !to_.sound_name(key, key_place)) return;
    to_.repeat(*section_, key, {unescaped(value), false}, key_place, value_place);
  }

  std::string_view sign_;
  Lines lines_;
  Gathering& to_;
  std::optional<Gathering::Section> section_ = Gathering::top;  // none: its name was reported
};

}  // namespace

std::string write_ini(const Layout& layout, const FileContent& content) {
  std::string out = comment_lines(layout.comment, content.comments);
  auto write = [&](const std::vector<const Entry*>& entries) {
    for (const Entry* entry : entries) {
      for (const Scalar& scalar : entry->values) {
        std::string line = entry->key + layout.separator + escaped(scalar.text);
        line.resize(line.find_last_not_of(' ') + 1);
        out += line + '\n';
      }
    }
  };
  auto sections = by_section(content, std::string::npos);
  // A key below a section's name would be of that section.
  for (const auto& entries : sections) {
    if (entries.front()->section.empty()) write(entries);
  }
  for (const auto& entries : sections) {
    const auto& names = entries.front()->section;
    if (names.empty()) continue;
    out += fmt::format("{}[{}]\n", out.empty() ? "" : "\n", fmt::join(names, "/"));
    write(entries);
  }
  return out.empty() ? "\n" : out;
}

void read_ini(const Layout& layout, const SourceFile& file, Gathering& to) { IniReader(layout, file.text, to).read(); }

std::string unfit_ini(const Layout& layout, std::string_view name, bool section) {
  if (starts_or_ends_blank(name))
    return fmt::format("{} starts and ends with no blank", section ? "an ini section" : "an ini key");
  if (section) {
    for (char sign : {'[', ']', '/'}) {
      if (name.find(sign) != std::string_view::npos)
        return fmt::format("the name of an ini section holds no '{}'", sign);
    }
    return {};
  }
  std::string_view own = sign_of(layout);
  for (std::string_view sign : {own, std::string_view("="), std::string_view(":")}) {
    if (name.find(sign) != std::string_view::npos) return fmt::format("an ini key holds no '{}'", sign);
  }
  for (std::string_view sign :
       {std::string_view(layout.comment), std::string_view("#"), std::string_view(";"), std::string_view("[")}) {
    if (!sign.empty() && name.starts_with(sign)) return fmt::format("an ini key starts with no '{}'", sign);
  }
  return {};
}

void recognise_ini(std::string_view text, Layout& layout) {
  bool separator = false, comment = false;
  for (Lines lines(text); lines.next() && !(separator && comment);) {
    std::string_view line = trimmed(lines.line());
    if (line.empty() || line[0] == '[') continue;
    if (line[0] == '#' || line[0] == ';') {
      if (!comment) layout.comment = line.substr(0, 1);
      comment = true;
      continue;
    }
    std::size_t sign = line.find_first_of("=:");
    if (separator || sign == std::string_view::npos) continue;
    std::size_t begin = sign, end = sign + 1;
    while (begin > 0 && line[begin - 1] == ' ') --begin;
    while (end < line.size() && line[end] == ' ') ++end;
    layout.separator = line.substr(begin, end - begin);
    separator = end < line.size();  // of a key without a value, what stands behind the sign was cut off
  }
}

}  // namespace bindery
