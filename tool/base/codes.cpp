#include "base/codes.h"

#include <algorithm>
#include <array>
#include <string>
#include <vector>

namespace bindery {

namespace {

constexpr std::array<std::string_view, 3> severity_names = {"error", "warning", "note"};

struct Table {
  std::vector<std::string> names;
  std::vector<CodeEntry> entries;

  Table() {
#define X(name, severity, title, explanation) add(Code::name, #name, Severity::severity, title, explanation);
    names.reserve(256);
#include "base/codes.def"
#undef X
  }
  void add(Code code, std::string name, Severity severity, std::string_view title, std::string_view explanation) {
    std::replace(name.begin(), name.end(), '_', '-');
    names.push_back(std::move(name));
    entries.push_back({code, names.back(), severity, title, explanation});
  }
};

const Table& table() {
  static const Table built;
  return built;
}

}  // namespace

std::string_view name_of(Severity severity) { return severity_names[static_cast<std::size_t>(severity)]; }
const CodeEntry& describe(Code code) { return table().entries[static_cast<std::size_t>(code)]; }
std::span<const CodeEntry> all_codes() { return table().entries; }

}  // namespace bindery
