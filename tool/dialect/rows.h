// Reads the rows of a dialect's file.
#pragma once

#include <map>
#include <string_view>
#include <vector>

#include "dialect/dialect.h"
#include "syntax/fields.h"

namespace bindery {

class RowReader {
 public:
  // `files` are the names of the dialect's files, in order; `groups` the nodes of its shared rows.
  RowReader(const Tree& tree, const Document& doc, const std::vector<std::string_view>& files,
            const std::map<std::string_view, std::uint32_t>& groups, Diagnostics& out)
      : tree_(tree), doc_(doc), files_(files), groups_(groups), out_(out), read_(doc, out) {}

  // The rows of a list, those of groups in their place.
  std::vector<Row> rows(const Field& field, const DialectFile& file);

  // A formula over all settings. `what` names its purpose where its type is not `wanted`.
  std::optional<Formula> formula(const Text& text, const std::optional<FormulaType>& wanted, std::string_view what);
  // `section:`, one word or a list.
  std::vector<std::string_view> section(const Field& field, const DialectFile& file);
  // Reports a name that the file's family does not hold.
  void check_name(const DialectFile& file, std::string_view name, Span span, bool section);
  // A text that may be empty.
  std::optional<Text> text(const Field& field);

 private:
  void read_list(std::uint32_t list, const DialectFile& file, const std::vector<std::string_view>& within, int depth);
  void read_item(std::uint32_t node, const DialectFile& file, const std::vector<std::string_view>& within, int depth);
  void read_row(const std::vector<Field>& fields, Span span, const DialectFile& file,
                const std::vector<std::string_view>& within);
  bool read_feed(const Field& field, Row& row);
  void read_format(const Field& field, Row& row, std::optional<Text>& unit);
  void bind_number(Row& row, const std::optional<Text>& unit);
  void read_words(const Field& field, Row& row);
  void check_row(const Row& row, const DialectFile& file);
  void wrong(Code code, Span span, std::string message, std::string help);

  const Tree& tree_;
  const Document& doc_;
  const std::vector<std::string_view>& files_;
  const std::map<std::string_view, std::uint32_t>& groups_;
  Diagnostics& out_;
  FieldReader read_;
  std::vector<Row> rows_;
  std::size_t items_ = 0;  // rows and groups read for the file, the same group each time it is used
};

}  // namespace bindery
