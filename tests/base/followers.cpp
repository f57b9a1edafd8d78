#include "base/followers.h"

#include <atomic>
#include <chrono>

#include "../support.h"

using namespace bindery;

TEST_SUITE("base/followers") {

TEST_CASE("each taker gets all parts in order, the slow one too") {
  std::string fast, slow, sent;
  {
    Followers followers({[&](std::string_view part) { fast += part; },
                         [&](std::string_view part) {
                           std::this_thread::sleep_for(std::chrono::microseconds(200));
                           slow += part;
                         }});
    std::string part;
    for (int i = 0; i < 300; ++i) {
      part += std::to_string(i);
      sent += part;
      part = followers.hand(std::move(part));
      REQUIRE(part.empty());
    }
    followers.finish();
  }
  CHECK(fast == sent);
  CHECK(slow == sent);
}

TEST_CASE("a taker that fails gets no more, the others get all, and the failure is told at the end") {
  int calls = 0, others = 0;
  Followers followers({[&](std::string_view) {
                         ++calls;
                         throw std::runtime_error("full");
                       },
                       [&](std::string_view) { ++others; }});
  for (int i = 0; i < 50; ++i) followers.hand("part");
  CHECK_THROWS_WITH(followers.finish(), "full");
  CHECK(calls == 1);
  CHECK(others == 50);
}

TEST_CASE("without takers parts go nowhere, and followers that are let go in between end") {
  Followers none({});
  for (int i = 0; i < 50; ++i) CHECK(none.hand("part").empty());
  none.finish();
  std::atomic<int> got = 0;
  {
    Followers followers({[&](std::string_view) { ++got; }});
    followers.hand("one");
  }
  CHECK(got == 1);
}

}
