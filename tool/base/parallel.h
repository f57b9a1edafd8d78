// Work on all cores with results in a fixed order.
#pragma once

#include <algorithm>
#include <atomic>
#include <condition_variable>
#include <cstddef>
#include <exception>
#include <map>
#include <mutex>
#include <thread>
#include <utility>
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

// Calls work(index) as parallel_for() does, and take(index, result) with each result in the order of the indices, one
// at a time. A thread waits rather than be more than some indices ahead of the last that was taken, so that few results
// take memory at once. The first exception is thrown on.
template <typename Work, typename Take>
void parallel_in_order(std::size_t count, unsigned jobs, Work&& work, Take&& take) {
  constexpr std::size_t ahead = 32;
  std::map<std::size_t, decltype(work(std::size_t{}))> waiting;
  std::size_t next = 0;  // to be taken
  bool failed = false;
  std::mutex guard;
  std::condition_variable moved;
  parallel_for(count, jobs, [&](std::size_t i) {
    try {
      auto result = work(i);
      std::unique_lock lock(guard);
      moved.wait(lock, [&] { return failed || i < next + ahead; });
      if (failed) return;
      waiting.emplace(i, std::move(result));
      for (auto at = waiting.begin(); at != waiting.end() && at->first == next; at = waiting.erase(at)) {
        take(next, std::move(at->second));
        ++next;
      }
    } catch (...) {
      {
        std::lock_guard lock(guard);
        failed = true;
      }
      moved.notify_all();
      throw;
    }
    moved.notify_all();
  });
}

}  // namespace bindery
