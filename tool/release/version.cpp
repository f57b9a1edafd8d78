#include "release/version.h"

#include <fmt/format.h>
#include <libdeflate.h>
#include <zip.h>

namespace bindery {

std::string tool_version() { return BINDERY_VERSION; }

std::vector<std::pair<std::string, std::string>> library_versions() {
  return {{"fmt", fmt::format("{}.{}.{}", FMT_VERSION / 10000, FMT_VERSION / 100 % 100, FMT_VERSION % 100)},
          {"libdeflate", LIBDEFLATE_VERSION_STRING},
          {"libudunits2.so", BINDERY_UDUNITS},  // of the shared library: no call tells the package's
          {"libzip", zip_libzip_version()},
          {"yaml-cpp", BINDERY_YAML_CPP}};
}

}  // namespace bindery
