#include "base/semver.h"

#include "../support.h"

using namespace bindery;

namespace {

Version version(std::string_view text) {
  auto out = parse_version(text);
  REQUIRE_MESSAGE(out.has_value(), text);
  return *out;
}

}  // namespace

TEST_SUITE("base/semver") {

// Semantic Versioning 2.0.0, section 11.4: its own chain, and section 11.2.
TEST_CASE("versions precede each other as in section 11 of the specification") {
  const std::vector<std::string> chain = {"1.0.0-alpha", "1.0.0-alpha.1", "1.0.0-alpha.beta", "1.0.0-beta", "1.0.0-beta.2", "1.0.0-beta.11", "1.0.0-rc.1", "1.0.0", "2.0.0", "2.1.0", "2.1.1"};
  for (std::size_t i = 0; i < chain.size(); ++i) {
    for (std::size_t j = 0; j < chain.size(); ++j) {
      CAPTURE(chain[i]);
      CAPTURE(chain[j]);
      CHECK(precedence(version(chain[i]), version(chain[j])) == (i <=> j));
    }
  }
}

// Section 11.4.1 and 11.4.3: numbers by value and below words; section 11.2: fields by value.
TEST_CASE("numbers compare by value, of any length") {
  CHECK(precedence(version("1.9.0"), version("1.10.0")) < 0);
  CHECK(precedence(version("1.0.0-2"), version("1.0.0-10")) < 0);
  CHECK(precedence(version("1.0.0-999"), version("1.0.0-a")) < 0);
  CHECK(precedence(version("1.0.0-1a"), version("1.0.0-2")) > 0);
  CHECK(precedence(version("1.0.99999999999999999999998"), version("1.0.99999999999999999999999")) < 0);
  CHECK(precedence(version("1.0.0-A"), version("1.0.0-a")) < 0);  // ASCII order
}

// Section 10: build metadata is ignored.
TEST_CASE("build metadata does not count in precedence") {
  CHECK(precedence(version("1.0.0+a"), version("1.0.0+b")) == 0);
  CHECK(precedence(version("1.0.0-rc.1+a"), version("1.0.0-rc.1")) == 0);
}

// Sections 2, 9 and 10.
TEST_CASE("a version keeps its text") {
  for (std::string_view text : {"0.0.0", "1.2.3", "10.20.30-alpha.1-x.0", "1.0.0+001.sha-5", "1.0.0--1+x", "1.0.0-0a.b"}) CHECK(version(text).text() == text);
  CHECK(version("1.0.0-rc").is_pre_release());
  CHECK_FALSE(version("1.0.0+rc").is_pre_release());
}

TEST_CASE("what the specification does not admit is no version") {
  for (std::string_view text : {"", "1", "1.2", "1.2.3.4", "v1.2.3", "01.2.3", "1.02.3", "1.2.03", "1.2.3-", "1.2.3+", "1.2.3-01", "1.2.3-a..b", "1.2.3-a_b", "1.2.3+a+b", "-1.2.3", "1.2.3 ", "1.2.x", "1..3", "1.2.3-\xc3\xa4"}) {
    CHECK_FALSE_MESSAGE(parse_version(text).has_value(), text);
  }
}

}
