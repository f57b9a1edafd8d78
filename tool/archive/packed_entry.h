// A file of an archive, as it is stored there.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "archive/deflate.h"
#include "archive/stored_file.h"

namespace bindery {

struct PackedEntry {
  // Bytes that lie in a file which outlives the entry.
  struct Place {
    const StoredFile* file = nullptr;
    std::uint64_t at = 0, length = 0;
  };

  std::string path;
  std::string data;  // deflated, or the bytes themselves where that is not smaller
  Place lent;        // the same, instead of `data`, where it names a file
  bool deflated = true;
  std::uint64_t size = 0;  // of the bytes
  std::uint32_t crc = 0;
  std::string digest;  // SHA-256 of the bytes, where it was asked for

  std::uint64_t stored_size() const { return lent.file != nullptr ? lent.length : data.size(); }
};

using PackedEntries = std::vector<const PackedEntry*>;

PackedEntry pack(std::string path, std::string_view bytes);

// Packs a text that comes in parts, without its digest.
class TextPacker {
 public:
  // `find` may be none.
  TextPacker(FindSection find, unsigned jobs);

  void add(std::string_view bytes);
  // With the sections of a long text, which lie in the entry's data one after the other.
  PackedEntry finish(std::string path, std::vector<Section>& sections);

 private:
  std::uint64_t size_ = 0;
  std::uint32_t crc_ = 0;
  Deflater deflater_;
};

}  // namespace bindery
