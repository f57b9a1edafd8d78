#include "syntax/ledger.h"

#include "../support.h"

using namespace bindery;

namespace {

struct Read {
  explicit Read(std::string text)
      : sources(test::sources_of({{"release/ledger.yaml", std::move(text)}})),
        entries(read_ledger(sources, diagnostics)) {
    diagnostics.settle();
  }
  Sources sources;
  Diagnostics diagnostics;
  std::vector<LedgerEntry> entries;

  std::string said() const { return test::told(diagnostics, sources); }
};

LedgerEntry entry(std::string version) {
  LedgerEntry out;
  out.version = std::move(version);
  out.date = "2026-11-25";
  out.time = 1795600000;
  out.commit = std::string(40, 'c');
  out.since = "0.9.0";
  out.tool = "0.1.0";
  out.tiers[0] = LedgerDigests{std::string(64, 'a'), std::string(64, 'b')};
  out.tiers[1] = LedgerDigests{std::string(64, '1'), std::string(64, '2')};
  return out;
}

// What is said of one release with these lines.
std::string says(std::string_view lines) {
  return Read(fmt::format("releases:\n  - version: 1.0.0\n    date: 2026-11-25\n{}", lines)).said();
}

}  // namespace

TEST_SUITE("syntax/ledger") {

TEST_CASE("a ledger is read back as it was written") {
  LedgerEntry bare;
  bare.version = "1.1.0-rc.1+x";
  bare.date = "2027-01-02";
  bare.time = -5;
  bare.tool = "0.1.0";
  bare.tiers[1] = LedgerDigests{std::string(64, '3'), std::string(64, '4')};
  const std::vector<LedgerEntry> entries = {bare, entry("1.0.0")};
  Read read(ledger_text(entries));
  CHECK(read.said() == "");
  CHECK(read.entries == entries);
  CHECK(ledger_text(read.entries) == ledger_text(entries));
}

TEST_CASE("an empty ledger is read back too") {
  Read read(ledger_text({}));
  CHECK(read.entries.empty());
}

// SemVer 2.0.0, section 11.
TEST_CASE("the highest version stands first, whatever the order of the entries") {
  Read read(ledger_text({entry("1.9.0"), entry("2.0.0-rc.1"), entry("1.10.0"), entry("2.0.0")}));
  std::string versions;
  for (const LedgerEntry& each : read.entries) versions += each.version + " ";
  CHECK(versions == "2.0.0 2.0.0-rc.1 1.10.0 1.9.0 ");
}

TEST_CASE("the entries are in the order of the file") {
  Read read(
      "releases:\n  - { version: 1.0.0, date: 2026-01-01 }\n  - { version: 3.0.0, date: 2026-01-01 }\n  - { version: "
      "2.0.0, date: 2026-01-01 }\n");
  REQUIRE(read.entries.size() == 3);
  CHECK(read.entries[1].version == "3.0.0");
}

TEST_CASE("a tree without a ledger has no entries") {
  Sources sources;
  Diagnostics out;
  CHECK(read_ledger(sources, out).empty());
  CHECK(out.items().empty());
}

TEST_CASE("what a ledger may not hold is reported where it stands") {
  CHECK(says("    commit: abc\n") == "value-malformed ledger.yaml:4:13");
  CHECK(says(fmt::format("    commit: {}\n", std::string(40, 'C'))) == "value-malformed ledger.yaml:4:13");
  CHECK(says("    time: soon\n") == "value-malformed ledger.yaml:4:11");
  CHECK(says("    time: 1795600000.5\n") == "value-malformed ledger.yaml:4:11");
  CHECK(says("    since: one\n") == "value-malformed ledger.yaml:4:12");
  CHECK(says("    free: { archive: 12 }\n") == "value-malformed ledger.yaml:4:22");
  CHECK(says("    free: { archives: x }\n") == "header-unknown ledger.yaml:4:13");
  CHECK(says("    who: me\n") == "header-unknown ledger.yaml:4:5");
  CHECK(Read("release: []\n").said() == "header-unknown ledger.yaml:1:1");
  CHECK(Read("releases: { version: 1.0.0 }\n").said() == "value-malformed ledger.yaml:1:11");
}

TEST_CASE("a release without a sound version and date is none, the others stay") {
  for (std::string_view bad :
       {"date: 2026-01-01", "version: 1.0.0", "version: 1.0, date: 2026-01-01", "version: v1.0.0, date: 2026-01-01",
        "version: 1.0.0, date: yesterday", "version: 1.0.0, date: 26-01-01"}) {
    CAPTURE(bad);
    Read read(fmt::format("releases:\n  - {{ {} }}\n  - {{ version: 2.0.0, date: 2026-01-01 }}\n", bad));
    CHECK(read.said() != "");
    REQUIRE(read.entries.size() == 1);
    CHECK(read.entries[0].version == "2.0.0");
  }
}

}
