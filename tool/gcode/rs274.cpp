// The grammar of NISTIR 6556, section 3.3: a line is an optional `/`, an optional N, then words, parameter settings and
// comments in any order.
#include <algorithm>
#include <cctype>
#include <cmath>

#include <fmt/format.h>

#include "base/number.h"
#include "gcode/block.h"

namespace bindery {

namespace {

constexpr std::size_t longest_line = 256;  // 3.2: characters, the line break not counted here
constexpr int deepest_expression = 32;     // brackets within brackets
constexpr std::size_t most_m_words = 4;    // 3.3.3
constexpr double whole_within = 0.0001;    // 3.3.2.1
constexpr int parameter_count = 5400;      // 3.2.1: numbered from 1

class Rs274Reader {
 public:
  Rs274Reader(std::string_view line, const Parameters& parameters) : line_(line), parameters_(parameters) {}

  ReadLine read() {
    if (line_.size() > longest_line) {
      fault(longest_line, line_.size(), fmt::format("the line has {} characters", line_.size()),
            "a line of RS274/NGC has at most 256");
      return std::move(out_);
    }
    if (skip_blanks() && peek() == '/') {
      out_.block.skipped = true;
      ++at_;
    }
    if (skip_blanks() && letter() == 'N') read_line_number();
    while (!out_.fault && skip_blanks()) read_item();
    if (!out_.fault) check_line();
    return std::move(out_);
  }

 private:
  char peek() const { return line_[at_]; }
  char letter() const { return static_cast<char>(std::toupper(static_cast<unsigned char>(line_[at_]))); }

  bool skip_blanks() {
    while (at_ < line_.size() && (line_[at_] == ' ' || line_[at_] == '\t' || line_[at_] == '\r')) ++at_;
    return at_ < line_.size();
  }

  void fault(std::size_t begin, std::size_t end, std::string message, std::string help) {
    if (!out_.fault) out_.fault = LineFault{begin, std::max(begin, end), std::move(message), std::move(help)};
  }

  // N and one to five digits, no sign and no point.
  void read_line_number() {
    std::size_t begin = at_++;
    std::string digits;
    while (skip_blanks() && std::isdigit(static_cast<unsigned char>(peek())) != 0) digits += line_[at_++];
    if (digits.empty() || digits.size() > 5) {
      fault(begin, at_, digits.empty() ? "N has no number" : "a line number has at most five digits",
            "write a whole number from 0 to 99999, or leave it out");
      return;
    }
    out_.block.line_number = std::stol(digits);
  }

  void read_item() {
    std::size_t begin = at_;
    char sign = peek();
    if (sign == '(') return read_comment();
    if (sign == '#') return read_store();
    if (std::isalpha(static_cast<unsigned char>(sign)) == 0) {
      fault(begin, begin + 1, "this starts no word", "a word is a letter and a number; a comment stands in brackets");
      return;
    }
    char name = letter();
    ++at_;
    if (auto end = placeholder_end()) {
      at_ = *end;
      out_.block.words.push_back({name, {WordValue::Of::job, 0}, begin, at_});
      return;
    }
    if (name == 'N') return fault(begin, at_, "N stands only at the start of a line", "move it to the front");
    auto value = read_value();
    if (!value) return fault(begin, at_, fmt::format("{} has no number", name), "write a number behind the letter");
    out_.block.words.push_back({name, {WordValue::Of::number, *value}, begin, at_});
  }

  // The end of `@{...}`, a number that only the running job knows.
  std::optional<std::size_t> placeholder_end() const {
    std::size_t close = line_.find('}', at_);
    bool opens = line_.substr(at_, 2) == "@{" && close != std::string_view::npos;
    return opens ? std::optional(close + 1) : std::nullopt;
  }

  void read_comment() {
    std::size_t begin = at_++;
    std::size_t end = line_.find_first_of("()", at_);
    if (end == std::string_view::npos)
      return fault(begin, line_.size(), "this comment is never closed", "close it with `)` on the same line");
    if (line_[end] == '(') return fault(end, end + 1, "a comment stands inside a comment", "take out the inner one");
    out_.block.comments.emplace_back(line_.substr(at_, end - at_));
    at_ = end + 1;
  }

