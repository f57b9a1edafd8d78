// What a command is doing: its stages one after the other, how far each is, and what it took.
#pragma once

#include <atomic>
#include <chrono>
#include <cstddef>
#include <functional>
#include <mutex>
#include <string_view>
#include <vector>

namespace bindery {

class Progress {
 public:
  // Ends the stage before and starts one of so many steps (0: nobody knows). The name outlives this.
  void enter(std::string_view stage, std::size_t steps = 0);
  // So many steps of the stage are done; from any thread.
  void advance(std::size_t steps = 1) { done_.fetch_add(steps, std::memory_order_relaxed); }
  // Ends the last stage, and calls what waits for that; before a command prints. Later calls do nothing.
  void finish();
  void at_end(std::function<void()> call) { at_end_ = std::move(call); }

  // What a stage took, in seconds: of the clock, and of all cores.
  struct Stage {
    std::string_view name;
    double wall = 0, cpu = 0;
  };
  // Those that have ended, in their order.
  const std::vector<Stage>& stages() const { return ended_; }

  // The stage at hand, from any thread; without a name where there is none.
  struct Glance {
    std::string_view name;
    std::size_t done = 0, steps = 0;
  };
  Glance glance() const;

 private:
  void end_stage();

  mutable std::mutex guard_;
  std::string_view name_;
  std::size_t steps_ = 0;
  std::atomic<std::size_t> done_{0};
  std::chrono::steady_clock::time_point started_;
  double cpu_started_ = 0;
  std::vector<Stage> ended_;
  std::function<void()> at_end_;
};

}  // namespace bindery
