// Tokens, grammar and types of formulas.
#include <algorithm>
#include <array>
#include <cmath>
#include <cctype>
#include <map>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"
#include "formula/formula.h"

namespace bindery {

namespace {

using Kind = FormulaType::Kind;

constexpr std::size_t longest_formula = 4096;
constexpr int deepest = 64;          // brackets and calls inside each other
constexpr std::uint16_t tallest = 256;  // operations inside each other, a sum of many terms included

struct Function {
  std::string_view name;
  FormulaOp op;
  std::size_t least, most;
};
constexpr std::size_t any_number = 64;
constexpr std::array<Function, 10> functions = {{{"if", FormulaOp::choose, 3, 3},
                                                 {"set", FormulaOp::is_set, 1, 1},
                                                 {"min", FormulaOp::least, 1, any_number},
                                                 {"max", FormulaOp::most, 1, any_number},
                                                 {"abs", FormulaOp::absolute, 1, 1},
                                                 {"round", FormulaOp::round_to, 2, 2},
                                                 {"ceil", FormulaOp::ceiling, 1, 1},
                                                 {"floor", FormulaOp::floor_of, 1, 1},
                                                 {"sqrt", FormulaOp::square_root, 1, 1},
                                                 {"clamp", FormulaOp::clamp_to, 3, 3}}};

FormulaType number_type(Dimension dimension = {}) { return {Kind::number, dimension}; }
FormulaType flag_type() { return {Kind::flag, {}}; }

// Ends the parse of one formula after its report; never leaves this file.
struct Stop {};

class Parser {
 public:
  Parser(const Text& text, const FormulaScope& scope, Units& units, Diagnostics& out)
      : scope_(scope), units_(units), out_(out), text_(text.text) {
    formula_.text = text;
  }

  std::optional<Formula> parse() {
    try {
      if (text_.size() > longest_formula) fail(0, 0, fmt::format("the formula is longer than {} characters", longest_formula), "split it over several settings");
      formula_.root = disjunction();
      skip();
      if (at_ < text_.size()) stray();
      return std::move(formula_);
    } catch (const Stop&) {
      return std::nullopt;
    }
  }

 private:
  // --- reports ---
  [[noreturn]] void fail(Code code, std::size_t begin, std::size_t end, std::string message, std::string help) {
    out_.add(code, formula_.text.part(begin, std::max<std::size_t>(end, begin + 1) - begin), std::move(message)).with_help(std::move(help));
    throw Stop{};
  }
  [[noreturn]] void fail(std::size_t begin, std::size_t end, std::string message, std::string help) {
    fail(Code::formula_syntax, begin, end, std::move(message), std::move(help));
  }
  [[noreturn]] void stray() {
    char c = text_[at_];
    if (c == ')') fail(at_, at_ + 1, "this bracket closes nothing", "remove it, or open one before it");
    if (c == '=') fail(at_, at_ + 1, "'=' is no operator", "write `==` to compare");
    fail(at_, at_ + 1, fmt::format("'{}' is not expected here", glyph()), "write an operator between two values");
  }
  // The character at the cursor, whole even if it is of several bytes.
  std::string_view glyph() const {
    std::size_t end = at_ + 1;
    while (end < text_.size() && (static_cast<unsigned char>(text_[end]) & 0xc0) == 0x80) ++end;
    return text_.substr(at_, end - at_);
  }

  // --- characters ---
  void skip() {
    while (at_ < text_.size() && (text_[at_] == ' ' || text_[at_] == '\t' || text_[at_] == '\n')) ++at_;
  }
  bool take(std::string_view symbol) {
    skip();
    if (!text_.substr(at_).starts_with(symbol)) return false;
    at_ += symbol.size();
    return true;
  }
  static bool is_word_char(char c) { return std::isalnum(static_cast<unsigned char>(c)) || c == '_' || c == '.'; }
  std::string_view peek_word() {
    skip();
    std::size_t end = at_;
    if (end < text_.size() && std::isalpha(static_cast<unsigned char>(text_[end]))) {
      while (end < text_.size() && is_word_char(text_[end])) ++end;
    }
    return text_.substr(at_, end - at_);
  }
  bool take_word(std::string_view word) {
    if (peek_word() != word) return false;
    at_ += word.size();
    return true;
  }

