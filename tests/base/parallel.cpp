#include "base/parallel.h"

#include <stdexcept>

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

}
