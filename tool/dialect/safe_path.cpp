#include "dialect/safe_path.h"

#include <algorithm>
#include <cctype>
#include <set>

#include <fmt/format.h>

#include "base/utf8.h"

namespace bindery {

namespace {

// Does the text, as the start of the name of a file, mean a device to some system?
bool is_reserved(std::string_view part) {
  std::string stem(part.substr(0, part.find('.')));
  std::transform(stem.begin(), stem.end(), stem.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  static const std::set<std::string, std::less<>> devices = {"con", "prn", "aux", "nul"};
  bool numbered =
      stem.size() == 4 && (stem.starts_with("com") || stem.starts_with("lpt")) && stem[3] >= '0' && stem[3] <= '9';
  return devices.contains(stem) || numbered;
}

}  // namespace

std::string why_unsafe(std::string_view path) {
  if (path.empty() || path.starts_with('/')) return "is no path below the dialect's folder";
  if (path.size() > longest_path) return fmt::format("has more than {} bytes", longest_path);
  if (!is_plain_name(path)) return "holds characters that hide or reorder what a reader sees";
  for (std::size_t at = 0; at <= path.size();) {
    std::size_t end = std::min(path.find('/', at), path.size());
    std::string_view part = path.substr(at, end - at);
    if (part.empty()) return "has a folder without a name";
    if (part == "." || part == "..") return fmt::format("leaves its folder with '{}'", part);
    if (part.find_first_of("\\:*?\"<>|") != std::string_view::npos)
      return fmt::format("has the part '{}' with a character that some systems do not hold", part);
    if (part.ends_with('.') || part.ends_with(' ') || part.starts_with(' '))
      return fmt::format("has the part '{}', whose blank or point at its ends is lost on some systems", part);
    if (is_reserved(part)) return fmt::format("has the part '{}', which is a device on some systems", part);
    at = end + 1;
  }
  return {};
}

}  // namespace bindery
