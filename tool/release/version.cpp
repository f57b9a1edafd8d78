#include "release/version.h"

#include <algorithm>
#include <cctype>

#include <fmt/format.h>
#include <git2.h>
#include <libdeflate.h>
#include <nlohmann/json.hpp>
#include <openssl/crypto.h>
#include <zip.h>

namespace bindery {

namespace {

bool all_digits(std::string_view text) {
  return !text.empty() && std::all_of(text.begin(), text.end(), [](unsigned char c) { return c >= '0' && c <= '9'; });
}
bool is_numeric(std::string_view text) { return all_digits(text) && (text.size() == 1 || text[0] != '0'); }
bool is_identifier(std::string_view text) {
  return !text.empty() && std::all_of(text.begin(), text.end(), [](unsigned char c) { return (c < 0x80 && std::isalnum(c)) || c == '-'; });
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

std::string one_more(std::string digits) {
  auto at = digits.rbegin();
  while (at != digits.rend() && *at == '9') *at++ = '0';
  if (at == digits.rend()) return "1" + digits;
  ++*at;
  return digits;
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
  if (a.is_pre_release() != b.is_pre_release()) return a.is_pre_release() ? std::weak_ordering::less : std::weak_ordering::greater;
  std::size_t common = std::min(a.pre_release.size(), b.pre_release.size());
  for (std::size_t i = 0; i < common; ++i) {
    if (auto order = compare_identifiers(a.pre_release[i], b.pre_release[i]); order != 0) return order;
  }
  return a.pre_release.size() <=> b.pre_release.size();
}

Version version_after(const std::vector<std::string>& tags) {
  std::optional<Version> highest;
  for (const std::string& tag : tags) {
    auto version = parse_version(tag.starts_with('v') ? std::string_view(tag).substr(1) : std::string_view(tag));
    if (version && (!highest || precedence(*version, *highest) > 0)) highest = version;
  }
  if (!highest) return {"0", "1", "0", {}, {}};
  Version next = *highest;
  if (!next.is_pre_release()) next.patch = one_more(next.patch);
  next.pre_release.clear();
  next.build.clear();
  return next;
}

std::string tool_version() { return BINDERY_VERSION; }

std::vector<std::pair<std::string, std::string>> library_versions() {
  int major = 0, minor = 0, revision = 0;
  git_libgit2_version(&major, &minor, &revision);
  return {{"fmt", fmt::format("{}.{}.{}", FMT_VERSION / 10000, FMT_VERSION / 100 % 100, FMT_VERSION % 100)},
          {"libcrypto", OpenSSL_version(OPENSSL_VERSION_STRING)},
          {"libdeflate", LIBDEFLATE_VERSION_STRING},
          {"libgit2", fmt::format("{}.{}.{}", major, minor, revision)},
          {"libudunits2", BINDERY_UDUNITS},  // of the shared library: no call tells the package's
          {"libzip", zip_libzip_version()},
          {"nlohmann-json", fmt::format("{}.{}.{}", NLOHMANN_JSON_VERSION_MAJOR, NLOHMANN_JSON_VERSION_MINOR, NLOHMANN_JSON_VERSION_PATCH)},
          {"yaml-cpp", BINDERY_YAML_CPP}};
}

}  // namespace bindery
