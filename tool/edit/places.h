// Where the nodes of a document begin and end in its file, brackets and all lines of a text included.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "source/source.h"
#include "syntax/document.h"

namespace bindery {

// Both are borrowed and must outlive it.
class Places {
 public:
  Places(const SourceFile& file, const Document& doc);

  // Its bytes, without comments behind it. A value that is not written is the empty place behind its key's colon. A
  // block text that keeps its last blank lines (`|+`) ends where the line after them starts.
  std::size_t begin(std::uint32_t node) const { return places_[node].begin; }
  std::size_t end(std::uint32_t node) const { return places_[node].end; }
  // Behind the colon of a key, or behind the key where it has none.
  std::size_t behind(std::uint32_t key) const { return places_[key].behind; }
  bool has_colon(std::uint32_t key) const { return places_[key].behind != places_[key].end; }

  bool is_flow(std::uint32_t node) const;        // a mapping or list in brackets
  bool is_block_text(std::uint32_t node) const;  // a text below `|` or `>`
  // The line of a mapping or list before its first character: what stands before each of its children in block style.
  std::string indentation(std::uint32_t node) const;
  std::size_t column(std::uint32_t node) const { return begin(node) - line_start(begin(node)); }

  std::size_t line_start(std::size_t at) const;
  // Before the line break, or at the end of the file.
  std::size_t line_end(std::size_t at) const;
  // Do only blanks stand before it in its line?
  bool opens_line(std::size_t at) const;
  // Where the comments start that stand directly above the line of `key`, at most as deep as it and behind `floor`; the
  // start of its own line where there are none.
  std::size_t above(std::uint32_t key, std::size_t floor) const;
  // The next character that is no blank, line break or comment.
  std::size_t skip(std::size_t at) const;

 private:
  struct Place {
    std::size_t begin = 0, end = 0, behind = 0;
  };

  std::size_t measure(std::uint32_t node, std::size_t from, std::size_t column);
  std::size_t measure_collection(std::uint32_t node, std::size_t column);
  std::size_t end_of_scalar(const Text& text, std::size_t column) const;
  std::size_t end_of_block_text(std::size_t begin, std::size_t column) const;
  std::size_t end_of_plain(const Text& text) const;
  std::size_t written_null(std::size_t at) const;

  std::string_view text_;
  const Document& doc_;
  std::vector<Place> places_;
};

}  // namespace bindery
