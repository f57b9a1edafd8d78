// Dates as they are published.
#pragma once

#include <cstdint>
#include <string>

namespace bindery {

// "2026-11-25" of seconds since 1970 UTC.
std::string utc_date(std::int64_t seconds);

}  // namespace bindery