  // --- nodes ---
  std::uint32_t add(FormulaOp op, FormulaType type, std::size_t begin, std::initializer_list<std::uint32_t> arguments) {
    return add(op, type, begin, std::vector<std::uint32_t>(arguments));
  }
  std::uint32_t add(FormulaOp op, FormulaType type, std::size_t begin, const std::vector<std::uint32_t>& arguments) {
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
    for (std::uint32_t argument : arguments) height = std::max<std::uint16_t>(height, static_cast<std::uint16_t>(heights_[argument] + 1));
    if (height > tallest) fail(begin, at_, fmt::format("the formula combines more than {} operations", tallest), "split it over several settings");
    heights_.push_back(height);
    formula_.arguments.insert(formula_.arguments.end(), arguments.begin(), arguments.end());
    formula_.nodes.push_back(node);
    return static_cast<std::uint32_t>(formula_.nodes.size() - 1);
  }
  const FormulaNode& node(std::uint32_t index) const { return formula_.nodes[index]; }
  const FormulaType& type(std::uint32_t index) const { return node(index).type; }

  // --- grammar ---
  std::uint32_t disjunction() {
    Depth depth(*this);
    std::uint32_t left = conjunction();
    while (take_word("or")) left = logical(FormulaOp::either, left, conjunction());
    return left;
  }
  std::uint32_t conjunction() {
    std::uint32_t left = negation();
    while (take_word("and")) left = logical(FormulaOp::both, left, negation());
    return left;
  }
  std::uint32_t negation() {
    skip();
    std::size_t begin = at_;
    if (!take_word("not")) return comparison();
    Depth depth(*this);
    std::uint32_t argument = negation();
    want_flag(argument);
    return add(FormulaOp::negation, flag_type(), begin, {argument});
  }
  std::uint32_t logical(FormulaOp op, std::uint32_t left, std::uint32_t right) {
    want_flag(left);
    want_flag(right);
    return add(op, flag_type(), node(left).begin, {left, right});
  }
  std::uint32_t comparison() {
    std::uint32_t left = sum();
    auto op = comparison_sign();
    if (!op) return left;
    std::uint32_t right = sum();
    check_comparison(*op, left, right);
    std::uint32_t out = add(*op, flag_type(), node(left).begin, {left, right});
    std::size_t begin = at_;
    if (comparison_sign()) fail(begin, at_, "comparisons do not chain", "join two of them with `and`");
    return out;
  }
  std::optional<FormulaOp> comparison_sign() {
    if (take("<=")) return FormulaOp::less_equal;
    if (take(">=")) return FormulaOp::greater_equal;
    if (take("==")) return FormulaOp::equal;
    if (take("!=")) return FormulaOp::not_equal;
    if (take("<")) return FormulaOp::less;
    if (take(">")) return FormulaOp::greater;
    return std::nullopt;
  }
  std::uint32_t sum() {
    std::uint32_t left = product();
    for (;;) {
      if (take("+")) left = add_sum(FormulaOp::add, left, product());
      else if (take("-")) left = add_sum(FormulaOp::subtract, left, product());
      else return left;
    }
  }
  std::uint32_t product() {
    std::uint32_t left = unary();
    for (;;) {
      if (take("*")) left = add_product(FormulaOp::multiply, left, unary());
      else if (take("/")) left = add_product(FormulaOp::divide, left, unary());
      else return left;
    }
  }
  std::uint32_t unary() {
    skip();
    std::size_t begin = at_;
    if (!take("-")) return power();
    Depth depth(*this);
    std::uint32_t argument = unary();
    FormulaNode& inner = formula_.nodes[argument];
    if (inner.op == FormulaOp::number && inner.unit != nullptr && inner.unit->point) {
      // The sign belongs to the literal: -5 degC. A negated literal has no unit left, so this happens once.
      inner.number = inner.unit->to_base(-inner.unit->from_base(inner.number));
      inner.begin = static_cast<std::uint32_t>(begin);
      return argument;
    }
    want_number(argument, "to negate");
    return add(FormulaOp::negate, type(argument), begin, {argument});
  }
  std::uint32_t power() {
    std::uint32_t base = postfix();
    if (!take("^")) return base;
    Depth depth(*this);
    std::uint32_t exponent = unary();
    want_number(base, "to raise");
    want_number(exponent, "as an exponent it");
    if (!type(exponent).dimension.none()) mismatch(exponent, "an exponent is a plain number", type(exponent));
    FormulaType result = number_type();
    if (!type(base).dimension.none()) result = number_type(raised(base, exponent));
    return add(FormulaOp::power, result, node(base).begin, {base, exponent});
  }
  std::uint32_t postfix() {
    std::uint32_t value = primary();
    while (take_word("in")) {
      skip();
      std::size_t begin = at_;
      const Unit* unit = read_unit();
      if (unit == nullptr) fail(begin, at_, "a unit follows `in`", "write one, as in `wall.outer.speed in mm/min`");
      const FormulaType& got = type(value);
      bool fits = unit->point ? got.kind == Kind::point : got.kind == Kind::number && got.dimension == unit->dimension;
      if (!fits) mismatch(value, fmt::format("'{}' cannot be told in {}", text_of(value), unit->text), got);
      std::uint32_t out = add(FormulaOp::in_unit, number_type(), node(value).begin, {value});
      formula_.nodes[out].unit = unit;
      value = out;
    }
    return value;
  }

