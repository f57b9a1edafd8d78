// Tokens and grammar of formulas.
#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"
#include "formula/builder.h"
#include "formula/formula.h"

namespace bindery {

namespace {

using Kind = FormulaType::Kind;

constexpr std::size_t longest_formula = 4096;
constexpr int deepest = 64;  // brackets and calls inside each other

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

class Parser : private FormulaBuilder {
 public:
  Parser(const Text& text, const FormulaScope& scope, Units& units, Diagnostics& out)
      : FormulaBuilder(text, out), scope_(scope), units_(units) {}

  std::optional<Formula> parse() {
    try {
      if (text_.size() > longest_formula)
        fail(0, 0, fmt::format("the formula is longer than {} characters", longest_formula),
             "split it over several settings");
      formula_.root = disjunction();
      skip();
      if (at_ < text_.size()) stray();
      formula_.nodes.shrink_to_fit();  // a large tree keeps thousands
      return std::move(formula_);
    } catch (const FormulaRefused&) {
      return std::nullopt;
    }
  }

 private:
  // --- reports ---
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
      fail(at_, at_ + 1, fmt::format("'{}' is not expected here", glyph()),
           "write a number, a key, a function or a bracket");
    }
    if (word == "not" || word == "and" || word == "or" || word == "in") {
      fail(begin, begin + word.size(), fmt::format("'{}' stands where a value is expected", word),
           word == "not" ? "put brackets round it" : "write a value before and after it");
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
    std::size_t behind = at_ + word.size();
    bool ends = behind >= text_.size() || text_[behind] == ' ' || text_[behind] == '\n' || text_[behind] == '(';
    bool keyword = ends && (word == "and" || word == "or" || word == "in");  // `in^3` is a unit
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
    if (!std::isfinite(formula_.nodes[out].number))
      fail(begin, at_, fmt::format("'{}' is no finite number", text_.substr(begin, at_ - begin)),
           "use a smaller number");
    formula_.nodes[out].unit = unit;
    return out;
  }

  static bool starts_unit(char c) {
    return std::isalpha(static_cast<unsigned char>(c)) || c == '%' || static_cast<unsigned char>(c) >= 0x80;
  }

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
    while (sign != std::string_view::npos && sign > 0 && units_.find(name.substr(0, sign)) == nullptr)
      sign = name.find_last_of("*/<>=!+-^", sign - 1);
    if (sign != std::string_view::npos && sign > 0) {
      help = fmt::format("put blanks round the operator after `{}`", name.substr(0, sign));
    } else if (scope_.find(name)) {
      help = fmt::format("put an operator before the key '{}'", name);
    }
    if (help.empty()) help = "write a unit that UDUNITS-2 knows, such as `mm`, `mm/s` or `degC`";
    fail(Code::unit_unknown, begin, at_, fmt::format("unknown unit '{}'", name), help);
  }

  std::uint32_t inherited(std::size_t begin) {
    if (!scope_.inherited)
      fail(begin, at_, "nothing lies below this formula, so nothing is inherited", "name a key instead");
    formula_.reads_inherited = true;
    std::uint32_t out = add(FormulaOp::inherited, *scope_.inherited, begin, {});
    formula_.nodes[out].unit = scope_.inherited_unit;
    return out;
  }

  std::uint32_t key(std::string_view word, std::size_t begin) {
    auto found = scope_.find(word);
    if (!found) {
      if (skipped(Code::setting_unknown)) throw FormulaRefused{};
      std::string near = scope_.suggest(word);
      fail(Code::setting_unknown, begin, at_, fmt::format("unknown setting '{}'", word),
           near.empty() ? "see `list settings` for the keys; a word stands in single quotes"
                        : fmt::format("did you mean '{}'", near));
    }
    if (found->poisoned) throw FormulaRefused{};
    if (scope_.facts_only && !found->fact) {
      fail(Code::fact_required, begin, at_, fmt::format("'{}' is no fact, and only facts may be asked for here", word),
           "ask for a fact, or mark the setting `fact: true` in the dictionary");
    }
    std::uint32_t out = add(FormulaOp::key, found->type, begin, {});
    formula_.nodes[out].key = found->id;
    formula_.nodes[out].unit = found->unit;
    choices_[out] = found->choices;
    if (std::find(formula_.keys.begin(), formula_.keys.end(), found->id) == formula_.keys.end())
      formula_.keys.push_back(found->id);
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
           near.empty() ? fmt::format("known: {}", join_words({names.begin(), names.end()}))
                        : fmt::format("did you mean '{}'", near));
    }
    std::vector<std::uint32_t> arguments;
    if (!take(")")) {
      do arguments.push_back(disjunction());
      while (take(","));
      close(bracket);
    }
    if (arguments.size() < function->least || arguments.size() > function->most) {
      std::string wanted = function->least == function->most
                               ? counted(function->least, "value")
                               : fmt::format("{} to {} values", function->least, function->most);
      fail(begin, at_, fmt::format("'{}' takes {}, not {}", name, wanted, arguments.size()), "give it what it takes");
    }
    return add(function->op, call_type(function->op, name, arguments), begin, arguments);
  }

  struct Depth {
    explicit Depth(Parser& owner) : parser(owner) {
      if (++parser.depth_ > deepest)
        parser.fail(parser.at_, parser.at_ + 1, fmt::format("the formula is nested deeper than {} levels", deepest),
                    "split it over several settings");
    }
    ~Depth() { --parser.depth_; }
    Parser& parser;
  };

  const FormulaScope& scope_;
  Units& units_;
  int depth_ = 0;
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
  out.add(Code::dimension_mismatch, formula.text.span,
          fmt::format("{} must be {}, and this formula gives {}", what, wanted.words(), formula.type().words()))
      .with_help("bring the formula to that dimension");
  return false;
}

}  // namespace bindery
