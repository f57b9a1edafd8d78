#include "base/date.h"

#include <ctime>

#include <fmt/format.h>

namespace bindery {

std::string utc_date(std::int64_t seconds) {
  std::time_t time = seconds;
  std::tm parts{};
  if (gmtime_r(&time, &parts) == nullptr) return "1980-01-01";
  return fmt::format("{:04}-{:02}-{:02}", parts.tm_year + 1900, parts.tm_mon + 1, parts.tm_mday);
}

}  // namespace bindery
