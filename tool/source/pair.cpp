// Two trees side by side: equal numbers for equal paths, and one name for equal contents.
#include <algorithm>

#include <fmt/format.h>

#include "base/digest.h"
#include "source/source.h"

namespace bindery {

namespace {

void renumber(Diagnostics& reports, const std::vector<FileId>& numbers) {
  auto move = [&](Span& span) {
    if (span.known()) span.file = numbers[span.file];
  };
  for (Diagnostic& item : reports.items()) {
    move(item.span);
    for (Related& related : item.related) move(related.span);
  }
}

// Adds what only `other` has, and tells the new number of each file.
std::vector<FileId> fill(Sources& sources, const std::vector<std::string>& paths) {
  std::vector<SourceFile> filled;
  std::vector<FileId> numbers;
  filled.reserve(paths.size());
  auto own = sources.files.begin();
  for (const std::string& path : paths) {
    if (own != sources.files.end() && own->path == path) {
      numbers.push_back(static_cast<FileId>(filled.size()));
      filled.push_back(std::move(*own++));
    } else {
      filled.push_back({.path = path, .text = {}, .present = false});
    }
  }
  sources.files = std::move(filled);
  return numbers;
}

}  // namespace

void align(Sources& a, Diagnostics& of_a, Sources& b, Diagnostics& of_b, const std::vector<std::string>& more) {
  std::vector<std::string> paths = more;
  for (const Sources* side : {&a, &b}) {
    for (const SourceFile& file : side->files) paths.push_back(file.path);
  }
  std::sort(paths.begin(), paths.end());
  paths.erase(std::unique(paths.begin(), paths.end()), paths.end());
  renumber(of_a, fill(a, paths));
  renumber(of_b, fill(b, paths));
}

std::string content_digest(const Sources& sources) {
  std::string list;
  for (const SourceFile& file : sources.files) {
    if (!file.present || !shapes_profiles(file.path)) continue;
    list += fmt::format("{} {}{}\n", file.path, file.blob.empty() ? blob_name(file.text) : file.blob,
                        file.sound ? "" : " unsound");
  }
  return sha256(list);
}

}  // namespace bindery
