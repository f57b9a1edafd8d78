#include "changes/level.h"

#include "../support.h"

using namespace bindery;

namespace {

std::string next(std::string_view from, Level level) { return next_version(*parse_version(from), level).text(); }

// A difference of one kind each.
Changes with(void (*fill)(Changes&)) {
  Changes changes;
  fill(changes);
  return changes;
}
const Changes nothing;
const Changes removal = with([](Changes& c) { c.removed = {0}; });
const Changes addition = with([](Changes& c) { c.added = {0, 1}; });
const Changes renaming = with([](Changes& c) { c.renamed = {{1, 0}}; });
const Changes promotion = with([](Changes& c) {
  c.moved = {{0, Tier::free, Tier::free, Status::beta, Status::stable}};
});
const Changes gift = with([](Changes& c) { c.moved = {{0, Tier::supporter, Tier::free, Status::beta, Status::beta}}; });
const Changes loss = with([](Changes& c) { c.moved = {{0, Tier::free, Tier::supporter, Status::beta, Status::beta}}; });
const Changes value = with([](Changes& c) { c.changes = {{{}, {{0, 0, 0, 1}, {0, 1, 0, 1}}}, {{}, {{3, 0, 0, 1}}}}; });
const Changes script = with([](Changes& c) { c.scripts = {{{}, {{0, ScriptSlot::start, 0, 1}}}}; });
const Changes words = with([](Changes& c) { c.edits.emplace_back().part = Part::words; });

}  // namespace

TEST_SUITE("changes/level") {

// The release: "a profile removed or renamed without `replaces`, major; a profile added or any value changed, minor;
// words alone, patch." SemVer 2.0.0: major for incompatible changes (section 8), minor for what is added compatibly
// (section 7), patch for the rest (section 6).
TEST_CASE("what takes something away is major") {
  CHECK(level_of(removal) == Level::major);
  CHECK(level_of(loss) == Level::major);  // gone for those who had it free
}

TEST_CASE("what adds or changes a value is minor") {
  for (const Changes* each : {&addition, &renaming, &promotion, &gift, &value, &script})
    CHECK(level_of(*each) == Level::minor);
}

TEST_CASE("words alone are a patch, and nothing is nothing") {
  CHECK(level_of(words) == Level::patch);
  CHECK(level_of(nothing) == Level::none);
}

TEST_CASE("the highest of several levels counts") {
  Changes all = words;
  all.added = {1};
  CHECK(level_of(all) == Level::minor);
  all.removed = {2};
  CHECK(level_of(all) == Level::major);
}

TEST_CASE("the reason names the level and what asks for it") {
  CHECK(reason_of(Level::minor, addition) == "minor: 2 profiles added; nothing removed");
  CHECK(reason_of(Level::major, removal).starts_with("major: 1 profile removed"));
  CHECK(reason_of(Level::major, removal).find("nothing removed") == std::string::npos);
  CHECK(reason_of(Level::major, loss) == "major: 1 profile moved to supporters");
  CHECK(reason_of(Level::minor, value) == "minor: 2 profiles changed; nothing removed");  // a profile counts once
  CHECK(reason_of(Level::none, nothing) == "none: nothing changed");
}

TEST_CASE("the reason counts values and scripts of one profile once") {
  Changes both = value;
  both.scripts = script.scripts;
  CHECK(reason_of(Level::minor, both) == "minor: 2 profiles changed; nothing removed");
}

// SemVer 2.0.0, section 6: the patch version; section 7: "Patch version MUST be reset to 0 when minor version is
// incremented"; section 8: "Patch and minor versions MUST be reset to 0 when major version is incremented".
TEST_CASE("the next version raises its part and resets those below") {
  CHECK(next("1.2.3", Level::patch) == "1.2.4");
  CHECK(next("1.2.3", Level::minor) == "1.3.0");
  CHECK(next("1.2.3", Level::major) == "2.0.0");
  CHECK(next("1.2.3", Level::none) == "1.2.3");
}

// SemVer 2.0.0, section 2: "non-negative integers ... Each element MUST increase numerically. For instance: 1.9.0 ->
// 1.10.0 -> 1.11.0."
TEST_CASE("numbers grow as numbers, of any length") {
  CHECK(next("1.9.0", Level::minor) == "1.10.0");
  CHECK(next("1.10.0", Level::minor) == "1.11.0");
  CHECK(next("0.0.99", Level::patch) == "0.0.100");
  CHECK(next("9.0.0", Level::major) == "10.0.0");
  CHECK(next("99999999999999999999.0.0", Level::major) == "100000000000000000000.0.0");
}

// SemVer 2.0.0, section 9: a pre-release stands before its normal version, section 10: build metadata is ignored.
TEST_CASE("a pre-release becomes its own version where that has room for the change") {
  CHECK(next("1.2.3-rc.1", Level::patch) == "1.2.3");
  CHECK(next("1.3.0-rc.1", Level::patch) == "1.3.0");
  CHECK(next("1.3.0-rc.1", Level::minor) == "1.3.0");
  CHECK(next("2.0.0-rc.1", Level::minor) == "2.0.0");
  CHECK(next("2.0.0-rc.1", Level::major) == "2.0.0");
}

TEST_CASE("a pre-release whose own version has no room is passed over") {
  CHECK(next("1.2.3-rc.1", Level::minor) == "1.3.0");
  CHECK(next("1.2.3-rc.1", Level::major) == "2.0.0");
  CHECK(next("1.3.0-rc.1", Level::major) == "2.0.0");
}

TEST_CASE("build metadata is not handed on") {
  CHECK(next("1.2.3+build.5", Level::patch) == "1.2.4");
  CHECK(next("1.2.3-rc.1+build.5", Level::patch) == "1.2.3");
}

// SemVer 2.0.0, section 11: whatever is suggested comes after what it follows.
TEST_CASE("the next version has a higher precedence than the one before") {
  for (std::string_view from :
       {"0.0.0", "0.0.9", "0.9.9", "1.0.0-alpha", "1.0.0-alpha.1", "1.0.1-0", "1.1.0-rc.1", "9.9.9", "2.0.0+x"}) {
    for (Level level : {Level::patch, Level::minor, Level::major}) {
      CAPTURE(from);
      CHECK(precedence(next_version(*parse_version(from), level), *parse_version(from)) > 0);
    }
  }
}

}
