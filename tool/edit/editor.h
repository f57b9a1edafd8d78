// What an edit changes in a file: the bytes to replace, and where to add.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "edit/edit.h"
#include "edit/places.h"

namespace bindery {

// Bytes [begin, end) of the file give way to the text.
struct TextChange {
  std::size_t begin = 0, end = 0;
  std::string text;
};

// All that it is given is borrowed and must outlive it.
class Editor {
 public:
  Editor(FileId id, const SourceFile& file, const Document& doc, const FragmentEdit& edit);

  // Finds the changes that give the edit's value to the file's own fragment, or to the fitting of that name. False,
  // after a report, where there is no such fitting or the key has no place.
  bool run(std::optional<std::string_view> fitting, Diagnostics& out);

  std::vector<TextChange> changes;  // in no order; none overlaps another
  Span place;                       // the nearest key that the file has

 private:
  // A key of a mapping, and its value.
  struct Entry {
    std::uint32_t mapping = 0, key = 0, value = 0;
  };

  std::vector<Entry> entries(std::uint32_t mapping) const;
  std::optional<Entry> entry(std::uint32_t mapping, std::string_view key) const;
  bool is_group(std::uint32_t node) const;
  bool refuse(std::string message, std::string help, Diagnostics& out) const;
  void learn_style();

  void search(std::uint32_t mapping, std::size_t length);
  void replace(const Entry& entry);
  void put(const Entry& entry, const std::string& text, bool is_list);
  void put_list(std::uint32_t list);
  void put_on_line_of_key(const Entry& entry, const std::string& text);
  std::size_t end_of_words(std::uint32_t node) const;

  // In all of these `headings` are keys to write around the new one.
  using Headings = std::vector<std::string_view>;
  void add_section(std::uint32_t fragment);
  void add_before(const std::vector<Entry>& all, std::size_t index, bool apart, const Headings& headings);
  void add_to(std::uint32_t mapping, const Headings& headings);
  void add_to_block(std::uint32_t mapping, const Headings& headings);
  void add_to_flow(std::uint32_t mapping, const Headings& headings);
  void add_below(const Entry& entry, const Headings& headings);
  std::string lines(std::string indentation, const Headings& headings) const;
  std::string one_line(bool padded, const Headings& headings) const;
  std::string pair(bool in_flow, bool padded) const;
  bool is_padded(std::uint32_t mapping) const;
  bool stands_apart(const std::vector<Entry>& all, std::size_t index) const;
  std::size_t floor(const std::vector<Entry>& all, std::size_t index) const;

  void change(std::size_t begin, std::size_t end, std::string text);

  FileId id_;
  std::string_view text_;
  const Document& doc_;
  const FragmentEdit& edit_;
  Places places_;
  std::string_view section_;  // `settings` or `adjust`
  std::string_view line_break_ = "\n";
  std::size_t step_ = 2;        // blanks by which a block stands deeper than its key
  bool padded_ = true;          // `{ a: b }` rather than `{a: b}`
  std::optional<Entry> found_;  // the key, where it is written already
  std::uint32_t deepest_ = 0;   // the mapping below which the key belongs
  std::size_t length_ = 0;      // of the key's beginning that leads there
};

}  // namespace bindery
