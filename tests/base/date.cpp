#include "base/date.h"

#include "../support.h"

using namespace bindery;

TEST_SUITE("base/date") {

TEST_CASE("a date is of UTC") {
  CHECK(utc_date(0) == "1970-01-01");
  CHECK(utc_date(951782399) == "2000-02-28");
  CHECK(utc_date(951868799) == "2000-02-29");
  CHECK(utc_date(1577934245) == "2020-01-02");
}

}
