// Files that somebody sent, laid over a tree in memory: from an unpacked folder or from a zip.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "source/source.h"

namespace bindery {

// What is read of an overlay at most, whatever a policy says.
inline constexpr std::size_t most_overlay_files = 2000;
inline constexpr std::size_t most_overlay_bytes = 8u << 20;

struct OverlayFile {
  std::string path;  // from the tree's root
  std::string bytes;
};

struct Overlay {
  std::vector<OverlayFile> files;  // sorted by path, each path once
};

// Reads the folder or zip. One folder that wraps all the rest is taken off. What is unsafe or too large is reported and
// left out. Throws UsageError where there is nothing at `path`.
Overlay read_overlay(const std::filesystem::path& path, Diagnostics& out);

// The tree with the files in place of its own, or added. `of_base` are the reports of reading the base; those on files
// that stay are copied to `out`, with their new numbers.
Sources lay_over(const Sources& base, const Diagnostics& of_base, const Overlay& overlay, Diagnostics& out);

// Reports files that cannot be laid: where the tree has a folder, or below what is a file there.
void check_places(const Overlay& overlay, const std::filesystem::path& root, Diagnostics& out);

// Those whose bytes are not what stands at their path below `root`.
std::vector<std::string> touched_by(const Overlay& overlay, const std::filesystem::path& root);

// Reports paths that differ in case alone from another of the tree. `touched` are those that a contribution changes,
// sorted.
void check_paths(const std::vector<std::string>& touched, const Sources& sources, Diagnostics& out);

}  // namespace bindery
