// Profiles to files: what each row of a dialect writes for a profile.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "dialect/dialect.h"
#include "dialect/row_memory.h"
#include "resolve/profile.h"
#include "resolve/select.h"

namespace bindery {

// What a release tells of a profile besides its values.
struct Stamp {
  std::string_view version;
  std::string digest;  // SHA-256 of the profile's own file
};

// What one row writes.
struct PartRow {
  static constexpr std::size_t of_parent = static_cast<std::size_t>(-1);
  std::size_t row = of_parent;  // index in DialectFile::rows, or the row that names the parent
  Entry entry;
};

// What a profile gives to a file.
struct PressedPart {
  std::string path;     // below for/<dialect>/
  std::string comment;  // empty: none
  std::vector<PartRow> rows;
  std::vector<std::size_t> lost;   // rows whose value was reported, and not written
  std::vector<PartRow> inherited;  // left out, since the parent holds the same
  const Parent* parent = nullptr;
};

class Press {
 public:
  static constexpr std::size_t no_twin = static_cast<std::size_t>(-1);

  // A sound dialect; tree and dialect outlive the press.
  Press(const Tree& tree, const Dialect& dialect);

  // What stands in the dialect's file for a whole profile, resolved with `axes`. Reports, at the row and under the
  // profile's id, each value that would be lost.
  PressedPart part(std::size_t file, const Selected& selected, const Profile& profile, const Resolver::Axes& axes,
                   const Stamp& stamp, RowMemory& memory, Diagnostics& out) const;

  // The bytes of a file from its parts: one, or, of a file for all profiles, several.
  std::string bytes(std::size_t file, const std::vector<const PressedPart*>& parts) const;

  const Dialect& dialect() const { return dialect_; }

 private:
  const Tree& tree_;
  const Dialect& dialect_;
  std::map<KeyId, std::string_view> carried_;  // the row's key of each setting that a row carries alone
  std::vector<std::vector<std::size_t>>
      twins_;  // by file and row: what it shares with rows of the same key, or no_twin
};

// The file of a dialect with its name; no longer than what is asked of names. Reads a program's file as that one.
std::optional<FileContent> read_program_file(const DialectFile& file, FileId id, const SourceFile& source,
                                             Diagnostics& out);

}  // namespace bindery
