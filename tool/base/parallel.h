// Work on all cores with results in a fixed order.
#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

namespace bindery {

// Calls work(index) for each index below `count`, on `jobs` threads (the caller's among them).
// The order of calls is free, so `work` writes to its own slot. The first exception is thrown on.
template <typename Work>
void parallel_for(std::size_t count, unsigned jobs, Work&& work) {
  std::size_t threads = std::min<std::size_t>(std::max(1u, jobs), count);
  if (threads <= 1) {
    for (std::size_t i = 0; i < count; ++i) work(i);
    return;
  }
  std::atomic<std::size_t> next{0};
  std::exception_ptr failure;
  std::mutex guard;
  auto run = [&] {
    try {
      for (std::size_t i = next++; i < count; i = next++) work(i);
    } catch (...) {
      std::lock_guard lock(guard);
      if (!failure) failure = std::current_exception();
      next = count;
    }
  };
  {
    std::vector<std::jthread> pool;
    for (std::size_t i = 1; i < threads; ++i) pool.emplace_back(run);
    run();
  }
  if (failure) std::rethrow_exception(failure);
}

}  // namespace bindery
