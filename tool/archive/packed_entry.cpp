#include "archive/packed_entry.h"

#include <utility>

#include "base/digest.h"

namespace bindery {

PackedEntry pack(std::string path, std::string_view bytes) {
  PackedEntry entry;
  entry.path = std::move(path);
  entry.size = bytes.size();
  entry.crc = checksum(bytes);
  entry.digest = sha256(bytes);
  Deflated packed = deflate(bytes);
  entry.data = std::move(packed.data);
  entry.deflated = packed.deflated;
  return entry;
}

TextPacker::TextPacker(FindSection find, unsigned jobs) : deflater_(std::move(find), jobs) {}

void TextPacker::add(std::string_view bytes) {
  size_ += bytes.size();
  crc_ = checksum(bytes, crc_);
  deflater_.add(bytes);
}

PackedEntry TextPacker::finish(std::string path, std::vector<Section>& sections) {
  PackedEntry entry;
  entry.path = std::move(path);
  entry.size = size_;
  entry.crc = crc_;
  Deflated packed = deflater_.finish();
  entry.data = std::move(packed.data);
  entry.deflated = packed.deflated;
  sections = std::move(packed.sections);
  return entry;
}

}  // namespace bindery