  std::uint32_t primary() {
    skip();
    std::size_t begin = at_;
    if (at_ >= text_.size()) fail(at_, at_, "the formula ends where a value is expected", "write the missing value");
    char c = text_[at_];
    if (c == '(') {
      ++at_;
      std::uint32_t inner = disjunction();
      close(begin);
      formula_.nodes[inner].begin = static_cast<std::uint32_t>(begin);
      formula_.nodes[inner].end = static_cast<std::uint32_t>(at_);
      return inner;
    }
    if (c == '\'') return word_literal();
    if (std::isdigit(static_cast<unsigned char>(c)) || c == '.') return number_literal();
    std::string_view word = peek_word();
    if (word.empty()) {
      if (c == '+') fail(at_, at_ + 1, "a sign `+` is not written", "remove it");
      fail(at_, at_ + 1, fmt::format("'{}' is not expected here", glyph()), "write a number, a key, a function or a bracket");
    }
    if (word == "not" || word == "and" || word == "or" || word == "in") {
      fail(begin, begin + word.size(), fmt::format("'{}' stands where a value is expected", word), word == "not" ? "put brackets round it" : "write a value before and after it");
    }
    at_ += word.size();
    if (at_ < text_.size() && text_[at_] == '(') return call(word, begin);
    if (word == "pi") {
      std::uint32_t out = add(FormulaOp::number, number_type(), begin, {});
      formula_.nodes[out].number = M_PI;
      return out;
    }
    if (word == "true" || word == "false") {
      std::uint32_t out = add(FormulaOp::flag, flag_type(), begin, {});
      formula_.nodes[out].flag = word == "true";
      return out;
    }
    if (word == "inherited") return inherited(begin);
    return key(word, begin);
  }

  std::uint32_t word_literal() {
    std::size_t begin = at_;
    std::size_t end = text_.find('\'', at_ + 1);
    if (end == std::string_view::npos) fail(begin, text_.size(), "this quote is never closed", "close it with `'`");
    at_ = end + 1;
    std::uint32_t out = add(FormulaOp::word, {Kind::word, {}}, begin, {});
    formula_.nodes[out].word = text_.substr(begin + 1, end - begin - 1);
    return out;
  }

  std::uint32_t number_literal() {
    std::size_t begin = at_;
    auto number = read_number(text_.substr(at_));
    if (!number) fail(begin, begin + 1, "this is no number", "write digits, with a point for decimals");
    at_ += number->length;
    const Unit* unit = nullptr;
    std::size_t after = at_;
    std::string_view word = peek_word();
    bool keyword = word == "and" || word == "or" || word == "in";
    if (!keyword && at_ < text_.size() && starts_unit(text_[at_])) {
      std::size_t unit_begin = at_;
      unit = read_unit();
      if (unit == nullptr) fail(unit_begin, at_, "a unit is expected here", "write one, or an operator");
    } else {
      at_ = after;
    }
    FormulaType type = number_type();
    if (unit != nullptr) type = unit->point ? FormulaType{Kind::point, {}} : number_type(unit->dimension);
    std::uint32_t out = add(FormulaOp::number, type, begin, {});
    formula_.nodes[out].number = unit == nullptr ? number->value : unit->to_base(number->value);
    formula_.nodes[out].unit = unit;
    return out;
  }

