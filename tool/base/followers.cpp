#include "base/followers.h"

#include <algorithm>

namespace bindery {

namespace {

constexpr std::size_t most = 8;  // parts that wait

}  // namespace

Followers::Followers(std::vector<TakeBytes> takers) : takers_(std::move(takers)), next_(takers_.size(), 0) {
  try {
    for (std::size_t i = 0; i < takers_.size(); ++i) threads_.emplace_back([this, i] { run(i); });
  } catch (...) {
    close();  // those that run, where the system gives no more
    throw;
  }
}

Followers::~Followers() { close(); }

std::string Followers::hand(std::string part) {
  std::string empty;
  if (takers_.empty()) return empty;
  {
    std::unique_lock lock(guard_);
    moved_.wait(lock, [&] { return parts_.size() < most; });
    parts_.push_back(std::move(part));
    if (!used_.empty()) {
      empty = std::move(used_.back());
      used_.pop_back();
    }
  }
  moved_.notify_all();
  return empty;
}

void Followers::finish() {
  close();
  if (failure_) std::rethrow_exception(failure_);
}

void Followers::close() {
  {
    std::lock_guard lock(guard_);
    over_ = true;
  }
  moved_.notify_all();
  for (std::thread& each : threads_) each.join();
  threads_.clear();
}

void Followers::run(std::size_t taker) {
  bool failed = false;
  std::unique_lock lock(guard_);
  for (;;) {
    moved_.wait(lock, [&] { return over_ || next_[taker] < first_ + parts_.size(); });
    if (next_[taker] == first_ + parts_.size()) return;
    const std::string& part = parts_[next_[taker] - first_];  // stays where it is while others come and go
    lock.unlock();
    std::exception_ptr failure;
    try {
      if (!failed) takers_[taker](part);
    } catch (...) {
      failure = std::current_exception();
      failed = true;
    }
    lock.lock();
    if (failure && !failure_) failure_ = failure;
    ++next_[taker];
    for (; !parts_.empty() && *std::min_element(next_.begin(), next_.end()) > first_; ++first_) {
      parts_.front().clear();
      used_.push_back(std::move(parts_.front()));
      parts_.pop_front();
    }
    moved_.notify_all();
  }
}

}  // namespace bindery
