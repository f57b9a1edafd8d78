#include "release/version.h"

#include <fmt/format.h>
#include <libdeflate.h>
#include <zip.h>

namespace bindery {

namespace {

std::string one_more(std::string digits) {
  auto at = digits.rbegin();
  while (at != digits.rend() && *at == '9') *at++ = '0';
  if (at == digits.rend()) return "1" + digits;
  ++*at;
  return digits;
}

}  // namespace

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
  return {{"fmt", fmt::format("{}.{}.{}", FMT_VERSION / 10000, FMT_VERSION / 100 % 100, FMT_VERSION % 100)},
          {"libdeflate", LIBDEFLATE_VERSION_STRING},
          {"libudunits2.so", BINDERY_UDUNITS},  // of the shared library: no call tells the package's
          {"libzip", zip_libzip_version()},
          {"yaml-cpp", BINDERY_YAML_CPP}};
}

}  // namespace bindery
