#include "formula/builder.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/words.h"

namespace bindery {

namespace {

using Kind = FormulaType::Kind;

constexpr std::uint16_t tallest = 256;  // operations inside each other, a sum of many terms included

}  // namespace

void FormulaBuilder::fail(Code code, std::size_t begin, std::size_t end, std::string message, std::string help) {
  out_.add(code, formula_.text.part(begin, std::max<std::size_t>(end, begin + 1) - begin), std::move(message))
      .with_help(std::move(help));
  throw FormulaRefused{};
}

void FormulaBuilder::fail(std::size_t begin, std::size_t end, std::string message, std::string help) {
  fail(Code::formula_syntax, begin, end, std::move(message), std::move(help));
}

std::uint32_t FormulaBuilder::add(FormulaOp op, FormulaType type, std::size_t begin,
                                  std::initializer_list<std::uint32_t> arguments) {
  return add(op, type, begin, std::vector<std::uint32_t>(arguments));
}

std::uint32_t FormulaBuilder::add(FormulaOp op, FormulaType type, std::size_t begin,
                                  const std::vector<std::uint32_t>& arguments) {
  FormulaNode node;
  node.op = op;
  node.type = type;
  node.first = static_cast<std::uint32_t>(formula_.arguments.size());
  node.count = static_cast<std::uint32_t>(arguments.size());
  node.begin = static_cast<std::uint32_t>(begin);
  std::size_t end = at_;  // blanks may have been skipped to see what follows
  while (end > begin + 1 && (text_[end - 1] == ' ' || text_[end - 1] == '\n')) --end;
  node.end = static_cast<std::uint32_t>(end);
  std::uint16_t height = 1;
  for (std::uint32_t argument : arguments)
    height = std::max<std::uint16_t>(height, static_cast<std::uint16_t>(heights_[argument] + 1));
  if (height > tallest)
    fail(begin, at_, fmt::format("the formula combines more than {} operations", tallest),
         "split it over several settings");
  heights_.push_back(height);
  formula_.arguments.insert(formula_.arguments.end(), arguments.begin(), arguments.end());
  formula_.nodes.push_back(node);
  return static_cast<std::uint32_t>(formula_.nodes.size() - 1);
}

const FormulaNode& FormulaBuilder::node(std::uint32_t index) const { return formula_.nodes[index]; }

const FormulaType& FormulaBuilder::type(std::uint32_t index) const { return node(index).type; }

FormulaType FormulaBuilder::call_type(FormulaOp op, std::string_view name, const std::vector<std::uint32_t>& a) {
  switch (op) {
    case FormulaOp::choose:
      want_flag(a[0]);
      want_same(a[1], a[2], "the two branches of `if` differ");
      return type(a[1]);
    case FormulaOp::is_set:
      if (node(a[0]).op != FormulaOp::key)
        fail(node(a[0]).begin, node(a[0]).end, "`set` takes a key", "write the key alone");
      return flag_type();
    case FormulaOp::least:
    case FormulaOp::most:
    case FormulaOp::clamp_to:
      for (std::uint32_t argument : a) {
        want_quantity(argument, name);
        want_same(a[0], argument, fmt::format("the values of `{}` differ", name));
      }
      return type(a[0]);
    case FormulaOp::round_to: {
      want_quantity(a[0], name);
      FormulaType step = type(a[0]).kind == Kind::point ? number_type(dimension::temperature()) : type(a[0]);
      if (type(a[1]) != step) mismatch(a[1], fmt::format("the step of `round` must be {}", step.words()), type(a[1]));
      return type(a[0]);
    }
    case FormulaOp::ceiling:
    case FormulaOp::floor_of:
      want_number(a[0], fmt::format("`{}`", name));
      if (!type(a[0]).dimension.none()) {
        fail(Code::dimension_mismatch, node(a[0]).begin, node(a[0]).end,
             fmt::format("`{}` takes a plain number, and this is {}", name, type(a[0]).words()),
             "tell it in a unit first, as in `ceil(layer.height in mm)`, or use `round(x, step)`");
      }
      return type(a[0]);
    case FormulaOp::square_root: {
      want_number(a[0], fmt::format("`{}`", name));
      Dimension half = type(a[0]).dimension;
      for (auto& power : half.power) {
        if (power % 2 != 0) mismatch(a[0], "this has no square root", type(a[0]));
        power = static_cast<std::int16_t>(power / 2);
      }
      return number_type(half);
    }
    default: want_number(a[0], fmt::format("`{}`", name)); return type(a[0]);
  }
}

std::string_view FormulaBuilder::text_of(std::uint32_t index) const {
  return text_.substr(node(index).begin, node(index).end - node(index).begin);
}

void FormulaBuilder::mismatch(std::uint32_t index, std::string what, const FormulaType& got) {
  fail(Code::dimension_mismatch, node(index).begin, node(index).end,
       fmt::format("{}: '{}' is {}", what, text_of(index), got.words()), "bring both to one dimension");
}

void FormulaBuilder::want_flag(std::uint32_t index) {
  if (type(index).kind != Kind::flag) {
    fail(Code::dimension_mismatch, node(index).begin, node(index).end,
         fmt::format("'{}' is {}, not a condition", text_of(index), type(index).words()), "compare it with something");
  }
}

void FormulaBuilder::want_quantity(std::uint32_t index, std::string_view what) {
  if (type(index).kind != Kind::number && type(index).kind != Kind::point) {
    mismatch(index, fmt::format("`{}` takes numbers", what), type(index));
  }
}

void FormulaBuilder::want_number(std::uint32_t index, std::string_view what) {
  if (type(index).kind == Kind::number) return;
  if (type(index).kind == Kind::point) {
    fail(Code::temperature_scaled, node(index).begin, node(index).end,
         fmt::format("'{}' is a temperature in degC, which has no multiple: {} means nothing there", text_of(index),
                     what),
         "add or subtract a difference in K");
  }
  mismatch(index, "a number is expected", type(index));
}

void FormulaBuilder::want_same(std::uint32_t left, std::uint32_t right, std::string what) {
  if (type(left) == type(right)) return;
  fail(Code::dimension_mismatch, node(right).begin, node(right).end,
       fmt::format("{}: '{}' is {}, '{}' is {}", what, text_of(left), type(left).words(), text_of(right),
                   type(right).words()),
       "bring both to one dimension");
}

std::uint32_t FormulaBuilder::add_sum(FormulaOp op, std::uint32_t left, std::uint32_t right) {
  FormulaType kelvin = number_type(dimension::temperature());
  FormulaType point{Kind::point, {}};
  FormulaType result = type(left);
  if (type(left) == point && type(right) == point && op == FormulaOp::subtract) {
    result = kelvin;
  } else if (type(left) == point && type(right) == point) {
    fail(Code::temperature_scaled, node(right).begin, node(right).end, "two temperatures in degC have no sum",
         "add a difference in K to one of them");
  } else if (type(left) == point && type(right) == kelvin) {
    result = point;
  } else if (type(left) == kelvin && type(right) == point && op == FormulaOp::add) {
    result = point;
  } else {
    for (std::uint32_t side : {left, right}) {
      if (type(side).kind != Kind::number && type(side).kind != Kind::point)
        mismatch(side, "only numbers add up", type(side));
    }
    want_same(left, right, op == FormulaOp::add ? "these cannot be added" : "these cannot be subtracted");
  }
  return add(op, result, node(left).begin, {left, right});
}

std::uint32_t FormulaBuilder::add_product(FormulaOp op, std::uint32_t left, std::uint32_t right) {
  for (std::uint32_t side : {left, right}) want_number(side, op == FormulaOp::multiply ? "to multiply" : "to divide");
  Dimension d = op == FormulaOp::multiply ? type(left).dimension * type(right).dimension
                                          : type(left).dimension / type(right).dimension;
  return add(op, number_type(d), node(left).begin, {left, right});
}

Dimension FormulaBuilder::raised(std::uint32_t base, std::uint32_t exponent) {
  auto value = constant(exponent);
  if (!value) {
    fail(Code::dimension_mismatch, node(exponent).begin, node(exponent).end,
         "the exponent of a quantity must be a fixed number", "write it out, or raise a plain number (`x in mm`)");
  }
  Dimension out = type(base).dimension;
  for (auto& power : out.power) {
    double scaled = power * *value;
    if (std::fabs(scaled - std::round(scaled)) > 1e-9 || std::fabs(scaled) > 12 * 100)
      mismatch(exponent, "this exponent gives no dimension", type(exponent));
    power = static_cast<std::int16_t>(std::lround(scaled));
  }
  return out;
}

std::optional<double> FormulaBuilder::constant(std::uint32_t index) const {
  const FormulaNode& n = node(index);
  if (n.op == FormulaOp::number) return n.number;
  auto argument = [&](std::uint32_t i) { return constant(formula_.arguments[n.first + i]); };
  if (n.op == FormulaOp::negate) {
    auto inner = argument(0);
    return inner ? std::optional(-*inner) : std::nullopt;
  }
  if (n.op == FormulaOp::divide) {
    auto above = argument(0), below = argument(1);
    if (above && below && *below != 0) return *above / *below;
  }
  return std::nullopt;
}

void FormulaBuilder::check_comparison(FormulaOp op, std::uint32_t left, std::uint32_t right) {
  want_same(left, right, "these cannot be compared");
  Kind kind = type(left).kind;
  if (kind == Kind::list) mismatch(left, "a list cannot be compared", type(left));
  bool order = op != FormulaOp::equal && op != FormulaOp::not_equal;
  if (order && kind != Kind::number && kind != Kind::point) mismatch(left, "these have no order", type(left));
  check_choice(left, right);
  check_choice(right, left);
}

void FormulaBuilder::check_choice(std::uint32_t key, std::uint32_t literal) {
  if (node(key).op != FormulaOp::key || node(literal).op != FormulaOp::word) return;
  const std::vector<std::string_view>* choices = choices_.at(key);
  if (choices == nullptr || choices->empty()) return;
  std::string_view word = node(literal).word;
  if (std::find(choices->begin(), choices->end(), word) != choices->end()) return;
  std::vector<std::string> names(choices->begin(), choices->end());
  fail(Code::choice_unknown, node(literal).begin, node(literal).end,
       fmt::format("'{}' is never '{}'", text_of(key), word), fmt::format("it is {}", join_words(names, "or")));
}

}  // namespace bindery
