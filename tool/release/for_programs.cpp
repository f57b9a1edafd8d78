#include "release/for_programs.h"

#include <algorithm>

#include <fmt/format.h>

namespace bindery {

ProgramFiles::ProgramFiles(const Tree& tree, const std::vector<Dialect>& dialects, const Selection& selection,
                           const Edition& edition)
    : selection_(selection), edition_(edition), files_(selection.profiles.size()) {
  for (const Dialect& each : dialects) presses_.emplace_back(tree, each);
}

void ProgramFiles::press(std::size_t index, const Profile& profile, const Resolver::Axes& axes,
                         const std::string& digest, RowMemory& memory) {
  Diagnostics silent;  // the dialects were checked before
  Stamp stamp{edition_.version, digest};
  for (const Press& press : presses_) {
    auto& files = files_[index].emplace_back();
    const Dialect& dialect = press.dialect();
    for (std::size_t f = 0; f < dialect.files.size(); ++f) {
      File& file = files.emplace_back();
      file.part = press.part(f, selection_.profiles[index], profile, axes, stamp, memory, silent);
      file.path = fmt::format("for/{}/{}", dialect.name, file.part.path);
      if (dialect.files[f].for_all) continue;
      file.entry = pack(file.path, press.bytes(f, {&file.part}));
      file.part = {};
    }
  }
}

std::vector<const PackedEntry*> ProgramFiles::entries(Tier tier) {
  std::map<std::string_view, const PackedEntry*> by_path;
  for (std::size_t d = 0; d < presses_.size(); ++d) {
    if (presses_[d].dialect().tier > tier) continue;
    const auto& forms = presses_[d].dialect().files;
    for (std::size_t f = 0; f < forms.size(); ++f) {
      std::map<std::string_view, std::vector<const PressedPart*>> parts;  // of files for all, by path
      for (std::size_t i = 0; i < files_.size(); ++i) {
        if (selection_.profiles[i].tier > tier) continue;
        const File& file = files_[i][d][f];
        if (file.entry) by_path.emplace(file.path, &*file.entry);
        else parts[file.path].push_back(&file.part);
      }
      for (const auto& [path, own] : parts)
        by_path.emplace(path, &for_all_.emplace_back(pack(std::string(path), presses_[d].bytes(f, own))));
    }
  }
  std::vector<const PackedEntry*> out;
  for (const auto& [path, entry] : by_path) out.push_back(entry);
  return out;
}

std::vector<ProgramFiles::Made> ProgramFiles::made(std::size_t index) const {
  std::vector<Made> out;
  for (std::size_t d = 0; d < presses_.size(); ++d) {
    Made& made = out.emplace_back();
    made.dialect = &presses_[d].dialect();
    for (const File& file : files_[index][d]) made.paths.push_back(file.path);
  }
  return out;
}

}  // namespace bindery
