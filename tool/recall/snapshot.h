// What a tree was when the whole of it was last checked and nothing was wrong with it; kept in .bindery/checked/.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
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
    std::string name;
    std::uint32_t file = 0;  // index of its file
  };
  using Members = std::array<std::uint32_t, kind_count>;  // the parts of a triple

  std::int64_t begun = 0;   // when the reading began, nanoseconds since 1970: later changes need not show in a stamp
  std::vector<File> files;  // sorted by path
  std::vector<Part> parts;  // the fragments, numbered as in the tree
  std::vector<std::uint32_t> linear, linear_ends;   // the parts of each linearisation, one after the other
  std::vector<Members> published, drafts, refused;  // as in Selection
};

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
