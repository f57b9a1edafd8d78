// Values of formulas.
#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number.h"
#include "formula/formula.h"

namespace bindery {

namespace {

class Evaluation {
 public:
  Evaluation(const Formula& formula, FormulaInputs& inputs) : formula_(formula), inputs_(inputs) {}

  FormulaResult run() {
    Value value = node(formula_.root);
    FormulaResult out;
    out.value = stop_ == FormulaStop::none ? value : Value::poisoned();
    out.stop = stop_;
    out.node = stopped_at_;
    return out;
  }

 private:
  Value stop(FormulaStop why, std::uint32_t at) {
    if (stop_ == FormulaStop::none) {
      stop_ = why;
      stopped_at_ = at;
    }
    return Value::poisoned();
  }
  bool stopped() const { return stop_ != FormulaStop::none; }

  Value argument(const FormulaNode& n, std::uint32_t i) { return node(formula_.arguments[n.first + i]); }

  Value read(Value value, const FormulaNode& n, std::uint32_t at) {
    if (value.is(Value::Tag::unset)) return stop(FormulaStop::unset, at);
    if (value.is(Value::Tag::poison)) return stop(FormulaStop::poison, at);
    return value.is(Value::Tag::number) && n.unit != nullptr ? finite(n.unit->to_base(value.number()), at) : value;
  }

  Value finite(double number, std::uint32_t at) {
    return std::isfinite(number) ? Value::of_number(number) : stop(FormulaStop::not_finite, at);
  }

  Value node(std::uint32_t at) {
    struct Nested {
      explicit Nested(int& d) : depth(d) { ++depth; }
      ~Nested() { --depth; }
      int& depth;
    } nested(inputs_.depth);
    ++inputs_.work;
    if (inputs_.depth > deepest_evaluation) return stop(FormulaStop::depth, at);
    return operation(formula_.nodes[at], at);
  }

  Value operation(const FormulaNode& n, std::uint32_t at) {
    switch (n.op) {
      case FormulaOp::number: return Value::of_number(n.number);
      case FormulaOp::flag: return Value::of_flag(n.flag);
      case FormulaOp::word: return Value::of_word(n.word);
      case FormulaOp::key: return read(inputs_.read(n.key), n, at);
      case FormulaOp::inherited: return read(inputs_.inherited(), n, at);
      case FormulaOp::is_set: return is_set(n, at);
      case FormulaOp::choose: {
        Value condition = argument(n, 0);
        if (stopped()) return condition;
        return argument(n, condition.flag() ? 1 : 2);
      }
      case FormulaOp::both:
      case FormulaOp::either: {
        Value left = argument(n, 0);
        if (stopped() || left.flag() == (n.op == FormulaOp::either)) return left;
        return argument(n, 1);
      }
      default: return eager(n, at);
    }
  }

  Value is_set(const FormulaNode& n, std::uint32_t at) {
    Value value = inputs_.read(formula_.nodes[formula_.arguments[n.first]].key);
    if (value.is(Value::Tag::poison)) return stop(FormulaStop::poison, at);
    return Value::of_flag(value.has_value());
  }

