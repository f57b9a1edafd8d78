#include "base/memory.h"

#include <cstdint>

#include <sys/mman.h>
#include <unistd.h>

namespace bindery {

void want_large_pages(const void* begin, std::size_t bytes) {
  auto page = static_cast<std::uintptr_t>(sysconf(_SC_PAGESIZE));
  auto from = reinterpret_cast<std::uintptr_t>(begin), to = (from + bytes) / page * page;
  from = (from + page - 1) / page * page;
  // Where that fails, small ones do.
  if (from < to) madvise(reinterpret_cast<void*>(from), to - from, MADV_HUGEPAGE);
}

}  // namespace bindery
