// Stage 6: dialects, the tables of profiles-src/dialect/ that write profiles in the words of other programs, and read
// them back.
//
// A dialect names the files that the program wants; a file has rows, and a row says what stands at one key: a formula
// in a unit, a script, a constant, or what the release knows of the profile. Nothing here knows a program or a setting
// by name.
#pragma once

#include <deque>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "dialect/family.h"
#include "resolve/tree.h"

namespace bindery {

// How a value is written and read.
struct RowFormat {
  const Unit* unit = nullptr;    // that numbers stand in; null: a count, or no number
  std::optional<int> decimals;   // at most so many; absent: as many as it takes, six at most
  bool rounds = false;           // digits beyond them may be lost: the file is for people to read
  bool padded = false;           // with all its decimals
  bool signed_always = false;    // `+` before what is not negative
  std::string_view point = ".";  // the decimal sign
  std::string_view suffix;       // behind each number
  std::string_view yes = "true", no = "false";
  std::vector<std::pair<std::string_view, std::string_view>> words;  // of the setting, of the program
  bool mapped = false;                                               // `words` was given: others have no spelling
  std::optional<std::string_view> joined;                            // a list as one text, with this between
  bool bare = false;                                                 // json, yaml: numbers and flags without quotes
};

// What the release or the profile knows, and no setting.
enum class Told : std::uint8_t { id, title, machine, material, process, tier, status, version, digest, publisher };
inline constexpr std::size_t told_count = 10;
std::string_view name_of(Told told);
std::optional<Told> told_named(std::string_view word);
std::vector<std::string_view> told_words();

struct Row {
  enum class Feed : std::uint8_t { formula, script, constant, told, file } feed = Feed::constant;
  std::vector<std::string_view> section;
  std::string_view key;
  Span span;  // of the key
  Formula formula;
  bool one_key = false;  // the formula is a setting alone: its value is read back as it is
  ScriptSlot slot = ScriptSlot::start;
  std::vector<std::string_view> constant;
  bool constant_list = false;
  Told told = Told::id;
  std::size_t file = 0;  // index in Dialect::files: the row holds that file's name
  bool stem = false;     // without its folders and ending
  RowFormat format;
  std::optional<Formula> repeat;          // so many times, as a list
  std::optional<Formula> when;            // left out where it does not hold
  std::optional<std::string_view> unset;  // written where the formula reads an unset setting; absent: left out
};

// A pattern of a file's or a part's name: literals and what is told.
struct ToldText {
  struct Piece {
    std::string_view literal;
    std::optional<Told> told;
  };
  std::vector<Piece> pieces;
  Span span;
  bool empty() const { return pieces.empty(); }
};

// A profile of the program that files may refer to: what it holds is left out where it is the same.
struct Parent {
  std::string_view name;
  Span span;
  std::optional<Formula> when;  // the first that holds is taken
  struct Holding {
    std::vector<std::string_view> section;
    std::string_view key, text;
    Span span;
  };
  std::vector<Holding> holds;
};

struct DialectFile {
  std::string_view name;  // in the dialect
  Span span;
  FileFamily family = FileFamily::ini;
  Layout layout;
  ToldText path;
  std::optional<ToldText> each;  // of a file for all profiles: what each one's part is named
  bool for_all = false;
  std::optional<ToldText> comment;  // the line at its head
  std::vector<Row> rows;
  // Differences from a parent: the row that names it, and the parents.
  Span parent_span;
  std::string_view parent_key;
  std::vector<std::string_view> parent_section;
  std::vector<Parent> parents;
  Text text;  // the template of the family text
};

struct Dialect {
  std::string name;  // of the file that it is written in
  FileId file = no_file;
  std::string_view title, about;
  std::vector<Text> tried;  // versions of the program
  Tier tier = Tier::free;
  std::vector<Text> without;  // globs over settings that the program has no place for
  // How the program spells what only the running job knows; and `${...}` of a setting alone that a row
  // carries, with `{key}` for the row's key (empty: the value is written).
  std::map<std::string_view, std::string_view> job;
  std::string_view fed;
  std::vector<DialectFile> files;
  bool broken = false;  // an error was reported

  std::shared_ptr<const Document> document;  // owns the texts that are not bytes of the files
};

// Reads the dialects of a tree, sorted by name. Reports what is wrong in them; such a one is broken and writes nothing.
std::vector<Dialect> read_dialects(const Tree& tree, Diagnostics& out);

}  // namespace bindery
