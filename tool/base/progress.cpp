#include "base/progress.h"

#include <ctime>
#include <utility>

namespace bindery {

namespace {

double cpu_seconds() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + static_cast<double>(now.tv_nsec) / 1e9;
}

}  // namespace

void Progress::end_stage() {
  if (name_.empty()) return;
  std::chrono::duration<double> wall = std::chrono::steady_clock::now() - started_;
  ended_.push_back({name_, wall.count(), cpu_seconds() - cpu_started_});
  name_ = {};
}

void Progress::enter(std::string_view stage, std::size_t steps) {
  std::lock_guard lock(guard_);
  end_stage();
  name_ = stage;
  steps_ = steps;
  done_ = 0;
  started_ = std::chrono::steady_clock::now();
  cpu_started_ = cpu_seconds();
}

void Progress::finish() {
  {
    std::lock_guard lock(guard_);
    end_stage();
  }
  if (auto call = std::exchange(at_end_, nullptr)) call();
}

Progress::Glance Progress::glance() const {
  std::lock_guard lock(guard_);
  return {name_, done_, steps_};
}

}  // namespace bindery
