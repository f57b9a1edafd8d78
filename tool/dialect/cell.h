// One value as a row writes it into a program's file, and back.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "dialect/dialect.h"

namespace bindery {

// A value apart from any profile: what a row feeds, or what was read. Numbers in the unit of the row.
struct CellValue {
  enum class Of : std::uint8_t { number, flag, word, list } of = Of::number;
  double number = 0;
  bool flag = false;
  std::string word;
  std::vector<CellValue> items;
};

// What stands in the file: one value, or several.
struct CellText {
  std::vector<Scalar> values;
  bool list = false;
};

// The text of a value; nothing, with the reason ("it has no spelling for 'rectilinear'"), where the format has none.
std::optional<CellText> write_cell(const RowFormat& format, const CellValue& value, std::size_t repeat,
                                   std::string& why);

// The value of a text: of this sort, or a list of it. Nothing, with the reason, where the row does not read it.
std::optional<CellValue> read_cell(const RowFormat& format, CellValue::Of sort, bool list, bool repeated,
                                   const CellText& text, std::string& why);

// Are they written equal by the language?
bool same_cell(const CellValue& a, const CellValue& b);

// A number between two units of one dimension; null: no unit, and nothing is converted.
double converted(double number, const Unit* from, const Unit* to);

}  // namespace bindery
