#include "archive/archive.h"

#include <cstdlib>
#include <deque>
#include <functional>
#include <optional>

#include "../support.h"
#include "base/digest.h"
#include "base/failure.h"

using namespace bindery;

namespace {

using Entries = std::map<std::string, std::string>;

std::string archive(const Entries& files, std::int64_t time = 1577934245) {
  setenv("TZ", "UTC0", 1);  // as the program sets it
  std::deque<PackedEntry> packed;
  std::vector<const PackedEntry*> entries;
  for (const auto& [path, bytes] : files) entries.push_back(&packed.emplace_back(pack(path, bytes)));
  return write_archive(entries, time);
}

unsigned number(const std::string& bytes, std::size_t at, std::size_t size) {
  unsigned out = 0;
  for (std::size_t i = size; i-- > 0;) out = out << 8 | static_cast<unsigned char>(bytes.at(at + i));
  return out;
}

// The time of the first entry, by the DOS fields of its local header (PKWARE APPNOTE 4.4.6; from memory).
std::string stamp(const std::string& zip) {
  REQUIRE(zip.starts_with("PK\x03\x04"));
  unsigned time = number(zip, 10, 2), date = number(zip, 12, 2);
  return fmt::format("{:04}-{:02}-{:02} {:02}:{:02}:{:02}", 1980 + (date >> 9), date >> 5 & 15, date & 31, time >> 11, time >> 5 & 63, 2 * (time & 31));
}

// The offset of the first header of the central directory.
std::size_t directory(const std::string& zip) {
  std::size_t at = zip.find("PK\x01\x02");
  REQUIRE(at != std::string::npos);
  return at;
}

// The archive with one path written over by another of equal length, in both headers.
std::string renamed(std::string zip, std::string_view from, std::string_view to) {
  REQUIRE(from.size() == to.size());
  int times = 0;
  for (std::size_t at = zip.find(from); at != std::string::npos; at = zip.find(from, at + 1), ++times) zip.replace(at, to.size(), to);
  REQUIRE(times == 2);
  return zip;
}

// Why an archive is refused; "" if it is read.
std::string refused(const std::string& zip) {
  try {
    read_archive(zip);
  } catch (const std::runtime_error& error) {
    return *error.what() == '\0' ? "(no reason)" : error.what();
  }
  return "";
}

std::string noise(std::size_t size) {
  std::string out;
  std::uint32_t state = 12345;
  for (std::size_t i = 0; i < size; ++i) {
    state = state * 1664525 + 1013904223;
    out += static_cast<char>(state >> 24);
  }
  return out;
}

}  // namespace

