#include "base/semver.h"

#include <algorithm>
#include <cctype>

#include <fmt/format.h>

namespace bindery {

namespace {

bool all_digits(std::string_view text) {
  return !text.empty() && std::all_of(text.begin(), text.end(), [](unsigned char c) { return c >= '0' && c <= '9'; });
}
bool is_numeric(std::string_view text) { return all_digits(text) && (text.size() == 1 || text[0] != '0'); }
bool is_identifier(std::string_view text) {
  return !text.empty() && std::all_of(text.begin(), text.end(),
                                      [](unsigned char c) { return (c < 0x80 && std::isalnum(c)) || c == '-'; });
}

std::vector<std::string> split(std::string_view text) {
  std::vector<std::string> parts;
  for (;;) {
    std::size_t dot = text.find('.');
    parts.emplace_back(text.substr(0, dot));
    if (dot == std::string_view::npos) return parts;
    text.remove_prefix(dot + 1);
  }
}

std::strong_ordering compare_numbers(const std::string& a, const std::string& b) {
  if (auto order = a.size() <=> b.size(); order != 0) return order;
  return a <=> b;
}

std::strong_ordering compare_identifiers(const std::string& a, const std::string& b) {
  bool number_a = all_digits(a), number_b = all_digits(b);
  if (number_a && number_b) return compare_numbers(a, b);
  if (number_a != number_b) return number_a ? std::strong_ordering::less : std::strong_ordering::greater;
  return a <=> b;
}

}  // namespace

std::string Version::text() const {
  std::string out = fmt::format("{}.{}.{}", major, minor, patch);
  if (!pre_release.empty()) out += fmt::format("-{}", fmt::join(pre_release, "."));
  if (!build.empty()) out += fmt::format("+{}", fmt::join(build, "."));
  return out;
}

std::optional<Version> parse_version(std::string_view text) {
  if (text.size() > 128) return std::nullopt;
  Version out;
  std::size_t plus = text.find('+');
  if (plus != std::string_view::npos) {
    out.build = split(text.substr(plus + 1));
    if (!std::all_of(out.build.begin(), out.build.end(), is_identifier)) return std::nullopt;
    text = text.substr(0, plus);
  }
  std::size_t hyphen = text.find('-');
  if (hyphen != std::string_view::npos) {
    out.pre_release = split(text.substr(hyphen + 1));
    auto sound = [](const std::string& part) { return is_identifier(part) && (!all_digits(part) || is_numeric(part)); };
    if (!std::all_of(out.pre_release.begin(), out.pre_release.end(), sound)) return std::nullopt;
    text = text.substr(0, hyphen);
  }
  auto core = split(text);
  if (core.size() != 3 || !std::all_of(core.begin(), core.end(), is_numeric)) return std::nullopt;
  out.major = core[0];
  out.minor = core[1];
  out.patch = core[2];
  return out;
}

std::weak_ordering precedence(const Version& a, const Version& b) {
  for (auto part : {&Version::major, &Version::minor, &Version::patch}) {
    if (auto order = compare_numbers(a.*part, b.*part); order != 0) return order;
  }
  if (a.is_pre_release() != b.is_pre_release())
    return a.is_pre_release() ? std::weak_ordering::less : std::weak_ordering::greater;
  std::size_t common = std::min(a.pre_release.size(), b.pre_release.size());
  for (std::size_t i = 0; i < common; ++i) {
    if (auto order = compare_identifiers(a.pre_release[i], b.pre_release[i]); order != 0) return order;
  }
  return a.pre_release.size() <=> b.pre_release.size();
}

}  // namespace bindery