  static bool starts_unit(char c) { return std::isalpha(static_cast<unsigned char>(c)) || c == '%' || static_cast<unsigned char>(c) >= 0x80; }

  // A unit ends at a blank, a bracket or a comma.
  const Unit* read_unit() {
    std::size_t begin = at_;
    while (at_ < text_.size() && std::string_view(" \t\n(),").find(text_[at_]) == std::string_view::npos) ++at_;
    std::string_view name = text_.substr(begin, at_ - begin);
    if (name.empty()) return nullptr;
    const Unit* unit = units_.find(name);
    if (unit != nullptr) return unit;
    std::string help = unit_help(name);
    std::size_t sign = name.find_last_of("*/<>=!+-^");
    while (sign != std::string_view::npos && sign > 0 && units_.find(name.substr(0, sign)) == nullptr) sign = name.find_last_of("*/<>=!+-^", sign - 1);
    if (sign != std::string_view::npos && sign > 0) {
      help = fmt::format("put blanks round the operator after `{}`", name.substr(0, sign));
    } else if (scope_.find(name)) {
      help = fmt::format("put an operator before the key '{}'", name);
    }
    if (help.empty()) help = "write a unit that UDUNITS-2 knows, such as `mm`, `mm/s` or `degC`";
    fail(Code::unit_unknown, begin, at_, fmt::format("unknown unit '{}'", name), help);
  }

  std::uint32_t inherited(std::size_t begin) {
    if (!scope_.inherited) fail(begin, at_, "nothing lies below this formula, so nothing is inherited", "name a key instead");
    formula_.reads_inherited = true;
    std::uint32_t out = add(FormulaOp::inherited, *scope_.inherited, begin, {});
    formula_.nodes[out].unit = scope_.inherited_unit;
    return out;
  }

  std::uint32_t key(std::string_view word, std::size_t begin) {
    auto found = scope_.find(word);
    if (!found) {
      std::string near = scope_.suggest(word);
      fail(Code::setting_unknown, begin, at_, fmt::format("unknown setting '{}'", word),
           near.empty() ? "see `list settings` for the keys; a word stands in single quotes" : fmt::format("did you mean '{}'", near));
    }
    if (found->poisoned) throw Stop{};
    if (scope_.facts_only && !found->fact) {
      fail(Code::fact_required, begin, at_, fmt::format("'{}' is no fact, and only facts may be asked for here", word),
           "ask for a fact, or mark the setting `fact: true` in the dictionary");
    }
    std::uint32_t out = add(FormulaOp::key, found->type, begin, {});
    formula_.nodes[out].key = found->id;
    formula_.nodes[out].unit = found->unit;
    choices_[out] = found->choices;
    if (std::find(formula_.keys.begin(), formula_.keys.end(), found->id) == formula_.keys.end()) formula_.keys.push_back(found->id);
    return out;
  }

  void close(std::size_t opened) {
    if (!take(")")) {
      skip();
      if (at_ < text_.size()) stray();
      fail(opened, opened + 1, "this bracket is never closed", "close it with `)`");
    }
  }

