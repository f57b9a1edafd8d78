// What a tree was when the whole of it was last checked and had no error; kept in .bindery/checked/.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "resolve/select.h"
#include "resolve/tree.h"

namespace bindery {

struct Snapshot {
  using Digest = std::array<char, 40>;  // git's name of some bytes

  struct File {
    std::string path;
    FileStamp stamp;
    Digest bytes{};  // of its text
    Digest shape{};  // of what in it others may depend on, see shape_of(); zeros where it holds no fragments
  };
  struct Part {
    Kind kind = Kind::machine;
    std::string name, title;
    std::uint32_t file = 0;  // index of its file
  };
  using Members = std::array<std::uint32_t, kind_count>;  // the parts of a triple
  // A warning or a note, and the triples in which it was met: indexes in `published` and then `drafts`, ascending. None
  // where it speaks of no profile.
  struct Standing {
    Diagnostic report;
    std::vector<std::uint32_t> triples;
  };

  std::int64_t begun = 0;   // when the reading began, nanoseconds since 1970: later changes need not show in a stamp
  std::vector<File> files;  // sorted by path
  std::vector<StampedFolder> folders;
  std::vector<Part> parts;                          // the fragments, numbered as in the tree
  std::vector<std::uint32_t> linear, linear_ends;   // the parts of each linearisation, one after the other
  std::vector<Members> published, drafts, refused;  // as in Selection
  std::vector<Standing> standing;                   // in the order in which they are told

  // The parts of a triple by its index in `published` and then `drafts`.
  const Members& members(std::uint32_t triple) const {
    return triple < published.size() ? published[triple] : drafts[triple - published.size()];
  }
  // The parts of one's linearisation, itself among them.
  template <typename Visit>
  void each_ancestor(std::uint32_t part, Visit&& visit) const {
    for (std::uint32_t i = part == 0 ? 0 : linear_ends[part - 1]; i < linear_ends[part]; ++i) visit(linear[i]);
  }

  // The same as profile_id() and profile_title() give.
  std::string id_of(const Members& members) const;
  std::string title_of(const Members& members) const;
};

// In which triples each cause is met, noted while they are checked; from several threads.
class Meetings {
 public:
  void note(std::size_t triple, const Diagnostics& reports);
  void note_standing(std::uint32_t triple, const Diagnostic& report) { triples_[key_of(report)].push_back(triple); }

  // The reports, settled, with where each was met; nothing where that is not known of all, or they are too many to be
  // kept.
  std::optional<std::vector<Snapshot::Standing>> standing(const Diagnostics& settled);

 private:
  struct Key {
    Span span;
    Code code;
    Severity severity;
    std::string rule, setting;
    bool supporters;
    auto operator<=>(const Key&) const = default;
  };
  static Key key_of(const Diagnostic& report);

  std::mutex guard_;
  std::map<Key, std::vector<std::uint32_t>> triples_;
  std::size_t count_ = 0;
  bool whole_ = true;
};

// The snapshot of a tree, but for what is said of it.
Snapshot take_snapshot(const Tree& tree, const Selection& selection, std::int64_t begun, unsigned jobs);

// All of a file's fragments that can matter to other fragments or to what fits, but for values: names, parents, tiers,
// conditions. Two texts of one shape differ in what they give the profiles that they are part of.
std::string shape_of(const FragmentFile& file);

Snapshot::Digest digest_of_bytes(std::string_view bytes);

// What was kept by this very program; nothing where there is none, or where it is not whole.
std::optional<Snapshot> read_snapshot(const std::filesystem::path& root);
// Keeps it in place of the one before, if it can be written.
void write_snapshot(const std::filesystem::path& root, const Snapshot& snapshot);

}  // namespace bindery
