// Machine code, first half: a line of a script read into words.
//
// Two grammars. `rs274` follows NISTIR 6556 (The NIST RS274NGC Interpreter, Version 3, section 3): case and blanks do
// not count, comments stand in brackets, one line may hold several codes of different modal groups. `printer` is what
// print firmware reads: `;` comments, an optional checksum, one code a line, whole words that call macros.
#pragma once

#include <cstddef>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace bindery {

enum class Grammar : std::uint8_t { printer, rs274 };

// The number behind a letter.
struct WordValue {
  enum class Of : std::uint8_t {
    number,
    job,     // a placeholder of the running job, `@{layer.z}`: a number that nobody knows yet
    absent,  // the letter stands alone, as in `M84 X Y`
  } of = Of::number;
  double number = 0;

  bool known() const { return of == Of::number; }
};

struct BlockWord {
  char letter = 'G';  // a capital
  WordValue value;
  std::size_t begin = 0, end = 0;  // bytes of the line
};

// KEY=VALUE behind a macro.
struct MacroArgument {
  std::string key;
  std::size_t begin = 0, end = 0;
};

struct Block {
  bool skipped = false;             // `/`: a line that a switch may leave out
  std::optional<long> line_number;  // of N
  std::vector<BlockWord> words;     // but for N
  std::string macro;                // in capitals; empty where the line calls none
  std::size_t macro_end = 0;        // bytes of the line up to the end of its name
  std::vector<MacroArgument> arguments;
  std::vector<std::string> comments;           // in order, without their signs
  std::vector<std::pair<int, double>> stores;  // `#3=1.5`: parameters set by this line, after all was read

  bool empty() const { return words.empty() && macro.empty() && stores.empty(); }
  const BlockWord* find(char letter) const;
};

// What is wrong with a line, and which bytes.
struct LineFault {
  std::size_t begin = 0, end = 0;
  std::string message, help;
};

// A line, or why it is none.
struct ReadLine {
  Block block;
  std::optional<LineFault> fault;
};

// Numbered parameters of rs274, as far as the lines before have set them; others are 0.
using Parameters = std::map<int, double>;

// Reads one line, without its line break. Does not follow a store: that is execution.
ReadLine read_rs274(std::string_view line, const Parameters& parameters);

// The same for print firmware. `takes_text` tells whether the rest of the line behind a code is text.
ReadLine read_printer(std::string_view line, const std::function<bool(char letter, int tenths)>& takes_text);

// Digits with at most one point and an optional minus; nothing where they make no number, or one beyond 1e9.
std::optional<double> decimal(std::string_view text);

// The number of a code word in tenths (382 for G38.2); nothing where it is no number of a code. A number that must be
// whole is taken as whole within 0.0001 (NISTIR 6556, 3.3.2.1).
std::optional<int> code_tenths(double number);

// The modal group of a code in rs274, by NISTIR 6556 table 4; 0 for none. Codes of group 0 of that table are not modal,
// and have the number 100 here.
int modal_group(char letter, int tenths);

}  // namespace bindery
