#include "archive/deflate.h"

#include <algorithm>
#include <memory>

#include <libdeflate.h>
#include <zlib.h>

#include "base/digest.h"
#include "base/failure.h"
#include "base/parallel.h"

namespace bindery {

namespace {

constexpr int level = 6;
constexpr std::size_t long_text = 1 << 20;  // shorter ones take a few milliseconds
// Of a section. Each begins without the 32 kB that a match may reach back: shorter ones would cost more bytes.
constexpr std::size_t shortest = 96 * 1024, longest = 256 * 1024;

struct CompressorFree {
  void operator()(libdeflate_compressor* handle) const { libdeflate_free_compressor(handle); }
};

libdeflate_compressor& compressor() {
  thread_local std::unique_ptr<libdeflate_compressor, CompressorFree> handle(libdeflate_alloc_compressor(level));
  if (!handle) throw SystemError("libdeflate gives no compressor");
  return *handle;
}

// Room for this thread's bytes until it asks again.
char* room(std::size_t length) {
  thread_local std::unique_ptr<char[]> bytes;
  thread_local std::size_t size = 0;
  if (size < length) {
    bytes = std::make_unique_for_overwrite<char[]>(length);
    size = length;
  }
  return bytes.get();
}

// Where the first section of a text ends: after the first byte beyond the shortest where the hash of the last 64 bytes
// has so many zeros in front that one in 2^15 has them.
std::size_t end_of_section(std::string_view text) {
  constexpr std::size_t window = 64;
  constexpr unsigned zeros = 15;
  constexpr std::uint64_t spread = 0x9e3779b97f4a7c15;  // 2^64 over the golden ratio: a byte reaches all bits
  std::size_t end = std::min(text.size(), longest);
  std::uint64_t hash = 0;  // of which each byte leaves after as many shifts as there are bits
  for (std::size_t at = shortest - window; at < end; ++at) {
    hash = (hash << 1) + (static_cast<unsigned char>(text[at]) + 1) * spread;
    if (at >= shortest && hash >> (window - zeros) == 0) return at + 1;
  }
  return end;
}

// The last block of what is deflated: the bits before it, and those that are left over after it.
struct LastBlock {
  std::size_t head = 0;
  unsigned unused = 0;
};

// zlib tells where blocks end, while it inflates them.
LastBlock last_block(std::string_view deflated, std::size_t text) {
  z_stream stream{};
  if (inflateInit2(&stream, -MAX_WBITS) != Z_OK) throw SystemError("zlib cannot begin");
  std::unique_ptr<z_stream, decltype(&inflateEnd)> end(&stream, &inflateEnd);
  stream.next_in = reinterpret_cast<Bytef*>(const_cast<char*>(deflated.data()));
  stream.avail_in = static_cast<uInt>(deflated.size());
  stream.next_out = reinterpret_cast<Bytef*>(room(text));
  stream.avail_out = static_cast<uInt>(text);
  constexpr int after_block = 128, in_last = 64, unused = 7;
  for (LastBlock block; inflate(&stream, Z_BLOCK) == Z_OK;) {
    if ((stream.data_type & after_block) == 0) continue;
    block.unused = static_cast<unsigned>(stream.data_type & unused);
    if ((stream.data_type & in_last) != 0) return block;
    block.head = stream.total_in * 8 - block.unused;
  }
  throw SystemError("zlib does not read what libdeflate wrote");
}

// Deflates a section such that another can follow: no block is the last one, and it ends with a whole byte.
void append_section(std::string_view text, std::string& out) {
  std::size_t begin = out.size();
  out.resize(begin + libdeflate_deflate_compress_bound(&compressor(), text.size()));
  std::size_t length =
      libdeflate_deflate_compress(&compressor(), text.data(), text.size(), out.data() + begin, out.size() - begin);
  out.resize(begin + length);
  LastBlock last = last_block(std::string_view(out).substr(begin), text.size());
  char& head = out[begin + last.head / 8];
  head = static_cast<char>(head & ~(1 << last.head % 8));
  // An empty block that is stored: three bits of head and the rest of their byte, no length, its complement (3.2.4).
  if (last.unused < 3) out += '\0';
  out.append({'\0', '\0', '\xff', '\xff'});
}

Deflated deflate_at_once(std::string_view text) {
  Deflated out;
  char* target = room(text.size());
  // Zero where the deflated form would not be shorter.
  std::size_t length = libdeflate_deflate_compress(&compressor(), text.data(), text.size(), target, text.size());
  out.deflated = length > 0;
  out.data = out.deflated ? std::string_view(target, length) : text;
  return out;
}

}  // namespace

Deflater::Deflater(FindSection find, unsigned jobs) : find_(std::move(find)), jobs_(jobs) {}

void Deflater::add(std::string_view text) {
  size_ += text.size();
  rest_ += text;
  if (size_ >= long_text) cut(false);
}

Deflated Deflater::finish() {
  if (size_ < long_text) return deflate_at_once(rest_);
  cut(true);
  deflate_sections();
  // The last block: of the fixed codes, and empty.
  out_.data.append({'\x03', '\0'});
  return std::move(out_);
}

void Deflater::cut(bool last) {
  std::size_t begin = ends_.empty() ? 0 : ends_.back();
  while (rest_.size() - begin >= longest || (last && begin < rest_.size())) {
    begin += end_of_section(std::string_view(rest_).substr(begin));
    ends_.push_back(begin);
    constexpr std::size_t for_each_job = 4;
    if (ends_.size() < for_each_job * jobs_) continue;
    deflate_sections();
    begin = 0;
  }
}

void Deflater::deflate_sections() {
  std::vector<std::string> data(ends_.size());
  std::size_t first = out_.sections.size();
  out_.sections.resize(first + ends_.size());
  parallel_for(ends_.size(), jobs_, [&](std::size_t i) {
    std::size_t begin = i == 0 ? 0 : ends_[i - 1];
    std::string_view text = std::string_view(rest_).substr(begin, ends_[i] - begin);
    Section& section = out_.sections[first + i];
    section.digest = sha256(text);
    if (!find_ || !find_(section.digest, data[i])) append_section(text, data[i]);
    section.length = data[i].size();
  });
  for (const std::string& each : data) out_.data += each;
  if (!ends_.empty()) rest_.erase(0, ends_.back());
  ends_.clear();
}

Deflated deflate(std::string_view text) {
  if (text.size() < long_text) return deflate_at_once(text);
  Deflater deflater({}, 1);
  deflater.add(text);
  return deflater.finish();
}

std::uint32_t checksum(std::string_view bytes, std::uint32_t before) {
  return static_cast<std::uint32_t>(libdeflate_crc32(before, bytes.data(), bytes.size()));
}

}  // namespace bindery