TEST_SUITE("archive/archive") {

TEST_CASE("what is written is read back, byte for byte") {
  Entries files = {{"READ-ME-FIRST.txt", "words\n"}, {"a/b/c.json", std::string(100000, 'x')}, {"empty.txt", ""}, {"noise.bin", noise(5000)}, {"caf\xc3\xa9.txt", "e"}};
  CHECK(read_archive(archive(files)) == files);
}

TEST_CASE("an entry is compressed where that makes it smaller") {
  PackedEntry small = pack("a", std::string(10000, 'x'));
  CHECK(small.deflated);
  CHECK(small.data.size() < 200);
  CHECK(small.size == 10000);
  PackedEntry dense = pack("a", noise(5000));
  CHECK_FALSE(dense.deflated);
  CHECK(dense.data == noise(5000));
}

// The check value of CRC-32 for "123456789" (ISO 3309; from memory), and FIPS 180-4 for "abc" (from memory).
TEST_CASE("an entry carries the checksum and the digest of its bytes") {
  CHECK(pack("a", "123456789").crc == 0xcbf43926);
  CHECK(pack("a", "abc").digest == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

TEST_CASE("the same entries give the same bytes, whatever the zone of the clock") {
  Entries files = {{"a.txt", "one"}, {"b.txt", std::string(5000, 'b')}};
  std::string first = archive(files);
  CHECK(archive(files) == first);
  CHECK(archive(files, 1577934247) != first);
  Entries changed = files;
  changed["a.txt"] = "two";
  CHECK(archive(changed) != first);
}

TEST_CASE("entries carry the given time, in whole pairs of seconds") {
  CHECK(stamp(archive({{"a", "x"}}, 1577934245)) == "2020-01-02 03:04:04");  // date -u -d @1577934245: 03:04:05
  CHECK(stamp(archive({{"a", "x"}}, 951782400)) == "2000-02-29 00:00:00");
  CHECK(stamp(archive({{"a", "x"}}, 1774746000)) == "2026-03-29 01:00:00");  // inside a daylight-saving gap of some zones
  CHECK(stamp(archive({{"a", "x"}}, 4107542399)) == "2100-02-28 23:59:58");  // 2100 is no leap year
  CHECK(stamp(archive({{"a", "x"}}, 4107542400)) == "2100-03-01 00:00:00");
}

// ZIP tells years from 1980 to 2107 (PKWARE APPNOTE 4.4.6; from memory).
TEST_CASE("a time that ZIP cannot tell is held to the nearest that it can") {
  CHECK(stamp(archive({{"a", "x"}}, 0)) == "1980-01-01 00:00:00");
  CHECK(stamp(archive({{"a", "x"}}, -1)) == "1980-01-01 00:00:00");
  CHECK(stamp(archive({{"a", "x"}}, 315532800)) == "1980-01-01 00:00:00");
  CHECK(stamp(archive({{"a", "x"}}, 4354819199)) == "2107-12-31 23:59:58");
  CHECK(stamp(archive({{"a", "x"}}, 4354819200)) == "2107-12-31 23:59:58");
  CHECK(stamp(archive({{"a", "x"}}, 99999999999)) == "2107-12-31 23:59:58");
}

// The release: "fixed permissions and no extra fields" (offsets: PKWARE APPNOTE 4.3.7 and 4.3.12; from memory).
TEST_CASE("entries have mode 0100644, no extra fields and no comment") {
  std::string zip = archive({{"a.txt", std::string(300, 'a')}, {"b.txt", "b"}});
  CHECK(number(zip, 28, 2) == 0);
  std::size_t at = directory(zip);
  for (int entry = 0; entry < 2; ++entry) {
    CHECK(number(zip, at, 4) == 0x02014b50);
    CHECK(number(zip, at + 5, 1) == 3);               // made on a Unix
    CHECK(number(zip, at + 30, 2) == 0);              // extra field
    CHECK(number(zip, at + 32, 2) == 0);              // comment
    CHECK((number(zip, at + 38, 4) >> 16) == 0100644);  // mode
    at += 46 + number(zip, at + 28, 2);
  }
  CHECK(number(zip, at, 4) == 0x06054b50);
  CHECK(number(zip, at + 20, 2) == 0);
}

TEST_CASE("an archive comes in parts, in order, and is told where its entries lie") {
  setenv("TZ", "UTC0", 1);  // as the program sets it
  std::deque<PackedEntry> packed;
  std::vector<const PackedEntry*> entries;
  for (int i = 0; i < 400; ++i) entries.push_back(&packed.emplace_back(pack(fmt::format("{:03}.bin", i), noise(100 + 37 * i))));
  std::string all;
  int parts = 0;
  std::vector<std::uint64_t> places = ArchiveWriter(entries, 0).finish({[&](std::string_view bytes) {
    ++parts;
    all += bytes;
  }});
  CHECK(parts > 4);
  CHECK(all == write_archive(entries, 0));
  REQUIRE(places.size() == entries.size());
  for (std::size_t i = 0; i < places.size(); ++i) CHECK(all.compare(places[i], entries[i]->data.size(), entries[i]->data) == 0);
  CHECK_THROWS_AS(ArchiveWriter(entries, 0).finish({[](std::string_view) { throw std::runtime_error("full"); }}), std::runtime_error);
}

TEST_CASE("entries that lie in a file are copied from there, and a file that is too short is noticed") {
  setenv("TZ", "UTC0", 1);
  test::Folder folder;
  std::deque<PackedEntry> own, lent;
  std::vector<const PackedEntry*> of_own, of_lent;
  std::string all = "before";
  for (int i = 0; i < 60; ++i) {
    own.push_back(pack(fmt::format("{:03}.bin", i), noise(i == 30 ? 700'000 : 9'000 + i)));
    all += own.back().data;
  }
  folder.write("stored", all);
  auto file = StoredFile::open(folder.path / "stored");
  REQUIRE(file.has_value());
  for (std::uint64_t at = 6; const PackedEntry& entry : own) {
    of_own.push_back(&entry);
    PackedEntry& copy = lent.emplace_back(entry);
    copy.data.clear();
    copy.lent = {&*file, at, entry.data.size()};
    at += entry.data.size();
    of_lent.push_back(&copy);
  }
  CHECK(write_archive(of_lent, 0) == write_archive(of_own, 0));
  CHECK(file->is_unchanged());
  folder.write("stored", all.substr(0, all.size() / 2));
  CHECK_FALSE(file->is_unchanged());
  CHECK_THROWS_AS(write_archive(of_lent, 0), SystemError);
}

namespace {

// An archive below a folder, and its entries as it lends them.
struct Lender {
  test::Folder folder;
  std::deque<PackedEntry> own, lent;
  std::optional<StoredFile> file;

  explicit Lender(const Entries& files, std::int64_t time = 0) {
    setenv("TZ", "UTC0", 1);  // as the program sets it
    std::vector<const PackedEntry*> entries;
    for (const auto& [path, bytes] : files) entries.push_back(&own.emplace_back(pack(path, bytes)));
    std::string all;
    std::vector<std::uint64_t> places = ArchiveWriter(entries, time).finish({[&](std::string_view bytes) { all += bytes; }});
    REQUIRE(places.size() == files.size());
    folder.write("archive", all);
    open();
    for (std::size_t i = 0; i < own.size(); ++i) {
      PackedEntry& copy = lent.emplace_back(own[i]);
      copy.data.clear();
      copy.lent = {&*file, places[i], own[i].data.size()};
    }
  }
  void open() {
    auto opened = StoredFile::open(folder.path / "archive");
    REQUIRE(opened.has_value());
    file.emplace(std::move(*opened));
  }
};

Entries various() {
  Entries out = {{"caf\xc3\xa9.txt", "e"}, {"empty.txt", ""}, {"settings.json", std::string(400'000, 's')}};
  for (int i = 0; i < 120; ++i) out[fmt::format("profiles/{:03}.json", i)] = i % 3 == 0 ? noise(2000 + i) : std::string(3000 + i, 'p');
  return out;
}

}  // namespace

TEST_CASE("an archive of which another lends entries has the bytes that libzip gives it") {
  Lender lender(various(), 86400);
  Entries now = various();
  now["SHA256SUMS"] = noise(300'000);
  now["profiles/007.json"] = "edited";
  now["profiles/119a.json"] = noise(700);
  now["z"] = "the last";
  now.erase("profiles/040.json");
  now.erase("caf\xc3\xa9.txt");
  for (std::int64_t time : {std::int64_t{86400}, std::int64_t{1577934245}}) {
    std::deque<PackedEntry> fresh;
    std::vector<const PackedEntry*> entries;
    for (const auto& [path, bytes] : now) {
      PackedEntry entry = pack(path, bytes);
      auto lent = std::find_if(lender.lent.begin(), lender.lent.end(), [&](const PackedEntry& each) { return each.path == entry.path && each.crc == entry.crc; });
      entries.push_back(lent != lender.lent.end() ? &*lent : &fresh.emplace_back(std::move(entry)));
    }
    REQUIRE(fresh.size() == 4);
    std::string all;
    std::vector<std::uint64_t> places = ArchiveWriter(entries, time).finish({[&](std::string_view bytes) { all += bytes; }});
    CHECK(all == archive(now, time));
    CHECK(read_archive(all) == now);
    REQUIRE(places.size() == entries.size());
    for (std::size_t i = 0; i < places.size(); ++i) CHECK(all.compare(places[i] - entries[i]->path.size(), entries[i]->path.size(), entries[i]->path) == 0);
  }
}

TEST_CASE("where the list of the lending archive is not as it should be, libzip writes all") {
  Entries files = {{"a.txt", std::string(3000, 'a')}, {"b.txt", "b"}, {"c.txt", std::string(200'000, 'c')}};
  std::string expected = archive(files, 0);
  auto told = [&](const std::function<void(std::string& bytes, PackedEntry& entry)>& change) {
    Lender lender({{"a.txt", files["a.txt"]}, {"c.txt", files["c.txt"]}});
    std::string bytes = archive({{"a.txt", files["a.txt"]}, {"c.txt", files["c.txt"]}}, 0);
    change(bytes, lender.lent[0]);
    lender.folder.write("archive", bytes);
    lender.open();
    PackedEntry b = pack("b.txt", "b");
    std::vector<const PackedEntry*> entries = {&lender.lent[0], &b, &lender.lent[1]};
    return write_archive(entries, 0);
  };
  CHECK(told([](std::string&, PackedEntry&) {}) == expected);
  std::size_t list = directory(archive({{"a.txt", files["a.txt"]}, {"c.txt", files["c.txt"]}}, 0));
  for (std::size_t at : {std::size_t{0}, std::size_t{16}, std::size_t{20}, std::size_t{28}, std::size_t{30}, std::size_t{32}, std::size_t{42}, std::size_t{46}}) {
    CAPTURE(at);
    CHECK(told([&](std::string& bytes, PackedEntry&) { bytes[list + at] = static_cast<char>(bytes[list + at] ^ 4); }) == expected);
  }
  // The record at the end: its mark, the place and length of the list, a comment.
  for (std::size_t back : {22u, 10u, 6u, 2u}) {
    CAPTURE(back);
    CHECK(told([&](std::string& bytes, PackedEntry&) { bytes[bytes.size() - back] = static_cast<char>(bytes[bytes.size() - back] ^ 4); }) == expected);
  }
  CHECK(told([](std::string& bytes, PackedEntry&) { bytes += "more"; }) == expected);
  // No archive at all, of which the bytes are those of the entries.
  CHECK(told([](std::string& bytes, PackedEntry&) { bytes.replace(bytes.size() - 22, 22, 22, 'x'); }) == expected);
}

TEST_CASE("a lending archive that ends early or changes is noticed") {
  Lender lender({{"a.txt", noise(300'000)}, {"c.txt", std::string(200'000, 'c')}});
  PackedEntry b = pack("b.txt", "b");
  std::vector<const PackedEntry*> entries = {&lender.lent[0], &b, &lender.lent[1]};
  lender.folder.write("archive", "short");
  CHECK_FALSE(lender.file->is_unchanged());
  CHECK_THROWS_AS(write_archive(entries, 0), SystemError);
}

TEST_CASE("an unsafe path is refused") {
  std::string zip = archive({{"aa/evil.txt", "x"}, {"b.txt", "y"}});
  CHECK(refused(zip) == "");
  for (std::string_view path : {"../evil.txt", "/a/evil.txt", "a//evil.txt", "aa/../e.txt", "./a/vil.txt", "aa\\evil.txt", "c:/evil.txt", "aa/evil.tx/", "aa/evil\n.tx", "aaa/evil/.."}) {
    CAPTURE(path);
    CHECK(refused(renamed(zip, "aa/evil.txt", path)) == "the path of entry 1 is not safe");
  }
}

TEST_CASE("two entries of one name are refused") { CHECK(refused(renamed(archive({{"a.txt", "x"}, {"b.txt", "y"}}), "b.txt", "a.txt")) != ""); }

TEST_CASE("what is no archive, or half of one, is refused") {
  std::string zip = archive({{"a.txt", noise(3000)}});
  CHECK(refused("") != "");
  CHECK(refused("no archive at all") != "");
  CHECK(refused(zip.substr(0, zip.size() / 2)) != "");
  CHECK(refused(zip.substr(0, zip.size() - 1)) != "");
  CHECK(refused(zip.substr(100)) != "");
}

TEST_CASE("a byte that was changed is found by its checksum") {
  std::string stored = archive({{"a.txt", noise(3000)}});
  stored[500] = static_cast<char>(stored[500] ^ 1);
  CHECK(refused(stored) != "");
  std::string text;
  for (int i = 0; i < 3000; ++i) text += std::to_string(i * i);
  std::string deflated = archive({{"a.txt", text}});
  deflated[2000] = static_cast<char>(deflated[2000] ^ 1);
  CHECK(refused(deflated) != "");
}

TEST_CASE("an entry that says it is larger than any release is refused before it is unpacked") {
  std::string zip = archive({{"a.txt", std::string(1000, 'a')}});
  std::size_t at = directory(zip);
  for (std::size_t field : {std::size_t{22}, at + 24}) zip.replace(field, 4, "\xff\xff\xff\x7f");
  CHECK(refused(zip) != "");
}

}
