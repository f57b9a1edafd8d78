// Formulas: parsed once, with their dimensions checked before any profile is resolved.
//
//   high to low:  5 mm  'word'  key  f(a, b)  (a)  |  a in UNIT  |  a ^ b  |  -a  |  * /  |  + -  |
//                 < <= > >= == !=  |  not  |  and  |  or
//
// Numbers compute in the working units of units.h; a temperature in degC is a point on a scale, to which a
// difference in K may be added. `if`, `and` and `or` evaluate only what they need.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/diagnostic.h"
#include "base/span.h"
#include "base/value.h"
#include "units/units.h"

namespace bindery {

using KeyId = std::uint32_t;
inline constexpr KeyId no_key = 0xffffffffu;

// No formula, nor formulas that read each other, evaluate deeper than this, so that no input exhausts the stack.
inline constexpr int deepest_evaluation = 300;

// What an expression yields.
struct FormulaType {
  enum class Kind : std::uint8_t { number, point, flag, word, list } kind = Kind::number;
  Dimension dimension;  // of a number
  bool operator==(const FormulaType&) const = default;
  std::string words() const;
};

enum class FormulaOp : std::uint8_t {
  number,
  flag,
  word,
  key,
  inherited,
  negate,
  add,
  subtract,
  multiply,
  divide,
  power,
  less,
  less_equal,
  greater,
  greater_equal,
  equal,
  not_equal,
  both,
  either,
  negation,
  in_unit,
  choose,
  is_set,
  least,
  most,
  absolute,
  round_to,
  ceiling,
  floor_of,
  square_root,
  clamp_to,
};

struct FormulaNode {
  FormulaOp op = FormulaOp::number;
  FormulaType type;
  std::uint32_t first = 0;  // its arguments are Formula::arguments[first, first + count)
  std::uint32_t count = 0;
  double number = 0;  // of a literal, in working units
  bool flag = false;
  KeyId key = no_key;
  std::string_view word;
  const Unit* unit = nullptr;  // of a key: its setting's unit; of `in`: the unit asked for
  std::uint32_t begin = 0;     // its bytes in the text
  std::uint32_t end = 0;
};

struct Formula {
  Text text;
  std::vector<FormulaNode> nodes;
  std::vector<std::uint32_t> arguments;
  std::uint32_t root = 0;
  std::vector<KeyId> keys;  // each key it names, once, in order of appearance
  bool reads_inherited = false;

  const FormulaType& type() const { return nodes[root].type; }
  Span place_of(const FormulaNode& node) const { return text.part(node.begin, node.end - node.begin); }
};

// What a formula may name.
struct FormulaScope {
  struct Key {
    KeyId id = no_key;
    FormulaType type;
    const Unit* unit = nullptr;  // nullptr: not a quantity
    bool fact = false;
    bool poisoned = false;  // its dictionary entry is broken: the formula fails in silence
    const std::vector<std::string_view>* choices = nullptr;
  };
  std::function<std::optional<Key>(std::string_view)> find;
  std::function<std::string(std::string_view)> suggest;  // the nearest key, or nothing
  std::optional<FormulaType> inherited;                  // absent: `inherited` may not stand here
  const Unit* inherited_unit = nullptr;
  bool facts_only = false;
};

// Parses and checks `text`. Gives nothing after one report; a poisoned key gives nothing without a report.
std::optional<Formula> parse_formula(const Text& text, const FormulaScope& scope, Units& units, Diagnostics& out);

// Reports, in the words of both types, where `formula` does not yield `wanted`.
bool check_formula_type(const Formula& formula, const FormulaType& wanted, std::string_view what, Diagnostics& out);

// Gives a formula the values it reads.
class FormulaInputs {
 public:
  virtual ~FormulaInputs() = default;
  // The final value of a key, in its setting's unit; unset or poison where it has none.
  virtual Value read(KeyId key) = 0;
  // The value below, in the setting's unit.
  virtual Value inherited() { return {}; }
  // How many operations are being evaluated inside each other, over all formulas that read one another.
  int depth = 0;
  // How many operations were evaluated so far.
  std::uint64_t work = 0;
};

// Why a formula gave no value.
enum class FormulaStop : std::uint8_t { none, unset, poison, division, not_finite, bad_step, crossed_bounds, depth };

struct FormulaResult {
  Value value;  // a number in working units
  FormulaStop stop = FormulaStop::none;
  std::uint32_t node = 0;  // where it stopped
};

FormulaResult evaluate(const Formula& formula, FormulaInputs& inputs);

// "division by zero", "reads 'x', which has no value".
std::string stop_message(const Formula& formula, const FormulaResult& result);

}  // namespace bindery