  std::uint32_t call(std::string_view name, std::size_t begin) {
    std::size_t bracket = at_++;
    auto function = std::find_if(functions.begin(), functions.end(), [&](const Function& f) { return f.name == name; });
    if (function == functions.end()) {
      std::vector<std::string_view> names;
      for (const Function& each : functions) names.push_back(each.name);
      std::string near = nearest(name, names);
      fail(Code::function_unknown, begin, bracket, fmt::format("unknown function '{}'", name),
           near.empty() ? fmt::format("known: {}", join_words({names.begin(), names.end()})) : fmt::format("did you mean '{}'", near));
    }
    std::vector<std::uint32_t> arguments;
    if (!take(")")) {
      do arguments.push_back(disjunction());
      while (take(","));
      close(bracket);
    }
    if (arguments.size() < function->least || arguments.size() > function->most) {
      std::string wanted = function->least == function->most ? counted(function->least, "value") : fmt::format("{} to {} values", function->least, function->most);
      fail(begin, at_, fmt::format("'{}' takes {}, not {}", name, wanted, arguments.size()), "give it what it takes");
    }
    return add(function->op, call_type(function->op, name, arguments), begin, arguments);
  }

  FormulaType call_type(FormulaOp op, std::string_view name, const std::vector<std::uint32_t>& a) {
    switch (op) {
      case FormulaOp::choose:
        want_flag(a[0]);
        want_same(a[1], a[2], "the two branches of `if` differ");
        return type(a[1]);
      case FormulaOp::is_set:
        if (node(a[0]).op != FormulaOp::key) fail(node(a[0]).begin, node(a[0]).end, "`set` takes a key", "write the key alone");
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
          fail(Code::dimension_mismatch, node(a[0]).begin, node(a[0]).end, fmt::format("`{}` takes a plain number, and this is {}", name, type(a[0]).words()),
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
      default:
        want_number(a[0], fmt::format("`{}`", name));
        return type(a[0]);
    }
  }

  // --- types ---
  std::string_view text_of(std::uint32_t index) const { return text_.substr(node(index).begin, node(index).end - node(index).begin); }

  [[noreturn]] void mismatch(std::uint32_t index, std::string what, const FormulaType& got) {
    fail(Code::dimension_mismatch, node(index).begin, node(index).end, fmt::format("{}: '{}' is {}", what, text_of(index), got.words()),
         "bring both to one dimension");
  }
  void want_flag(std::uint32_t index) {
    if (type(index).kind != Kind::flag) {
      fail(Code::dimension_mismatch, node(index).begin, node(index).end, fmt::format("'{}' is {}, not a condition", text_of(index), type(index).words()),
           "compare it with something");
    }
  }
  void want_quantity(std::uint32_t index, std::string_view what) {
    if (type(index).kind != Kind::number && type(index).kind != Kind::point) {
      mismatch(index, fmt::format("`{}` takes numbers", what), type(index));
    }
  }
  void want_number(std::uint32_t index, std::string_view what) {
    if (type(index).kind == Kind::number) return;
    if (type(index).kind == Kind::point) {
      fail(Code::temperature_scaled, node(index).begin, node(index).end,
           fmt::format("'{}' is a temperature in degC, which has no multiple: {} means nothing there", text_of(index), what),
           "add or subtract a difference in K");
    }
    mismatch(index, "a number is expected", type(index));
  }
  void want_same(std::uint32_t left, std::uint32_t right, std::string what) {
    if (type(left) == type(right)) return;
    fail(Code::dimension_mismatch, node(right).begin, node(right).end,
         fmt::format("{}: '{}' is {}, '{}' is {}", what, text_of(left), type(left).words(), text_of(right), type(right).words()),
         "bring both to one dimension");
  }

  std::uint32_t add_sum(FormulaOp op, std::uint32_t left, std::uint32_t right) {
    FormulaType kelvin = number_type(dimension::temperature());
    FormulaType point{Kind::point, {}};
    FormulaType result = type(left);
    if (type(left) == point && type(right) == point && op == FormulaOp::subtract) {
      result = kelvin;
    } else if (type(left) == point && type(right) == point) {
      fail(Code::temperature_scaled, node(right).begin, node(right).end, "two temperatures in degC have no sum", "add a difference in K to one of them");
    } else if (type(left) == point && type(right) == kelvin) {
      result = point;
    } else if (type(left) == kelvin && type(right) == point && op == FormulaOp::add) {
      result = point;
    } else {
      for (std::uint32_t side : {left, right}) {
        if (type(side).kind != Kind::number && type(side).kind != Kind::point) mismatch(side, "only numbers add up", type(side));
      }
      want_same(left, right, op == FormulaOp::add ? "these cannot be added" : "these cannot be subtracted");
    }
    return add(op, result, node(left).begin, {left, right});
  }
  std::uint32_t add_product(FormulaOp op, std::uint32_t left, std::uint32_t right) {
    for (std::uint32_t side : {left, right}) want_number(side, op == FormulaOp::multiply ? "to multiply" : "to divide");
    Dimension d = op == FormulaOp::multiply ? type(left).dimension * type(right).dimension : type(left).dimension / type(right).dimension;
    return add(op, number_type(d), node(left).begin, {left, right});
  }

  // The dimension of base ^ exponent, for which the exponent must be known now.
  Dimension raised(std::uint32_t base, std::uint32_t exponent) {
    auto value = constant(exponent);
    if (!value) {
      fail(Code::dimension_mismatch, node(exponent).begin, node(exponent).end, "the exponent of a quantity must be a fixed number",
           "write it out, or raise a plain number (`x in mm`)");
    }
    Dimension out = type(base).dimension;
    for (auto& power : out.power) {
      double scaled = power * *value;
      if (std::fabs(scaled - std::round(scaled)) > 1e-9 || std::fabs(scaled) > 12 * 100) mismatch(exponent, "this exponent gives no dimension", type(exponent));
      power = static_cast<std::int16_t>(std::lround(scaled));
    }
    return out;
  }
  std::optional<double> constant(std::uint32_t index) const {
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

  void check_comparison(FormulaOp op, std::uint32_t left, std::uint32_t right) {
    want_same(left, right, "these cannot be compared");
    Kind kind = type(left).kind;
    if (kind == Kind::list) mismatch(left, "a list cannot be compared", type(left));
    bool order = op != FormulaOp::equal && op != FormulaOp::not_equal;
    if (order && kind != Kind::number && kind != Kind::point) mismatch(left, "these have no order", type(left));
    check_choice(left, right);
    check_choice(right, left);
  }
  // A choice compared with a word that it never is.
  void check_choice(std::uint32_t key, std::uint32_t literal) {
    if (node(key).op != FormulaOp::key || node(literal).op != FormulaOp::word) return;
    const std::vector<std::string_view>* choices = choices_.at(key);
    if (choices == nullptr || choices->empty()) return;
    std::string_view word = node(literal).word;
    if (std::find(choices->begin(), choices->end(), word) != choices->end()) return;
    std::vector<std::string> names(choices->begin(), choices->end());
    fail(Code::choice_unknown, node(literal).begin, node(literal).end, fmt::format("'{}' is never '{}'", text_of(key), word),
         fmt::format("it is {}", join_words(names, "or")));
  }

  struct Depth {
    explicit Depth(Parser& owner) : parser(owner) {
      if (++parser.depth_ > deepest) parser.fail(parser.at_, parser.at_ + 1, fmt::format("the formula is nested deeper than {} levels", deepest), "split it over several settings");
    }
    ~Depth() { --parser.depth_; }
    Parser& parser;
  };

  const FormulaScope& scope_;
  Units& units_;
  Diagnostics& out_;
  std::string_view text_;
  std::size_t at_ = 0;
  int depth_ = 0;
  std::vector<std::uint16_t> heights_;  // of each node
  Formula formula_;
  std::map<std::uint32_t, const std::vector<std::string_view>*> choices_;  // of each key's node
};

}  // namespace

std::string FormulaType::words() const {
  switch (kind) {
    case Kind::number: return dimension.words();
    case Kind::point: return "a temperature";
    case Kind::flag: return "a condition";
    case Kind::word: return "a word";
    case Kind::list: return "a list";
  }
  return {};
}

std::optional<Formula> parse_formula(const Text& text, const FormulaScope& scope, Units& units, Diagnostics& out) {
  return Parser(text, scope, units, out).parse();
}

bool check_formula_type(const Formula& formula, const FormulaType& wanted, std::string_view what, Diagnostics& out) {
  if (formula.type() == wanted) return true;
  out.add(Code::dimension_mismatch, formula.text.span, fmt::format("{} must be {}, and this formula gives {}", what, wanted.words(), formula.type().words()))
      .with_help("bring the formula to that dimension");
  return false;
}

}  // namespace bindery
