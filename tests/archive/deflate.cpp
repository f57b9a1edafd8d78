// Deflated texts, inflated again by zlib.
#include "archive/deflate.h"

#include <map>

#include <zlib.h>

#include "../support.h"
#include "base/digest.h"

using namespace bindery;

namespace {

constexpr std::size_t long_text = 1 << 20;

std::string inflated(const std::string& data, std::size_t size) {
  std::string out(size + 1, '\0');
  z_stream stream{};
  REQUIRE(inflateInit2(&stream, -MAX_WBITS) == Z_OK);
  stream.next_in = reinterpret_cast<Bytef*>(const_cast<char*>(data.data()));
  stream.avail_in = static_cast<uInt>(data.size());
  stream.next_out = reinterpret_cast<Bytef*>(out.data());
  stream.avail_out = static_cast<uInt>(out.size());
  int end = inflate(&stream, Z_FINISH);
  out.resize(stream.total_out);
  bool whole = end == Z_STREAM_END && stream.avail_in == 0;
  inflateEnd(&stream);
  return whole ? out : "(not whole)";
}

std::uint32_t next(std::uint32_t& state) { return (state = state * 1664525 + 1013904223) >> 8; }

// Lines with a number each, as a list of digests has them.
std::vector<std::string> lines(std::size_t count, std::uint32_t seed = 1) {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < count; ++i) out.push_back(fmt::format("{:08x}{:08x}  profiles/invented-{:06}.json\n", next(seed), next(seed), i));
  return out;
}

std::string joined(const std::vector<std::string>& lines) {
  std::string out;
  for (const std::string& each : lines) out += each;
  return out;
}

Deflated deflated_in_parts(std::string_view text, std::size_t part, const FindSection& find = {}, unsigned jobs = 1) {
  Deflater deflater(find, jobs);
  for (; !text.empty(); text.remove_prefix(std::min(part, text.size()))) deflater.add(text.substr(0, part));
  return deflater.finish();
}

// What an earlier text left, and how often that was asked for.
struct Known {
  std::map<std::string, std::string> sections;
  int found = 0, missed = 0;

  explicit Known(const Deflated& deflated) {
    std::size_t at = 0;
    for (const Section& each : deflated.sections) {
      sections[each.digest] = deflated.data.substr(at, each.length);
      at += each.length;
    }
  }
  FindSection find() {
    return [this](const std::string& digest, std::string& out) {
      auto at = sections.find(digest);
      ++(at == sections.end() ? missed : found);
      if (at != sections.end()) out += at->second;
      return at != sections.end();
    };
  }
};

}  // namespace

TEST_SUITE("archive/deflate") {

TEST_CASE("a text comes back, whatever its length and what it is made of") {
  std::uint32_t state = 7;
  std::string noise;
  while (noise.size() < long_text + 300'000) noise += static_cast<char>(next(state));
  std::string list = joined(lines(60'000));
  REQUIRE(list.size() > 2 * long_text);
  for (const std::string& text : {std::string("a"), std::string(5000, 'a'), list.substr(0, long_text - 1), list.substr(0, long_text), list.substr(0, long_text + 1), list, std::string(3 * long_text, '\0'), noise}) {
    CAPTURE(text.size());
    Deflated deflated = deflate(text);
    CHECK((deflated.deflated ? inflated(deflated.data, text.size()) : deflated.data) == text);
    CHECK(deflated.sections.empty() == (text.size() < long_text));
    std::size_t length = 2;  // of the end
    for (const Section& each : deflated.sections) length += each.length;
    CHECK((deflated.sections.empty() || length == deflated.data.size()));
  }
}

TEST_CASE("sections follow each other whatever bits their last blocks leave over") {
  for (std::uint32_t seed = 1; seed <= 10; ++seed) {
    CAPTURE(seed);
    std::string text = joined(lines(25'000, seed));
    REQUIRE(text.size() > long_text);
    CHECK(inflated(deflate(text).data, text.size()) == text);
  }
}

TEST_CASE("a short text that would become no shorter stays as it is") {
  for (std::string text : {"", "ab", "profile"}) {
    CHECK_FALSE(deflate(text).deflated);
    CHECK(deflate(text).data == text);
    Deflater deflater({}, 1);
    deflater.add(text);
    Deflated in_parts = deflater.finish();
    CHECK_FALSE(in_parts.deflated);
    CHECK(in_parts.data == text);
  }
}

TEST_CASE("the bytes are the same in whatever parts a text comes and on however many threads") {
  std::string list = joined(lines(40'000));
  for (std::size_t size : {std::size_t{90'000}, long_text - 1, long_text, list.size()}) {
    std::string text = list.substr(0, size);
    std::string expected = deflate(text).data;
    for (std::size_t part : {std::size_t{999}, std::size_t{65'536}, std::size_t{1'500'000}}) CHECK(deflated_in_parts(text, part).data == expected);
    CHECK(deflated_in_parts(text, 70'000, {}, 3).data == expected);
  }
}

TEST_CASE("sections that are known are taken over, and the bytes are the same") {
  std::vector<std::string> list = lines(60'000);
  Deflated before = deflate(joined(list));
  int sections = static_cast<int>(before.sections.size());
  REQUIRE(sections > 10);

  Known same(before);
  CHECK(deflated_in_parts(joined(list), 65'536, same.find()).data == before.data);
  CHECK(same.missed == 0);
  CHECK(same.found == sections);

  // A line edited, one put in, one taken out: all else is known.
  for (int edit = 0; edit < 3; ++edit) {
    CAPTURE(edit);
    std::vector<std::string> edited = list;
    if (edit == 0) edited[30'000][3] = 'x';
    if (edit == 1) edited.insert(edited.begin() + 20'000, "an invented line\n");
    if (edit == 2) edited.erase(edited.begin() + 10'000);
    std::string text = joined(edited);
    Known known(before);
    CHECK(deflated_in_parts(text, 65'536, known.find()).data == deflate(text).data);
    CHECK(known.missed >= 1);
    CHECK(known.missed <= 3);
    CHECK(known.found >= sections - 3);
  }
}

TEST_CASE("a section is as long as it may be where the text is one byte throughout, and cut within bounds elsewhere") {
  std::string list = joined(lines(60'000));
  Deflated deflated = deflate(list);
  // 96 to 256 kB each, but for the last.
  CHECK(deflated.sections.size() >= list.size() / (256 * 1024));
  CHECK(deflated.sections.size() <= list.size() / (96 * 1024) + 1);
  CHECK(deflate(std::string(long_text, 'a')).sections.size() == 4);
  // Cut into sections, it is little longer than at once: of zlib's level 6 here, which deflates a little less well.
  uLongf at_once = compressBound(static_cast<uLong>(list.size()));
  std::string room(at_once, '\0');
  REQUIRE(compress2(reinterpret_cast<Bytef*>(room.data()), &at_once, reinterpret_cast<const Bytef*>(list.data()), static_cast<uLong>(list.size()), 6) == Z_OK);
  CHECK(deflated.data.size() < at_once * 102 / 100);
}

// The check value of CRC-32 for "123456789" (ISO 3309; from memory).
TEST_CASE("a checksum goes on where another ended") {
  CHECK(checksum("123456789") == 0xcbf43926);
  CHECK(checksum("6789", checksum("12345")) == 0xcbf43926);
}

}
