// Reading mappings of known keys: shared by fragments, dictionary, plan and notes.
#pragma once

#include <initializer_list>
#include <optional>
#include <string_view>
#include <vector>

#include "base/diagnostic.h"
#include "syntax/document.h"

namespace bindery {

struct Field {
  const Text& key;
  std::uint32_t value;  // node index
};

// Reads typed values from a document's nodes; each reader reports what does not fit and gives nothing.
class FieldReader {
 public:
  FieldReader(const Document& document, Diagnostics& out) : doc(document), out_(out) {}

  // The pairs of a mapping; none, after a report, where the node is something else.
  std::vector<Field> fields(std::uint32_t node, std::string_view what);

  // A scalar that is not empty.
  std::optional<Text> scalar(const Field& field);
  std::optional<bool> flag(const Field& field);
  // One scalar or a list of scalars.
  std::vector<Text> words(const Field& field);
  // The same for names that a condition admits; an empty list would admit all, and is refused.
  std::vector<Text> names(const Field& field);
  // A scalar that is one of the words; its index.
  std::optional<std::size_t> choice(const Field& field, std::initializer_list<std::string_view> words);

  // Reports a key that does not belong here, with the nearest that does.
  void unknown(const Text& key, Code code, std::string_view what, std::vector<std::string_view> known);
  void wrong(Span span, std::string message, std::string help);
  // False, after a report, where there are more than `most`.
  bool within(std::size_t count, std::size_t most, Span span, std::string_view what);

  const Document& doc;

 private:
  Diagnostics& out_;
};

}  // namespace bindery
