// What the system is told of memory.
#pragma once

#include <cstddef>

namespace bindery {

// Has the system give memory that is not in use yet in large pages, if it can: to fetch many bytes in small ones takes
// longer than to write them. `begin` need not be the beginning of a page.
void want_large_pages(const void* begin, std::size_t bytes);

}  // namespace bindery
