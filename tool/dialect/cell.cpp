#include "dialect/cell.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number.h"

namespace bindery {

namespace {

// Rounds a number written by the language, half away from zero, to fewer decimals.
std::string rounded(std::string digits, std::size_t decimals) {
  std::size_t point = digits.find('.');
  if (point == std::string::npos || digits.size() - point - 1 <= decimals) return digits;
  bool up = digits[point + 1 + decimals] >= '5';
  digits.resize(point + 1 + decimals);
  if (up) {
    std::size_t at = digits.size();
    while (at-- > 0) {
      if (digits[at] == '.') continue;
      if (digits[at] == '-') break;
      if (digits[at] != '9') {
        ++digits[at];
        up = false;
        break;
      }
      digits[at] = '0';
    }
    if (up) digits.insert(digits.starts_with('-') ? 1 : 0, "1");
  }
  while (digits.find('.') != std::string::npos && (digits.back() == '0' || digits.back() == '.')) {
    bool end = digits.back() == '.';
    digits.pop_back();
    if (end) break;
  }
  return digits == "-0" ? "0" : digits;
}

// More decimals than the language writes: a setting in % told as a fraction has two more.
std::string long_number(double number, int decimals) {
  std::string text = fmt::format("{:.{}f}", number, decimals);
  text.erase(text.find_last_not_of('0') + 1);
  if (text.ends_with('.')) text.pop_back();
  return text == "-0" ? "0" : text;
}

std::string number_text(const RowFormat& format, double number) {
  constexpr int own_decimals = 6;
  bool more = format.decimals.value_or(0) > own_decimals;
  std::string text = more ? long_number(number, *format.decimals) : write_number(number);
  if (format.decimals && !more) text = rounded(std::move(text), static_cast<std::size_t>(*format.decimals));
  if (format.padded && format.decimals && *format.decimals > 0) {
    std::size_t point = text.find('.');
    if (point == std::string::npos) {
      point = text.size();
      text += '.';
    }
    text.append(static_cast<std::size_t>(*format.decimals) - (text.size() - point - 1), '0');
  }
  if (format.signed_always && !text.starts_with('-')) text.insert(0, "+");
  if (std::size_t point = text.find('.'); point != std::string::npos) text.replace(point, 1, format.point);
  return text.append(format.suffix);
}

std::optional<std::string> scalar_text(const RowFormat& format, const CellValue& value, std::string& why) {
  std::string text = value.of == CellValue::Of::number ? number_text(format, value.number)
                     : value.of == CellValue::Of::flag ? std::string(value.flag ? format.yes : format.no)
                                                       : value.word;
  std::string_view plain = value.of == CellValue::Of::flag ? (value.flag ? "true" : "false") : std::string_view(text);
  auto at =
      std::find_if(format.words.begin(), format.words.end(), [&](const auto& pair) { return pair.first == plain; });
  if (at != format.words.end()) return std::string(at->second);
  if (format.mapped && value.of == CellValue::Of::word) {
    why = fmt::format("it has no spelling for '{}'", value.word);
    return std::nullopt;
  }
  return text;
}

std::optional<double> read_number_text(const RowFormat& format, std::string_view text) {
  if (!text.ends_with(format.suffix)) return std::nullopt;
  text.remove_suffix(format.suffix.size());
  while (text.ends_with(' ')) text.remove_suffix(1);
  std::string digits(text);
  if (format.point != ".") {
    if (digits.find('.') != std::string::npos) return std::nullopt;
    if (std::size_t comma = digits.find(format.point); comma != std::string::npos)
      digits.replace(comma, format.point.size(), ".");
  }
  if (digits.starts_with('+')) digits.erase(0, 1);
  auto read = read_number(digits);
  if (!read || read->length != digits.size()) return std::nullopt;
  return read->value;
}

// Blanks round a number, a flag or a word of a mapping are the layout of the file.
std::string_view within_blanks(std::string_view text) {
  constexpr std::string_view blanks = " \t\n\r";
  std::size_t begin = text.find_first_not_of(blanks);
  return begin == std::string_view::npos ? std::string_view()
                                         : text.substr(begin, text.find_last_not_of(blanks) + 1 - begin);
}

std::optional<CellValue> read_scalar(const RowFormat& format, CellValue::Of sort, const std::string& whole,
                                     std::string& why) {
  CellValue value;
  value.of = sort;
  bool free_word = sort == CellValue::Of::word && !format.mapped;
  bool spelled =
      std::any_of(format.words.begin(), format.words.end(), [&](const auto& pair) { return pair.second == whole; }) ||
      whole == format.yes || whole == format.no;
  std::string text(free_word || spelled || !format.suffix.empty() ? std::string_view(whole) : within_blanks(whole));

  auto at =
      std::find_if(format.words.begin(), format.words.end(), [&](const auto& pair) { return pair.second == text; });
  std::string_view plain = at != format.words.end() ? at->first : std::string_view(text);
  if (sort == CellValue::Of::number) {
    auto number = at != format.words.end() ? read_number_text({}, plain) : read_number_text(format, plain);
    if (!number) {
      why = format.suffix.empty() ? fmt::format("'{}' is no number", whole)
                                  : fmt::format("'{}' is no number with '{}' behind it", whole, format.suffix);
      return std::nullopt;
    }
    value.number = *number;
  } else if (sort == CellValue::Of::flag) {
    bool yes = at != format.words.end() ? plain == "true" : text == format.yes;
    if (!yes && !(at != format.words.end() ? plain == "false" : text == format.no)) {
      why = fmt::format("'{}' is neither '{}' nor '{}'", whole, format.yes, format.no);
      return std::nullopt;
    }
    value.flag = yes;
  } else {
    if (format.mapped && at == format.words.end()) {
      why = fmt::format("no word is spelled '{}' here", whole);
      return std::nullopt;
    }
    value.word = plain;
  }
  return value;
}

std::vector<std::string> split(std::string_view text, std::string_view sign) {
  std::vector<std::string> out;
  if (text.empty()) return out;
  for (std::size_t at = 0;;) {
    std::size_t end = text.find(sign, at);
    out.emplace_back(text.substr(at, end == std::string_view::npos ? end : end - at));
    if (end == std::string_view::npos) return out;
    at = end + sign.size();
  }
}

}  // namespace

double converted(double number, const Unit* from, const Unit* to) {
  if (from == nullptr || to == nullptr || from == to || from->text == to->text) return number;
  return to->from_base(from->to_base(number));
}

std::optional<CellText> write_cell(const RowFormat& format, const CellValue& value, std::size_t repeat,
                                   std::string& why) {
  std::vector<std::string> texts;
  bool list = value.of == CellValue::Of::list;
  for (const CellValue& item : list ? value.items : std::vector<CellValue>{value}) {
    auto text = scalar_text(format, item, why);
    if (!text) return std::nullopt;
    texts.push_back(std::move(*text));
  }
  bool repeated = repeat > 0;
  if (repeated) texts.resize(repeat, texts.empty() ? "" : texts.front());
  CellText out;
  CellValue::Of sort = !list ? value.of : value.items.empty() ? CellValue::Of::word : value.items.front().of;
  bool bare = format.bare && sort != CellValue::Of::word;

  if (format.joined) {
    out.values.push_back({fmt::format("{}", fmt::join(texts, *format.joined)), bare && texts.size() == 1});
    return out;
  }
  out.list = list || repeated;
  for (std::string& text : texts) out.values.push_back({std::move(text), bare});
  return out;
}

std::optional<CellValue> read_cell(const RowFormat& format, CellValue::Of sort, bool list, bool repeated,
                                   const CellText& text, std::string& why) {
  std::vector<std::string> texts;
  for (const Scalar& each : text.values) {
    if (format.joined && (list || repeated)) {
      for (std::string& part : split(each.text, *format.joined)) texts.push_back(std::move(part));
    } else {
      texts.push_back(each.text);
    }
  }
  if (!list && !repeated && texts.size() != 1) {
    why = texts.empty() ? "nothing stands there" : "several values stand there";
    return std::nullopt;
  }
  CellValue out;
  out.of = CellValue::Of::list;
  for (const std::string& each : texts) {
    auto value = read_scalar(format, sort, each, why);
    if (!value) return std::nullopt;
    out.items.push_back(std::move(*value));
  }
  if (list) return out;
  if (out.items.empty()) {
    why = "nothing stands there";
    return std::nullopt;
  }
  for (const CellValue& each : out.items) {
    if (same_cell(each, out.items.front())) continue;
    why = "the repeated values differ, and the profile has one";
    return std::nullopt;
  }
  return out.items.front();
}

bool same_cell(const CellValue& a, const CellValue& b) {
  if (a.of != b.of) return false;
  switch (a.of) {
    case CellValue::Of::number: return same_value(a.number, b.number);
    case CellValue::Of::flag: return a.flag == b.flag;
    case CellValue::Of::word: return a.word == b.word;
    case CellValue::Of::list:
      return std::equal(a.items.begin(), a.items.end(), b.items.begin(), b.items.end(), same_cell);
  }
  return false;
}

}  // namespace bindery
