// Sheets: plain texts after a template.
#include "dialect/sheet.h"

#include "../support.h"

using namespace bindery;

namespace {

// A sheet of rows with these keys after a template.
DialectFile sheet(std::string_view text, const std::vector<std::string_view>& keys, bool for_all = false) {
  DialectFile file;
  file.family = FileFamily::text;
  file.for_all = for_all;
  file.text = test::text_of(text);
  for (std::string_view key : keys) file.rows.emplace_back().key = key;
  return file;
}

std::vector<Entry> entries(const std::vector<std::pair<std::string, std::string>>& values) {
  std::vector<Entry> out;
  for (const auto& [key, text] : values) {
    Entry& entry = out.emplace_back();
    entry.key = key;
    entry.values.push_back({text, false});
  }
  return out;
}

// "key=text" of each entry, with its section; or the report.
std::string read(const DialectFile& file, std::string text) {
  SourceFile source;
  source.path = "card.txt";
  source.text = std::move(text);
  Diagnostics out;
  auto content = read_sheet(file, 0, source, out);
  if (!content) return fmt::format("{}: {}", describe(out.items().front().code).name, source.text.substr(out.items().front().span.begin, out.items().front().span.end - out.items().front().span.begin));
  std::string told;
  for (const Entry& entry : content->entries) told += fmt::format("{}{}{}={}", told.empty() ? "" : " ", entry.section.empty() ? "" : entry.section.front() + ".", entry.key, entry.values.front().text);
  return told;
}

std::string faults(const DialectFile& file) {
  std::string told;
  for (const SheetFault& fault : check_sheet(file)) told += fmt::format("{}{} [{}]", told.empty() ? "" : "; ", fault.message, file.text.text.substr(fault.at, fault.length));
  return told;
}

}  // namespace

TEST_SUITE("dialect/sheet") {

TEST_CASE("placeholders are filled, and the text reads back to them") {
  DialectFile file = sheet("Card\njet @{jet} C, bed @{bed} C\n", {"jet", "bed"});
  CHECK(faults(file) == "");
  std::string text = write_sheet(file, {entries({{"jet", "210"}, {"bed", "60"}})});
  CHECK(text == "Card\njet 210 C, bed 60 C\n");
  CHECK(read(file, text) == "jet=210 bed=60");
  CHECK(read(file, "Card\r\njet 210 C, bed 60 C\r\n") == "jet=210 bed=60");
}

TEST_CASE("a line whose placeholders are all left out is left out") {
  DialectFile file = sheet("a @{a}\nb @{b}\nend\n", {"a", "b"});
  std::string text = write_sheet(file, {entries({{"b", "2"}})});
  CHECK(text == "b 2\nend\n");
  CHECK(read(file, text) == "b=2");
}

TEST_CASE("a part for each profile stands between its marks") {
  DialectFile file = sheet("HEAD\n@{each}\n@{name}: @{jet}\n@{end}\nFOOT\n", {"name", "jet"}, true);
  CHECK(faults(file) == "");
  std::string text = write_sheet(file, {entries({{"name", "x"}, {"jet", "1"}}), entries({{"name", "y"}, {"jet", "2"}})});
  CHECK(text == "HEAD\nx: 1\ny: 2\nFOOT\n");
  CHECK(read(file, text) == "1.name=x 1.jet=1 2.name=y 2.jet=2");
}

TEST_CASE("a template that cannot be written or read back is told at its place") {
  CHECK(faults(sheet("a @{a", {"a"})) == "this placeholder is never closed [@{]; the template has no place for the row 'a' []");
  CHECK(faults(sheet("@{b}\n", {"a"})).starts_with("no row has the key 'b' [@{b}]"));
  CHECK(faults(sheet("@{a}@{b}\n", {"a", "b"})) == "two placeholders touch, so that nobody could tell where one ends [@{b}]");
  CHECK(faults(sheet("@{a} @{a}\n", {"a"})) == "the row 'a' has two places [@{a}]");
  CHECK(faults(sheet("x\n", {"a"})) == "the template has no place for the row 'a' []");
  CHECK(faults(sheet("@{each}\n@{a}\n", {"a"}, true)) == "the part for each profile does not end [@{each}]");
  CHECK(faults(sheet("@{a}\n", {"a"}, true)).find("the sheet has no part for each profile") != std::string::npos);
  CHECK(faults(sheet("@{each}\n@{a}\n@{end}\n", {"a"})).starts_with("'@{each}' stands in a sheet of one profile [@{each}]"));
  CHECK(faults(sheet("@{end}\n@{each}\n@{a}\n", {"a"}, true)).starts_with("'@{end}' stands without its partner [@{end}]"));
}

TEST_CASE("a text that is not as the template has it is refused at the first such line") {
  DialectFile file = sheet("Card\njet @{jet} C\n", {"jet"});
  CHECK(read(file, "Crad\njet 210 C\n") == "program-file: Crad");
  CHECK(read(file, "Card\njet 210 C\nmore\n") == "program-file: more");
  CHECK(read(file, "Card\njet 210 F\n") == "program-file: jet 210 F");
  CHECK(read(file, "") == "program-file: ");
}

}  // TEST_SUITE