  // Operations that evaluate all their arguments.
  Value eager(const FormulaNode& n, std::uint32_t at) {
    Value first = argument(n, 0);
    if (stopped()) return first;
    if (n.op == FormulaOp::least || n.op == FormulaOp::most) return extreme(n, first);
    Value second = n.count > 1 ? argument(n, 1) : Value{};
    if (stopped()) return second;
    Value third = n.count > 2 ? argument(n, 2) : Value{};
    if (stopped()) return third;
    double a = first.number(), b = second.number();
    switch (n.op) {
      case FormulaOp::negate: return Value::of_number(-a);
      case FormulaOp::add: return finite(a + b, at);
      case FormulaOp::subtract: return finite(a - b, at);
      case FormulaOp::multiply: return finite(a * b, at);
      case FormulaOp::divide: return b == 0 ? stop(FormulaStop::division, at) : finite(a / b, at);
      case FormulaOp::power: return a == 0 && b < 0 ? stop(FormulaStop::division, at) : finite(std::pow(a, b), at);
      case FormulaOp::less: return Value::of_flag(a < b && !same_number(a, b));
      case FormulaOp::less_equal: return Value::of_flag(a <= b || same_number(a, b));
      case FormulaOp::greater: return Value::of_flag(a > b && !same_number(a, b));
      case FormulaOp::greater_equal: return Value::of_flag(a >= b || same_number(a, b));
      case FormulaOp::equal: return Value::of_flag(same(first, second));
      case FormulaOp::not_equal: return Value::of_flag(!same(first, second));
      case FormulaOp::negation: return Value::of_flag(!first.flag());
      case FormulaOp::in_unit: return finite(n.unit->from_base(a), at);
      case FormulaOp::absolute: return Value::of_number(std::fabs(a));
      case FormulaOp::round_to:
        return b <= 0 ? stop(FormulaStop::bad_step, at) : finite(round_half_away(a / b) * b, at);
      case FormulaOp::ceiling: return Value::of_number(std::ceil(steady(a)));
      case FormulaOp::floor_of: return Value::of_number(std::floor(steady(a)));
      case FormulaOp::square_root: return a < 0 ? stop(FormulaStop::not_finite, at) : Value::of_number(std::sqrt(a));
      case FormulaOp::clamp_to:
        if (b > third.number()) return stop(FormulaStop::crossed_bounds, at);
        return Value::of_number(std::clamp(a, b, third.number()));
      default: return Value::poisoned();
    }
  }

  Value extreme(const FormulaNode& n, Value best) {
    for (std::uint32_t i = 1; i < n.count; ++i) {
      Value next = argument(n, i);
      if (stopped()) return next;
      bool better = n.op == FormulaOp::least ? next.number() < best.number() : next.number() > best.number();
      if (better) best = next;
    }
    return best;
  }

  static bool same(const Value& a, const Value& b) {
    if (a.is(Value::Tag::number)) return same_number(a.number(), b.number());
    if (a.is(Value::Tag::flag)) return a.flag() == b.flag();
    return a.word() == b.word();
  }

  // A number that the language calls equal to a whole one is that whole one, so that ceil(0.3 / 0.1) is 3.
  static double steady(double value) {
    double whole = std::round(value);
    return same_number(value, whole) ? whole : value;
  }
  static double round_half_away(double value) {
    double doubled = steady(value * 2);
    return doubled < 0 ? -std::floor((-doubled + 1) / 2) : std::floor((doubled + 1) / 2);
  }

  const Formula& formula_;
  FormulaInputs& inputs_;
  FormulaStop stop_ = FormulaStop::none;
  std::uint32_t stopped_at_ = 0;
};

}  // namespace

FormulaResult evaluate(const Formula& formula, FormulaInputs& inputs) { return Evaluation(formula, inputs).run(); }

std::string stop_message(const Formula& formula, const FormulaResult& result) {
  const FormulaNode& n = formula.nodes[result.node];
  std::string_view text = formula.text.text.substr(n.begin, n.end - n.begin);
  switch (result.stop) {
    case FormulaStop::unset:
      return n.op == FormulaOp::inherited ? std::string("nothing is inherited: no value lies below this formula")
                                          : fmt::format("the formula reads '{}', which has no value", text);
    case FormulaStop::division: return fmt::format("'{}' divides by zero", text);
    case FormulaStop::not_finite: return fmt::format("'{}' gives no finite number", text);
    case FormulaStop::bad_step: return fmt::format("the step of '{}' must be above zero", text);
    case FormulaStop::depth: return "it is computed through too many others";
    case FormulaStop::crossed_bounds: return fmt::format("the lower bound of '{}' is above the upper one", text);
    default: return "the formula has no value";
  }
}

}  // namespace bindery
