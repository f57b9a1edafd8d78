#include "base/parallel.h"

#include <atomic>
#include <chrono>
#include <numeric>
#include <stdexcept>
#include <thread>

#include "../support.h"

using namespace bindery;

TEST_SUITE("base/parallel") {

TEST_CASE("every index is worked on once, whatever the number of threads") {
  for (unsigned jobs : {0u, 1u, 3u, 16u}) {
    CAPTURE(jobs);
    std::vector<int> calls(1000, 0);
    parallel_for(calls.size(), jobs, [&](std::size_t i) { ++calls[i]; });
    CHECK(calls == std::vector<int>(1000, 1));
  }
}

TEST_CASE("no work calls nothing") {
  bool called = false;
  parallel_for(0, 4, [&](std::size_t) { called = true; });
  CHECK_FALSE(called);
}

TEST_CASE("an exception of a task is thrown on") {
  for (unsigned jobs : {1u, 4u}) {
    CAPTURE(jobs);
    CHECK_THROWS_WITH_AS(parallel_for(100, jobs, [](std::size_t i) { if (i == 50) throw std::runtime_error("task 50"); }), "task 50", std::runtime_error);
  }
}

TEST_CASE("results are taken in the order of the indices, one at a time, and none is far ahead") {
  for (unsigned jobs : {1u, 2u, 8u}) {
    CAPTURE(jobs);
    std::vector<std::size_t> taken;
    std::atomic<std::size_t> ahead{0}, behind{0};
    parallel_in_order(
        500, jobs,
        [&](std::size_t i) {
          if (i % 50 == 0) std::this_thread::sleep_for(std::chrono::milliseconds(2));
          if (i > behind + 100) ahead = i;
          return i * i;
        },
        [&](std::size_t i, std::size_t result) {
          CHECK(result == i * i);
          taken.push_back(i);
          behind = i;
        });
    std::vector<std::size_t> all(500);
    std::iota(all.begin(), all.end(), std::size_t{0});
    CHECK(taken == all);
    CHECK(ahead == 0);
  }
}

TEST_CASE("an exception of a task or of who takes its result ends the work") {
  for (unsigned jobs : {1u, 4u}) {
    CAPTURE(jobs);
    auto fine = [](std::size_t i) { return i; };
    auto fails = [](std::size_t i) { return i == 70 ? throw std::runtime_error("task 70") : i; };
    CHECK_THROWS_WITH_AS(parallel_in_order(200, jobs, fails, [](std::size_t, std::size_t) {}), "task 70", std::runtime_error);
    CHECK_THROWS_WITH_AS(parallel_in_order(200, jobs, fine, [](std::size_t i, std::size_t) { if (i == 90) throw std::runtime_error("result 90"); }), "result 90", std::runtime_error);
  }
}

}
