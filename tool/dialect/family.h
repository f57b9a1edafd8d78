// Files of other programs as neutral content: keys in sections, each with a value or several. What a program's file
// looks like beyond its family is its layout.
//
// Read and write one family each: ini.cpp, json.cpp, yaml.cpp, csv.cpp, xml.cpp (with markup.cpp). A file of the family
// text is a sheet after a template, see sheet.h; nothing here writes or reads one.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/diagnostic.h"
#include "base/span.h"
#include "source/source.h"

namespace bindery {

enum class FileFamily : std::uint8_t { ini, json, yaml, csv, xml, text };
inline constexpr std::size_t family_count = 6;
std::string_view name_of(FileFamily family);
std::optional<FileFamily> family_named(std::string_view word);

// The largest file that is read, how deep its sections may lie, and how many values it may hold, comments included.
inline constexpr std::size_t largest_program_file = 16 * 1024 * 1024;
inline constexpr std::size_t deepest_section = 16;
inline constexpr std::size_t most_entries = 1'000'000;

// The habits of a program within a family; each family looks at its own.
struct Layout {
  // ini: `separator` stands between key and value ("=", " = ", ": "), `comment` before a comment (`#` or `;`).
  std::string separator = " = ";
  std::string comment = "#";
  // json, yaml, xml: blanks a level; json with 0: all on one line.
  int indent = 2;
  // csv: `,`, `;` or a tab.
  char delimiter = ',';
  // xml: the outermost element. A key is an element of its name, with the value as its text; where `item` is given, an
  // element `item` whose attribute `key_in` holds the key. The value is its text, or the attribute `value_in`. A
  // section is an element of its name; where `section` is given, an element `section` whose attribute `key_in` holds
  // the name.
  std::string root = "profile";
  std::string item = {}, key_in = "name", value_in = {}, section = {};

  bool operator==(const Layout&) const = default;
};

struct Scalar {
  std::string text;
  // json, yaml: a number, a flag or null without quotes. Null is read as "null"; in yaml, where nothing is written, as
  // "". What the family cannot hold without quotes is written in quotes.
  bool bare = false;

  bool operator==(const Scalar&) const = default;
};

// A key and what stands there. In csv a section is a record that holds anything: its name is its number among these,
// from 1 on, and keys are the heads of columns; the writer makes a record of each first section, whatever its name, and
// one of what stands at the top. A list in json or yaml that holds other than scalars is read as a section, whose keys
// and sections are numbers from 1 on, and would be written as such.
struct Entry {
  std::vector<std::string> section;  // outermost first; empty: at the top
  std::string key;
  std::vector<Scalar> values;
  bool list = false;  // json, yaml: a list; ini, xml: the key repeated. Never in csv.
  Span span;          // of what was read: the value, or the nearest place that the family tells
};

struct FileContent {
  std::vector<std::string> comments;  // lines at the head; json and csv have none
  // In the order of the file; those of one section stand together, in the place of the first.
  std::vector<Entry> entries;
};

// The bytes of the file, with a line break at its end. The same content gives the same bytes. Keys, sections and values
// are such that why_unfit() says nothing; sections lie no deeper than deepest_section; no key stands twice in a
// section, nor (in json, yaml, and xml where the layout names neither `item` nor `section`) beside a section of its
// name. The order is kept but for this: ini puts the top first; json, yaml and xml a section into the one that holds
// it; csv has the columns in the order in which their keys are first met.
std::string write_content(FileFamily family, const Layout& layout, const FileContent& content);

// Why a key or the name of a section cannot stand in a file of that family and layout ("an ini key holds no '='");
// empty where it can. A value can be any UTF-8 text without hidden characters (base/utf8.h), carriage returns, U+FFFE
// and U+FFFF; line breaks and tabs it may hold.
std::string why_unfit(FileFamily family, const Layout& layout, std::string_view name, bool section);

// Reads a file. Gives nothing after a report of what makes it no file of the family: cut off, malformed, too deep, a
// key twice where that is no list, an entity that XML does not define itself, a YAML alias, bytes that are no UTF-8.
// Whatever write_content() wrote reads back as it was, spans apart. But in ini and xml an empty list comes back as no
// entry, and a list of one as no list; and in comments, xml has put a blank between two hyphens and for a line break,
// and yaml for U+2028 and U+2029. CR LF is read as a line break.
std::optional<FileContent> read_content(FileFamily family, const Layout& layout, FileId id, const SourceFile& file,
                                        Diagnostics& out);

// Which family a file most likely belongs to, by its text alone; never text. And the layout that it was written with,
// as far as it shows.
std::optional<FileFamily> recognise_family(std::string_view text);
Layout recognise_layout(FileFamily family, std::string_view text);

}  // namespace bindery
