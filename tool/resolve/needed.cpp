#include "resolve/needed.h"

#include <algorithm>
#include <unordered_map>

#include <fmt/format.h>

#include "syntax/fragment.h"

namespace bindery {

namespace {

constexpr std::string_view above = "profiles-src/";

// "machine/heron-220" of "profiles-src/machine/enclosed/heron-220.yaml"; empty where no fragment stands there.
std::string base_of_path(std::string_view path) {
  if (!path.starts_with(above)) return {};
  path.remove_prefix(above.size());
  std::size_t kind = path.find('/'), last = path.rfind('/');
  if (kind == std::string_view::npos || !kind_named(path.substr(0, kind))) return {};
  std::string_view name = path.substr(last + 1);
  return std::string(path.substr(0, kind + 1)) + std::string(name.substr(0, name.rfind('.')));
}

// The fragments' files by kind and name; null where two have one name.
std::unordered_map<std::string, const std::string*> index_of(const std::vector<std::string>& paths) {
  std::unordered_map<std::string, const std::string*> out;
  for (const std::string& path : paths) {
    std::string base = base_of_path(path);
    if (base.empty()) continue;
    auto [at, fresh] = out.emplace(std::move(base), &path);
    if (!fresh) at->second = nullptr;
  }
  return out;
}

// The file's fragments; nothing where the whole tree may say more of them.
std::optional<FragmentFile> read_plain(const SourceFile& file) {
  if (!file.sound) return std::nullopt;
  Diagnostics reports;
  FragmentFile parsed = read_fragment(0, file, reports);
  bool claims = std::any_of(parsed.fragments.begin(), parsed.fragments.end(),
                            [](const Fragment& each) { return !each.replaces.empty(); });
  if (claims || reports.any_errors()) return std::nullopt;
  return parsed;
}

}  // namespace

bool is_for_all_profiles(std::string_view path) {
  return path.starts_with("schema/") || path == "profiles-src/bindery.yaml" || path == "release/plan.yaml";
}

bool add_needed_files(const std::vector<std::string>& paths, std::string_view profile,
                      const std::function<SourceFile(const std::string&)>& read, std::set<std::string>& needed) {
  std::size_t first = profile.find('/'), second = first == profile.npos ? first : profile.find('/', first + 1);
  if (second == profile.npos || profile.find('/', second + 1) != profile.npos) return false;
  auto index = index_of(paths);
  // A file at a time, each with all its fragments: a fitting takes headers from its base.
  std::vector<std::string> open = {fmt::format("machine/{}", profile.substr(0, first)),
                                   fmt::format("material/{}", profile.substr(first + 1, second - first - 1)),
                                   fmt::format("process/{}", profile.substr(second + 1))};
  while (!open.empty()) {
    std::string base = open.back().substr(0, open.back().find('+'));
    open.pop_back();
    auto found = index.find(base);
    if (found == index.end() || found->second == nullptr) return false;
    if (!needed.insert(*found->second).second) continue;
    SourceFile file = read(*found->second);
    auto parsed = read_plain(file);
    if (!parsed) return false;
    for (const Fragment& fragment : parsed->fragments) {
      for (const Text& parent : fragment.extends)
        open.push_back(fmt::format("{}/{}", name_of(fragment.kind), parent.text));
    }
  }
  return true;
}

}  // namespace bindery
