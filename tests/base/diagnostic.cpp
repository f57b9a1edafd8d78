#include "base/diagnostic.h"

#include "../support.h"

using namespace bindery;

TEST_SUITE("base/diagnostic") {

TEST_CASE("diagnostics are sorted by place, those without a place last") {
  Diagnostics sink;
  sink.add(Code::key_missing, {}, "nowhere");
  sink.add(Code::key_missing, {1, 0, 1}, "second file");
  sink.add(Code::key_missing, {0, 9, 10}, "later");
  sink.add(Code::key_missing, {0, 2, 3}, "earlier");
  sink.settle();
  REQUIRE(sink.items().size() == 4);
  CHECK(sink.items()[0].message == "earlier");
  CHECK(sink.items()[1].message == "later");
  CHECK(sink.items()[2].message == "second file");
  CHECK(sink.items()[3].message == "nowhere");
}

TEST_CASE("one cause met in several profiles is one report that counts them") {
  Diagnostics sink;
  for (const char* profile : {"m/p/c", "m/p/a", "m/p/b"}) {
    Diagnostic& item = sink.add(Code::range_exceeded, {0, 4, 8}, std::string("in ") + profile);
    item.profile = profile;
    item.profiles = 1;
  }
  sink.settle();
  REQUIRE(sink.items().size() == 1);
  CHECK(sink.items()[0].profiles == 3);
  CHECK(sink.items()[0].profile == "m/p/a");
  CHECK(sink.items()[0].message == "in m/p/a");
}

TEST_CASE("reports of two codes, two rules or two messages at one place stay apart") {
  Diagnostics sink;
  Span span{0, 4, 8};
  sink.add(Code::key_missing, span, "one");
  sink.add(Code::key_missing, span, "two");
  sink.add(Code::key_missing, span, "two");
  sink.add(Code::value_missing, span, "one");
  for (const char* rule : {"first", "second"}) {
    Diagnostic& item = sink.add(Code::rule_broken, span, "broken");
    item.rule = rule;
    item.profiles = 1;
  }
  sink.settle();
  CHECK(sink.items().size() == 5);
}

TEST_CASE("warnings and notes are no errors") {
  Diagnostics sink;
  sink.add(Code::file_stray, {}, "a warning by its code");
  sink.add(Code::gates_unread, {}, "a note by its code");
  CHECK_FALSE(sink.any_errors());
  CHECK(sink.count(Severity::warning) == 1);
  CHECK(sink.count(Severity::note) == 1);
  Diagnostics other;
  other.add(Code::yaml_tab, {}, "an error by its code");
  sink.join(std::move(other));
  CHECK(sink.any_errors());
  CHECK(sink.items().size() == 3);
}

}
