// What the families share: entries gathered under their sections while a file is read, a content as a tree while one is
// written, and what each family gives to family.cpp.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "base/utf8.h"
#include "dialect/family.h"

namespace bindery {

inline constexpr std::string_view blank_letters = " \t";

// Without the blanks and tabs at its ends.
std::string_view trimmed(std::string_view text);

// As find_hidden(), and U+FFFE and U+FFFF, which neither XML nor YAML holds.
std::optional<HiddenCharacter> find_forbidden(std::string_view text);

// A text's lines one after another, each without its line break.
class Lines {
 public:
  explicit Lines(std::string_view text) : text_(text) {}
  bool next();
  std::string_view line() const { return line_; }
  std::size_t begin() const { return begin_; }  // its place in the text

 private:
  std::string_view text_, line_;
  std::size_t begin_ = 0, at_ = 0;
};

// The comment of a line that begins with `sign`: what follows the sign and one blank.
std::string comment_after(std::string_view sign, std::string_view line);

// Such lines; a comment with line breaks makes several.
std::string comment_lines(std::string_view sign, const std::vector<std::string>& comments);

// The entries of one file as they are met, within the limits of what is read. What is refused is reported here; a
// reader goes on until stopped(), and does nothing about false.
class Gathering {
 public:
  using Section = std::uint32_t;
  static constexpr Section top = 0;

  // `apart`: a key and a section that stand side by side may have one name.
  Gathering(FileId id, Diagnostics& out, bool apart) : id_(id), out_(out), apart_(apart) {}

  Span span(std::size_t begin, std::size_t end) const {
    return {id_, static_cast<std::uint32_t>(begin), static_cast<std::uint32_t>(end)};
  }
  Diagnostic& report(Code code, Span place, std::string message);
  // Reports what ends the reading.
  void give_up(Span place, std::string message, std::string help);
  bool stopped() const { return stopped_; }

  void comment(std::string text, Span place);

  // Is it a name of a key or section that can be carried?
  bool sound_name(std::string_view name, Span place);
  // The text of a value: CR LF as a line break.
  std::string sound_value(std::string text, Span place);

  // Takes a sound name for a key or a section; false where it is taken.
  bool claim(Section within, std::string_view name, Span place);
  // A section that was claimed or needs not be.
  std::optional<Section> create(Section within, std::string_view name, Span place);
  // The section of that name, made where there is none; it may be met several times. The next key repeats none.
  std::optional<Section> reopen(Section within, std::string_view name, Span place);

  // Starts an entry, and gives values to the last one. A key is claimed before.
  bool start(Section section, std::string_view key, bool list, Span place);
  void value(Scalar scalar, Span place);
  bool add(Section section, std::string_view key, Scalar scalar, Span place);
  // Key by key with repetition: claims and adds, or makes a list of the last entry if that has the key.
  void repeat(Section section, std::string_view key, Scalar scalar, Span key_place, Span place);
  Entry& last() { return entries_.back(); }
  // Removes the last entry.
  Entry take_back();

  // All of it; nothing after a report.
  std::optional<FileContent> finish();

 private:
  struct Name {
    Span first;
    std::optional<Section> section;
  };
  struct Place {
    Section within = top;
    std::string name;
    std::size_t depth = 0;
    std::size_t weight = 0;
  };
  std::pair<Name&, bool> name_at(bool section, Section within, std::string_view name, Span place);
  bool count(Span place);

  FileId id_;
  Diagnostics& out_;
  bool apart_;
  bool failed_ = false, stopped_ = false, parted_ = false;
  std::size_t reports_ = 0, counted_ = 0, weight_ = 0;
  std::vector<std::string> comments_;
  std::vector<Entry> entries_;
  std::vector<Section> of_;  // the section of each entry
  std::vector<Place> sections_{1};
  std::unordered_map<std::string, Name> names_;
};

// The entries of a content by section, in the order in which sections are met; by the first name alone with `depth` 1.
// Empty lists are left out.
std::vector<std::vector<const Entry*>> by_section(const FileContent& content, std::size_t depth);

// A content as a tree. branches[0] is the top; an item is an entry, or the branch of a section.
struct Branches {
  struct Item {
    const Entry* entry = nullptr;
    std::size_t branch = 0;
  };
  struct Branch {
    std::string_view name;
    std::vector<Item> items;
  };
  std::vector<Branch> branches;

  // `empty_lists`: the family can write them.
  Branches(const FileContent& content, bool empty_lists);
};

// For each family: its writer; its reader, for a text whose bytes are checked; its own part of why_unfit(), for a name
// that is neither empty nor holds a forbidden character; and what shows of a layout.
std::string write_ini(const Layout& layout, const FileContent& content);
std::string write_json(const Layout& layout, const FileContent& content);
std::string write_yaml(const Layout& layout, const FileContent& content);
std::string write_csv(const Layout& layout, const FileContent& content);
std::string write_xml(const Layout& layout, const FileContent& content);

void read_ini(const Layout& layout, const SourceFile& file, Gathering& to);
void read_json(const SourceFile& file, Gathering& to);
void read_yaml(FileId id, const SourceFile& file, Gathering& to);
void read_csv(const Layout& layout, const SourceFile& file, Gathering& to);
void read_xml(const Layout& layout, const SourceFile& file, Gathering& to);

std::string unfit_ini(const Layout& layout, std::string_view name, bool section);
std::string unfit_xml(const Layout& layout, std::string_view name, bool section);

void recognise_ini(std::string_view text, Layout& layout);
void recognise_json(std::string_view text, Layout& layout);
void recognise_yaml(std::string_view text, Layout& layout);
void recognise_csv(std::string_view text, Layout& layout);
void recognise_xml(std::string_view text, Layout& layout);

// The blanks of the first line that is indented.
std::optional<int> likely_indent(std::string_view text);

// Is it XML that defines nothing itself, as far as single tags and references tell? Reported where not.
bool sound_markup(std::string_view text, Gathering& to);

// The delimiter that stands equally often in each of the first records; nothing where none does.
std::optional<char> likely_delimiter(std::string_view text);

}  // namespace bindery
