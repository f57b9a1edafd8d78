// Which paths a tree's texts have, and what is said of others.
#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "source/source.h"

namespace bindery {

namespace {

constexpr std::array<std::string_view, 3> kind_folders = {"profiles-src/machine/", "profiles-src/material/",
                                                          "profiles-src/process/"};
// Folders below profiles-src that hold other things than fragments.
constexpr std::array<std::string_view, 3> other_folders = {"profiles-src/part/", "profiles-src/trial/",
                                                           "profiles-src/dialect/"};

bool in_any(std::string_view path, const auto& folders) {
  return std::any_of(folders.begin(), folders.end(), [&](std::string_view f) { return path.starts_with(f); });
}

bool is_yaml(std::string_view path) { return path.ends_with(".yaml"); }

}  // namespace

bool is_tree_path(std::string_view path) {
  return path.starts_with("profiles-src/") || path.starts_with("schema/") || path.starts_with("release/");
}

bool is_source_path(std::string_view path) {
  if (path.ends_with(".txt")) return path.starts_with("release/texts/") && path.rfind('/') == 13;
  if (!is_yaml(path)) return false;
  return path == "profiles-src/bindery.yaml" || path == "release/plan.yaml" || path == ledger_path ||
         in_any(path, kind_folders) || (path.starts_with("profiles-src/trial/") && path.rfind('/') == 18) ||
         (path.starts_with("profiles-src/dialect/") && path.rfind('/') == 20) ||
         (path.starts_with("schema/") && path.rfind('/') == 6) ||
         (path.starts_with("release/notes/") && path.rfind('/') == 13);
}

bool shapes_profiles(std::string_view path) {
  if (path.starts_with("profiles-src/trial/")) return false;
  return !path.starts_with("release/") || path.starts_with("release/plan.") || path.starts_with("release/texts/");
}

bool is_stray_path(std::string_view path) {
  if (is_source_path(path) || !(is_yaml(path) || path.ends_with(".yml"))) return false;
  return (path.starts_with("profiles-src/") && !in_any(path, other_folders)) || path.starts_with("schema/") ||
         path.starts_with("release/notes/") || path == "release/plan.yml" || path == "release/ledger.yml";
}

void report_oddity(FileId id, SourceFile& file, Oddity oddity, Diagnostics& out) {
  auto report = [&](Code code, std::string message, std::string help) {
    out.add(code, {id, 0, 0}, std::move(message)).with_help(std::move(help));
    file.sound = false;
  };
  switch (oddity) {
    case Oddity::link:
      return report(Code::file_irregular, "this is a symbolic link; a tree holds its files itself",
                    "put a copy in its place");
    case Oddity::folder: return report(Code::file_irregular, "this is a folder, not a file", "rename or remove it");
    case Oddity::device:
      return report(Code::file_irregular, "this is a device or a pipe, not a file", "rename or remove it");
    case Oddity::stray:
      return report(Code::file_stray, "this file is not read",
                    "what is read is `.yaml`: fragments below profiles-src/machine, material or process, the "
                    "dictionary right in schema/, notes right in release/notes/");
    case Oddity::unreadable_file:
      return report(Code::file_unreadable, "the file cannot be read", "give yourself the right to read it");
    case Oddity::unreadable_folder:
      return report(Code::file_unreadable, "this folder cannot be read",
                    "give yourself the right to read and enter it");
    case Oddity::hidden_name:
      file.named = false;
      return report(Code::character_forbidden,
                    "the file's name is no UTF-8, or holds a character that hides or reorders what a reader sees",
                    "rename it");
    case Oddity::too_large:
      return report(Code::file_too_large, fmt::format("the file is larger than {} KiB", largest_text / 1024),
                    "split it into several files");
  }
}

}  // namespace bindery
