// Places in the sources: which file, and which bytes of it.
#pragma once

#include <cstdint>
#include <string_view>

namespace bindery {

// Index of a file in Sources::files.
using FileId = std::uint32_t;
inline constexpr FileId no_file = 0xffffffffu;

// Bytes [begin, end) of one file. A default Span is no place at all.
struct Span {
  FileId file = no_file;
  std::uint32_t begin = 0;
  std::uint32_t end = 0;

  bool known() const { return file != no_file; }
  auto operator<=>(const Span&) const = default;
};

// A scalar of a source file: its text after YAML's quoting, and where it stands.
struct Text {
  std::string_view text;
  Span span;
  bool quoted = false;  // written in quotes or as a block, so never a flag or a count
  bool exact = false;   // the bytes at `inner` are `text`, so offsets map one to one
  bool block = false;   // a literal block: lines map one to one, each after its indentation
  std::uint32_t inner = 0;

  bool operator==(const Text&) const = default;
  bool empty() const { return text.empty(); }
  // The place of text[offset, offset + length); the whole scalar where that is not known.
  Span part(std::size_t offset, std::size_t length) const {
    if (!exact) return span;
    auto begin = inner + static_cast<std::uint32_t>(offset);
    return {span.file, begin, begin + static_cast<std::uint32_t>(length)};
  }
};

}  // namespace bindery