  // `#3 = 1.5`; it takes effect when the whole line has been read (3.3.3).
  void read_store() {
    std::size_t begin = at_++;
    auto number = read_parameter_number(begin);
    if (!number) return;
    if (!skip_blanks() || peek() != '=')
      return fault(begin, at_, "a parameter stands alone", "set it with `=`, or put it behind a letter");
    ++at_;
    auto value = read_value();
    if (!value) return fault(begin, at_, "the parameter is set to nothing", "write a number behind `=`");
    out_.block.stores.emplace_back(*number, *value);
  }

  std::optional<int> read_parameter_number(std::size_t begin) {
    auto value = read_value();
    auto whole = value ? std::round(*value) : 0;
    if (!value || std::fabs(*value - whole) > whole_within || whole < 1 || whole > parameter_count) {
      fault(begin, at_, "this is no parameter", "parameters are numbered from 1 to 5400");
      return std::nullopt;
    }
    return static_cast<int>(whole);
  }

  // A number, `#3`, `[1+2]` or a function of a bracket; nothing where there is none or it has a fault.
  std::optional<double> read_value() {
    if (out_.fault || !skip_blanks()) return std::nullopt;
    if (peek() == '[') return read_bracket();
    if (peek() == '#') {
      if (++depth_ > deepest_expression) return too_deep();
      std::size_t begin = at_++;
      auto number = read_parameter_number(begin);
      --depth_;
      if (!number) return std::nullopt;
      auto known = parameters_.find(*number);
      return known == parameters_.end() ? 0 : known->second;
    }
    if (std::isalpha(static_cast<unsigned char>(peek())) != 0) return read_function();
    return read_number();
  }

  // Digits, at most one point, an optional sign; blanks between them do not count (3.3.1).
  std::optional<double> read_number() {
    std::string text;
    bool digits = false, point = false;
    while (skip_blanks()) {
      char c = peek();
      bool sign = (c == '+' || c == '-') && text.empty();
      bool dot = c == '.' && !point;
      bool digit = std::isdigit(static_cast<unsigned char>(c)) != 0;
      if (!sign && !dot && !digit) break;
      digits |= digit;
      point |= dot;
      if (c != '+') text += c;
      ++at_;
    }
    return digits ? decimal(text) : std::nullopt;
  }

  std::optional<double> too_deep() {
    fault(at_, at_ + 1, "brackets are nested too deep", "set a parameter on an earlier line, and use it here");
    return std::nullopt;
  }

  std::optional<double> read_bracket() {
    if (++depth_ > deepest_expression) return too_deep();
    std::size_t begin = at_++;
    auto value = read_sum(0);
    if (!value) return std::nullopt;
    if (!skip_blanks() || peek() != ']') {
      fault(begin, at_, "this bracket is never closed", "close it with `]`");
      return std::nullopt;
    }
    ++at_;
    --depth_;
    return value;
  }

  struct Operator {
    std::string_view sign;
    int rank;
  };

  // The operator here, if its rank is at least `least`: `**` binds closest, then `* / MOD`, then `+ - OR XOR AND`
  // (3.3.2.3).
  std::optional<Operator> read_operator(int least) {
    constexpr Operator known[] = {{"**", 3}, {"*", 2},  {"/", 2},   {"MOD", 2}, {"+", 1},
                                  {"-", 1},  {"OR", 1}, {"XOR", 1}, {"AND", 1}};
    for (const Operator& each : known) {
      if (each.rank < least) continue;
      std::size_t at = at_, matched = 0;
      while (at < line_.size() && matched < each.sign.size()) {
        if (line_[at] == ' ' || line_[at] == '\t') {
          ++at;
          continue;
        }
        if (std::toupper(static_cast<unsigned char>(line_[at])) != each.sign[matched]) break;
        ++at;
        ++matched;
      }
      if (matched < each.sign.size()) continue;
      at_ = at;
      return each;
    }
    return std::nullopt;
  }

  // Operators of one rank are done from the left.
  std::optional<double> read_sum(int least) {
    auto left = read_value();
    while (left && skip_blanks()) {
      std::size_t begin = at_;
      auto sign = read_operator(std::max(least, 1));
      if (!sign) break;
      auto right = sign->rank < 3 ? read_sum(sign->rank + 1) : read_value();
      if (!right) {
        fault(begin, at_, "an operator has nothing behind it", "write a number behind it");
        return std::nullopt;
      }
      left = apply(sign->sign, *left, *right, begin);
    }
    return left;
  }

