#include "cli/bar.h"

#include "../support.h"

using namespace bindery;

TEST_SUITE("cli/bar") {

TEST_CASE("the line tells the stage, and how much of it is done") {
  CHECK(bar_line({"checking", 0, 4}, 80) == "checking     [                                        ]   0 %");
  CHECK(bar_line({"checking", 1, 4}, 80) == "checking     [==========                              ]  25 %");
  CHECK(bar_line({"checking", 9, 4}, 80) == "checking     [========================================] 100 %");
  CHECK(bar_line({"selecting", 3, 0}, 80) == "selecting   ");
  CHECK(bar_line({"checking", 1, 4}, 20) == "checking     [======");
}

TEST_CASE("stages end where the next begins, and the last with the progress") {
  Progress progress;
  int ended = 0;
  progress.at_end([&] { ++ended; });
  progress.enter("reading");
  progress.enter("checking", 10);
  progress.advance(3);
  CHECK(progress.glance().name == "checking");
  CHECK(progress.glance().done == 3);
  CHECK(progress.glance().steps == 10);
  progress.finish();
  progress.finish();
  CHECK(ended == 1);
  REQUIRE(progress.stages().size() == 2);
  CHECK(progress.stages()[0].name == "reading");
  CHECK(progress.stages()[1].name == "checking");
  CHECK(progress.stages()[1].wall >= 0);
  CHECK(progress.glance().name.empty());
}

}
