// The nodes of a formula under construction, each with its type; what does not fit is reported and ends the parse.
#pragma once

#include <initializer_list>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "formula/formula.h"

namespace bindery {

// Ends the parse of one formula after its report; never leaves formula/.
struct FormulaRefused {};

class FormulaBuilder {
 protected:
  FormulaBuilder(const Text& text, Diagnostics& out) : text_(text.text), out_(out) { formula_.text = text; }

  static FormulaType number_type(Dimension dimension = {}) { return {FormulaType::Kind::number, dimension}; }
  static FormulaType flag_type() { return {FormulaType::Kind::flag, {}}; }

  // Report text[begin, end), at least one byte of it, and end the parse.
  [[noreturn]] void fail(Code code, std::size_t begin, std::size_t end, std::string message, std::string help);
  [[noreturn]] void fail(std::size_t begin, std::size_t end, std::string message, std::string help);

  // Would a report of that code only be counted? Then it is, and the parse ends without making its message.
  bool skipped(Code code) { return out_.skip(code); }

  // A new node that starts at `begin` and ends at the cursor; its index.
  std::uint32_t add(FormulaOp op, FormulaType type, std::size_t begin, std::initializer_list<std::uint32_t> arguments);
  std::uint32_t add(FormulaOp op, FormulaType type, std::size_t begin, const std::vector<std::uint32_t>& arguments);
  const FormulaNode& node(std::uint32_t index) const;
  const FormulaType& type(std::uint32_t index) const;

  // What a call of that function with these arguments yields; reports arguments that do not fit.
  FormulaType call_type(FormulaOp op, std::string_view name, const std::vector<std::uint32_t>& a);
  std::string_view text_of(std::uint32_t index) const;

  // Each reports where its wish is not met. `what` names the operation that wishes.
  [[noreturn]] void mismatch(std::uint32_t index, std::string what, const FormulaType& got);
  void want_flag(std::uint32_t index);
  void want_quantity(std::uint32_t index, std::string_view what);
  void want_number(std::uint32_t index, std::string_view what);
  void want_same(std::uint32_t left, std::uint32_t right, std::string what);

  // Nodes whose type follows from their arguments: a temperature takes a difference, and has no multiple.
  std::uint32_t add_sum(FormulaOp op, std::uint32_t left, std::uint32_t right);
  std::uint32_t add_product(FormulaOp op, std::uint32_t left, std::uint32_t right);
  // The dimension of base ^ exponent, for which the exponent must be known now.
  Dimension raised(std::uint32_t base, std::uint32_t exponent);
  std::optional<double> constant(std::uint32_t index) const;
  void check_comparison(FormulaOp op, std::uint32_t left, std::uint32_t right);
  // A choice compared with a word that it never is.
  void check_choice(std::uint32_t key, std::uint32_t literal);

  std::string_view text_;
  std::size_t at_ = 0;  // the cursor of whoever reads the text; a new node ends there
  Formula formula_;
  std::map<std::uint32_t, const std::vector<std::string_view>*> choices_;  // of each key's node

 private:
  Diagnostics& out_;
  std::vector<std::uint16_t> heights_;  // of each node
};

}  // namespace bindery
