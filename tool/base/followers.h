// A stream of bytes that several threads go through, each at its own pace.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <deque>
#include <exception>
#include <functional>
#include <mutex>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

namespace bindery {

// Gets bytes in parts: all of them, in order.
using TakeBytes = std::function<void(std::string_view bytes)>;

// Takes the next of them. Gives an empty text that can be filled, with the memory of an earlier one if there is any.
using HandPart = std::function<std::string(std::string part)>;

// Hands parts on to each of some takers, which runs in a thread of its own. Whoever hands a part waits while one of
// them is far behind.
class Followers {
 public:
  explicit Followers(std::vector<TakeBytes> takers);
  ~Followers();
  Followers(const Followers&) = delete;
  Followers& operator=(const Followers&) = delete;

  // The next part, as a HandPart takes it.
  std::string hand(std::string part);
  // That was the last: waits for all. Throws what a taker threw; such a one got no more parts.
  void finish();

 private:
  void run(std::size_t taker);
  void close();

  const std::vector<TakeBytes> takers_;
  std::mutex guard_;
  std::condition_variable moved_;
  std::deque<std::string> parts_;    // that some taker has not done with
  std::uint64_t first_ = 0;          // the number of the first of them
  std::vector<std::uint64_t> next_;  // by taker: the number of the part that it has not done with
  std::vector<std::string> used_;
  bool over_ = false;
  std::exception_ptr failure_;
  std::vector<std::thread> threads_;
};

}  // namespace bindery
