// Stage 1: the texts of a tree, under stable names, from a folder or a git revision.
//
// A tree's texts are profiles-src/bindery.yaml, profiles-src/{machine,material,process}/**.yaml,
// profiles-src/trial/*.yaml, profiles-src/dialect/*.yaml, schema/*.yaml, release/plan.yaml, release/ledger.yaml,
// release/notes/*.yaml and release/texts/*.txt. Each is checked here for what later stages take for granted: a regular
// file of at most 256 KiB in clean UTF-8.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/diagnostic.h"

namespace bindery {

inline constexpr std::size_t largest_text = 256 * 1024;
inline constexpr std::string_view ledger_path = "release/ledger.yaml";

// What the file system says of a file, as of the moment before it was read. As long as it says the same, the bytes are
// the same, but for changes within the grain of its clock; see `changed`.
struct FileStamp {
  std::uint64_t size = 0, inode = 0;
  std::int64_t modified = 0, changed = 0;  // nanoseconds since 1970; `changed` is set by the system alone
  bool operator==(const FileStamp&) const = default;
  // Of a time before that one? Later changes might bear the same stamp.
  bool is_before(std::int64_t time) const { return changed < time && modified < time; }
};

struct SourceFile {
  std::string path;  // from the root, with '/'
  std::string text;
  bool sound = true;    // false: already reported, not to be parsed
  bool named = true;    // false: its name was reported, and `path` tells it as it can be shown
  bool present = true;  // false: the tree has no such file; it keeps the numbers of two trees in step, see align()
  std::string blob{};   // git's name of the bytes, forty hexadecimal digits, where the text came from git
  FileStamp stamp{};    // where it came from a folder
};

// A folder, by its path from the root, and what the file system said of it before its names were read.
using StampedFolder = std::pair<std::string, FileStamp>;

struct Sources {
  std::vector<SourceFile> files;       // sorted by path; never changed after reading, so views into texts hold
  std::vector<StampedFolder> folders;  // where they come from folders: all of these

  const SourceFile& operator[](FileId id) const { return files[id]; }
  // The file of that path; no_file where the tree has none.
  FileId find(std::string_view path) const;
};

// Gives two trees' files the same numbers, so that what is read of a text that both have serves both: each gets a place
// that is not `present` for what only the other one has, and for each of `more`. The reports on both are renumbered;
// nothing else that holds a number may exist yet.
void align(Sources& a, Diagnostics& of_a, Sources& b, Diagnostics& of_b, const std::vector<std::string>& more = {});

// One digest of what the profiles are made of (profiles-src, schema, the plan), the same for a folder and for a
// revision with the same bytes.
std::string content_digest(const Sources& sources);

// Line and column from 1; a column is a code point.
struct Position {
  std::size_t line = 1;
  std::size_t column = 1;
};
Position position_of(const SourceFile& file, std::size_t offset);

// The nearest folder from `start` upward that holds profiles-src/. Throws UsageError where there is none.
std::filesystem::path find_root(const std::filesystem::path& start);

// Reads the tree below `root`, on so many threads. What cannot be read is reported and stands in the result as unsound.
Sources read_folder(const std::filesystem::path& root, unsigned jobs, Diagnostics& out);

// What a tree's folders hold, sorted, with nothing read.
struct Listing {
  std::vector<std::string> paths;
  bool sound = true;  // false: not all are texts of a tree, and reading would report that
};
Listing list_folder(const std::filesystem::path& root);

// What was read of a folder before: all files by path, and the folders that they stand in.
struct Before {
  std::vector<std::string_view> paths;
  const std::vector<StampedFolder>& folders;
};

// What the file system says of the same now; nothing where the tree has other paths by now, or not all of them are
// texts. Only folders are listed again whose stamps have changed, or are not of before the time that is `trusted`.
struct Stamps {
  std::vector<FileStamp> files;        // of each path
  std::vector<StampedFolder> folders;  // by path
};
std::optional<Stamps> stamp_again(const std::filesystem::path& root, unsigned jobs, const Before& before,
                                  std::int64_t trusted);

// Some of a tree's files, sorted; those that are gone by now are left out.
Sources read_files(const std::filesystem::path& root, const std::vector<std::string>& paths, Diagnostics& out);

// The same for release/notes/ alone.
Sources read_notes(const std::filesystem::path& root, Diagnostics& out);

// Does it stand below profiles-src, schema or release?
bool is_tree_path(std::string_view path);

// Is this path, from the root, one of a tree's texts?
bool is_source_path(std::string_view path);

// Is it one of those that values and profiles depend on, rather than words, notes or records of releases?
bool shapes_profiles(std::string_view path);

// Is it YAML where a reader would expect it to count, and it does not: in no folder that is read, or with another
// ending?
bool is_stray_path(std::string_view path);

// What may stand at a path of a tree instead of a file that is read.
enum class Oddity { link, folder, device, stray, unreadable_file, unreadable_folder, too_large, hidden_name };

// Reports it at the file, and marks the file unsound.
void report_oddity(FileId id, SourceFile& file, Oddity oddity, Diagnostics& out);

// Reports what makes a text unfit (size, encoding, characters that mislead) and marks it unsound.
void check_text(FileId id, SourceFile& file, Diagnostics& out);

}  // namespace bindery