  std::optional<double> apply(std::string_view sign, double a, double b, std::size_t begin) {
    double value = sign == "**"    ? std::pow(a, b)
                   : sign == "*"   ? a * b
                   : sign == "/"   ? a / b
                   : sign == "MOD" ? a - b * std::floor(a / b)
                   : sign == "+"   ? a + b
                   : sign == "-"   ? a - b
                   : sign == "OR"  ? static_cast<double>(a != 0 || b != 0)
                   : sign == "XOR" ? static_cast<double>((a != 0) != (b != 0))
                                   : static_cast<double>(a != 0 && b != 0);
    return finite(value, begin);
  }

  std::optional<double> finite(double value, std::size_t begin) {
    if (std::isfinite(value)) return value;
    fault(begin, at_, "this has no finite value", "mend the expression");
    return std::nullopt;
  }

  // ABS ACOS ASIN ATAN COS EXP FIX FUP LN ROUND SIN SQRT TAN of a bracket, angles in degrees; ATAN takes two.
  std::optional<double> read_function() {
    std::size_t begin = at_;
    std::string name;
    while (skip_blanks() && std::isalpha(static_cast<unsigned char>(peek())) != 0 && name.size() < 6) {
      name += letter();
      ++at_;
    }
    if (!skip_blanks() || peek() != '[') {
      at_ = begin;
      return std::nullopt;
    }
    auto x = read_bracket();
    if (!x) return std::nullopt;
    constexpr double degree = M_PI / 180;
    if (name == "ATAN") {
      if (!skip_blanks() || peek() != '/' || (++at_, !skip_blanks()) || peek() != '[') {
        fault(begin, at_, "ATAN takes two values", "write it as in `ATAN[1]/[2]`");
        return std::nullopt;
      }
      auto y = read_bracket();
      return y ? std::optional(std::atan2(*x, *y) / degree) : std::nullopt;
    }
    if (name == "ABS") return std::fabs(*x);
    if (name == "ACOS") return finite(std::acos(*x) / degree, begin);
    if (name == "ASIN") return finite(std::asin(*x) / degree, begin);
    if (name == "COS") return std::cos(*x * degree);
    if (name == "EXP") return finite(std::exp(*x), begin);
    if (name == "FIX") return std::floor(*x);
    if (name == "FUP") return std::ceil(*x);
    if (name == "LN") return finite(std::log(*x), begin);
    if (name == "ROUND") return std::round(*x);
    if (name == "SIN") return std::sin(*x * degree);
    if (name == "SQRT") return finite(std::sqrt(*x), begin);
    if (name == "TAN") return finite(std::tan(*x * degree), begin);
    fault(begin, at_, fmt::format("there is no function {}", name), "functions are ABS, ACOS, ASIN, ATAN, COS ...");
    return std::nullopt;
  }

  // Two words of one letter, but for G and M; two of one modal group; more than four M (3.3.3, 3.4).
  void check_line() {
    std::vector<std::pair<int, const BlockWord*>> met;
    std::size_t m_words = 0;
    for (const BlockWord& word : out_.block.words) {
      int key = word.letter;
      if (word.letter == 'G' || word.letter == 'M') {
        m_words += word.letter == 'M' ? 1 : 0;
        auto tenths = code_tenths(word.value.number);
        if (!tenths)
          return fault(word.begin, word.end,
                       fmt::format("{}{} is no code", word.letter, write_number(word.value.number)),
                       "the number of a code is whole, or has one decimal");
        int group = modal_group(word.letter, *tenths);
        key = group == 0 ? 10000 + word.letter * 100000 + *tenths : 1000 + word.letter * 200 + group;
      }
      auto same = std::find_if(met.begin(), met.end(), [&](const auto& each) { return each.first == key; });
      if (same != met.end()) {
        bool code = word.letter == 'G' || word.letter == 'M';
        return fault(word.begin, word.end,
                     code ? "two codes of one modal group stand on a line"
                          : fmt::format("two {} words stand on a line", word.letter),
                     "put the second on a line of its own");
      }
      met.emplace_back(key, &word);
    }
    if (m_words > most_m_words) fault(0, line_.size(), "more than four M words stand on a line", "split the line");
  }

  std::string_view line_;
  const Parameters& parameters_;
  ReadLine out_;
  std::size_t at_ = 0;
  int depth_ = 0;
};

}  // namespace

ReadLine read_rs274(std::string_view line, const Parameters& parameters) {
  return Rs274Reader(line, parameters).read();
}

}  // namespace bindery
