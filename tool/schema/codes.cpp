#include "schema/codes.h"

#include <algorithm>
#include <cctype>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"

namespace bindery {

namespace {

constexpr std::array<std::string_view, 3> trust_names = {"ordinary", "checked", "refused"};
constexpr std::array<std::string_view, heater_count> heater_names = {"nozzle", "bed", "chamber"};
// In the order of Does; `nothing` is not written.
constexpr std::array<std::string_view, 26> does_names = {"move",
                                                         "arc-clockwise",
                                                         "arc-counterclockwise",
                                                         "dwell",
                                                         "home",
                                                         "set-position",
                                                         "absolute",
                                                         "relative",
                                                         "extruder-absolute",
                                                         "extruder-relative",
                                                         "millimetres",
                                                         "inches",
                                                         "plane-xy",
                                                         "plane-xz",
                                                         "plane-yz",
                                                         "heat",
                                                         "heat-and-wait",
                                                         "fan",
                                                         "fan-off",
                                                         "motors-on",
                                                         "motors-off",
                                                         "retract",
                                                         "unretract",
                                                         "level",
                                                         "pause",
                                                         "stop"};

const std::vector<std::string_view> code_words = {"title",  "trust", "reason", "does",  "words",
                                                  "heater", "text",  "where",  "source"};
const std::vector<std::string_view> word_words = {"unit", "at_least", "at_most", "trust", "reason"};

std::optional<std::size_t> index_of(std::span<const std::string_view> names, std::string_view word) {
  auto at = std::find(names.begin(), names.end(), word);
  if (at == names.end()) return std::nullopt;
  return static_cast<std::size_t>(at - names.begin());
}

auto order_of(const MachineCode& code) { return std::pair(code.letter, code.tenths); }

}  // namespace

std::string_view name_of(Trust trust) { return trust_names[static_cast<std::size_t>(trust)]; }
std::string_view name_of(Heater heater) { return heater_names[static_cast<std::size_t>(heater)]; }

std::string_view name_of(Does does) {
  return does == Does::nothing ? "nothing" : does_names[static_cast<std::size_t>(does) - 1];
}

std::optional<Heater> heater_named(std::string_view word) {
  auto index = index_of(heater_names, word);
  return index ? std::optional(static_cast<Heater>(*index)) : std::nullopt;
}

const CodeWord* MachineCode::word(char wanted) const {
  auto at = std::find_if(words.begin(), words.end(), [&](const CodeWord& each) { return each.letter == wanted; });
  return at == words.end() ? nullptr : &*at;
}

void CodeList::fill(std::vector<MachineCode> entries) { entries_ = std::move(entries); }

std::span<const MachineCode> CodeList::find(char letter, int tenths) const {
  for (int number : {tenths, -1}) {
    auto wanted = std::pair(letter, number);
    auto first = std::lower_bound(entries_.begin(), entries_.end(), wanted,
                                  [](const MachineCode& code, const auto& key) { return order_of(code) < key; });
    auto last = first;
    while (last != entries_.end() && order_of(*last) == wanted) ++last;
    if (first != last) return {first, last};
  }
  return {};
}

void CodeReader::read(const Document& doc, const Field& codes) {
  FieldReader read(doc, out_);
  for (const Field& entry : read.fields(codes.value, "'codes'")) {
    const Node& node = doc[entry.value];
    if (node.kind != NodeKind::list) {
      read_entry(doc, entry.key, entry.value, false);
      continue;
    }
    if (node.next == entry.value + 1)
      read.wrong(entry.key.span, fmt::format("'{}' has no alternative", entry.key.text),
                 "write one, or remove the line");
    for (std::uint32_t at = entry.value + 1; at < node.next; at = doc[at].next) read_entry(doc, entry.key, at, true);
  }
}

void CodeReader::read_entry(const Document& doc, const Text& key, std::uint32_t node, bool alternative) {
  FieldReader read(doc, out_);
  std::size_t errors = out_.count(Severity::error);
  MachineCode code;
  code.name = key.text;
  code.span = key.span;
  code.title = key.text;
  bool named = name_code(key, code), trusted = false, heater = false;
  for (const Field& field : read.fields(node, fmt::format("the code '{}'", key.text))) {
    std::string_view word = field.key.text;
    if (word == "title" || word == "reason" || word == "source") {
      if (auto text = read.scalar(field))
        (word == "title" ? code.title : word == "reason" ? code.reason : code.source) = text->text;
    } else if (word == "trust") {
      trusted = true;
      if (auto index = read.choice(field, {"ordinary", "checked", "refused"})) code.trust = static_cast<Trust>(*index);
    } else if (word == "does") {
      auto text = read.scalar(field);
      auto index = text ? index_of(does_names, text->text) : std::nullopt;
      if (index) code.does = static_cast<Does>(*index + 1);
      else if (text)
        read.unknown(*text, Code::choice_unknown, "act of a machine", {does_names.begin(), does_names.end()});
    } else if (word == "heater") {
      heater = true;
      if (auto index = read.choice(field, {"nozzle", "bed", "chamber"})) code.heater = static_cast<Heater>(*index);
    } else if (word == "text") {
      code.text = read.flag(field).value_or(false);
    } else if (word == "where") {
      if (auto text = read.scalar(field))
        code.where = parse_formula(*text, dictionary_.scope(true), *dictionary_.units, out_);
      if (code.where && !check_formula_type(*code.where, {FormulaType::Kind::flag, {}}, "a condition", out_))
        code.where.reset();
    } else if (word == "words") {
      read_words(read, field, code);
    } else {
      read.unknown(field.key, Code::header_unknown, "part of a code", code_words);
    }
  }
  if (out_.count(Severity::error) > errors || !named) return;
  if (!trusted || code.reason.empty()) {
    out_.add(Code::key_missing, key.span,
             fmt::format("the code '{}' has no '{}'", key.text, trusted ? "reason" : "trust"))
        .with_help("say how far it is trusted (ordinary, checked or refused) and the reason");
    return;
  }
  check_entry(key, code, heater);
  read_.push_back({std::move(code), alternative});
}

// What the parts of an entry ask of each other.
void CodeReader::check_entry(const Text& key, const MachineCode& code, bool heater) {
  auto report = [&](std::string message, std::string help) {
    out_.add(Code::value_malformed, key.span, std::move(message)).with_help(std::move(help));
  };
  bool heats = code.does == Does::heat || code.does == Does::heat_and_wait;
  bool bounded =
      std::any_of(code.words.begin(), code.words.end(), [](const CodeWord& word) { return word.least || word.most; });
  if (heats && !heater) report(fmt::format("'{}' heats, and no heater is named", key.text), "add `heater:`");
  if (heater && !heats)
    report(fmt::format("'{}' names a heater and does not heat", key.text), "write `does: heat` or take the line out");
  if (code.trust == Trust::checked && !bounded)
    report(fmt::format("'{}' is checked, and none of its words has a bound", key.text),
           "give a word `at_most` or `at_least`, or trust it as ordinary or refused");
  if (code.text && !code.words.empty())
    report(fmt::format("the rest of '{}' is text, so it has no words", key.text), "keep one of the two");
}

// A code is a letter G, M or T and a whole number, with at most one decimal; T alone stands for any.
bool CodeReader::name_code(const Text& key, MachineCode& code) {
  std::string_view text = key.text;
  if (text == "T") {
    code.letter = 'T';
    return true;
  }
  bool sound = text.size() >= 2 && (text[0] == 'G' || text[0] == 'M' || text[0] == 'T');
  std::size_t point = std::min(text.find('.'), text.size());
  std::string_view whole = sound ? text.substr(1, point - 1) : std::string_view();
  std::string_view rest = point < text.size() ? text.substr(point + 1) : std::string_view("0");
  auto digits = [](std::string_view part, std::size_t most) {
    return !part.empty() && part.size() <= most &&
           std::all_of(part.begin(), part.end(), [](unsigned char c) { return std::isdigit(c) != 0; });
  };
  sound = sound && digits(whole, 5) && digits(rest, 1) && (whole.size() == 1 || whole[0] != '0');
  if (!sound) {
    out_.add(Code::name_invalid, key.span, fmt::format("'{}' is no machine code", key.text))
        .with_help("write a capital G, M or T and a number, as in `G1`, `M104` or `G38.2`");
    return false;
  }
  code.letter = text[0];
  code.tenths = std::stoi(std::string(whole)) * 10 + (rest[0] - '0');
  return true;
}

void CodeReader::read_words(FieldReader& read, const Field& field, MachineCode& code) {
  for (const Field& each : read.fields(field.value, "'words'")) {
    if (each.key.text.size() != 1 || each.key.text[0] < 'A' || each.key.text[0] > 'Z') {
      out_.add(Code::name_invalid, each.key.span, fmt::format("'{}' is no letter", each.key.text))
          .with_help("a word of a code is one capital letter");
      continue;
    }
    CodeWord& word = code.words.emplace_back();
    word.letter = each.key.text[0];
    word.span = each.key.span;
    if (read.doc[each.value].kind != NodeKind::null) read_word(read, each, word);
  }
}

void CodeReader::read_word(FieldReader& read, const Field& field, CodeWord& word) {
  std::optional<Field> least, most;
  for (const Field& part : read.fields(field.value, fmt::format("the word {}", field.key.text))) {
    std::string_view name = part.key.text;
    if (name == "unit") {
      auto text = read.scalar(part);
      if (text) word.unit = dictionary_.units->find(text->text);
      if (text && word.unit == nullptr)
        out_.add(Code::unit_unknown, text->span, fmt::format("unknown unit '{}'", text->text))
            .with_help("write a unit that UDUNITS-2 knows, such as `mm/min`, `s` or `degC`");
    } else if (name == "at_least") {
      least.emplace(part);
    } else if (name == "at_most") {
      most.emplace(part);
    } else if (name == "trust") {
      word.refused = read.choice(part, {"refused"}).has_value();
    } else if (name == "reason") {
      if (auto text = read.scalar(part)) word.reason = text->text;
    } else {
      read.unknown(part.key, Code::header_unknown, "part of a word", word_words);
    }
  }
  if (least) word.least = read_bound(read, *least, word.unit);
  if (most) word.most = read_bound(read, *most, word.unit);
  if (word.refused && word.reason.empty())
    out_.add(Code::key_missing, field.key.span, fmt::format("the word {} is refused without a reason", field.key.text))
        .with_help("add `reason:`");
}

std::optional<CodeBound> CodeReader::read_bound(FieldReader& read, const Field& field, const Unit* unit) {
  Setting shape;  // what the bound is a value of
  shape.key = field.key.text;
  static const Unit plain{"1", {}, 1, 0, false};
  shape.unit = unit == nullptr ? &plain : unit;
  CodeBound bound;
  bound.span = field.key.span;
  if (read.doc[field.value].kind != NodeKind::mapping) {
    auto text = read.scalar(field);
    if (!text) return std::nullopt;
    bound.text = text->text;
    auto value = read_literal(shape, *text, *dictionary_.units, out_);
    if (!value) return std::nullopt;
    bound.base = shape.unit->to_base(value->number());
    return bound;
  }
  auto parts = read.fields(field.value, field.key.text);
  if (parts.size() != 1 || parts.front().key.text != "calc") {
    out_.add(Code::operation_malformed, field.key.span, "a bound is a value or `{ calc: ... }`")
        .with_help("write one of these");
    return std::nullopt;
  }
  auto text = read.scalar(parts.front());
  if (!text) return std::nullopt;
  bound.text = text->text;
  auto formula = parse_formula(*text, dictionary_.scope(false), *dictionary_.units, out_);
  if (!formula || !check_formula_type(*formula, shape.formula_type(), "a bound", out_)) return std::nullopt;
  bound.formula = std::move(formula);
  return bound;
}

void CodeReader::finish() {
  std::stable_sort(read_.begin(), read_.end(),
                   [](const Read& a, const Read& b) { return order_of(a.code) < order_of(b.code); });
  std::vector<MachineCode> entries;
  for (std::size_t i = 0; i < read_.size(); ++i) {
    bool again = i > 0 && order_of(read_[i - 1].code) == order_of(read_[i].code);
    if (again && (!read_[i].alternative || !read_[i - 1].alternative)) {
      out_.add(Code::key_duplicate, read_[i].code.span,
               fmt::format("the code '{}' is defined twice", read_[i].code.name))
          .with_help("keep one of the two, or make a list of both, each with `where:`")
          .with_related(read_[i - 1].code.span, "first defined here");
      continue;
    }
    entries.push_back(read_[i].code);
  }
  dictionary_.codes.fill(std::move(entries));
}

}  // namespace bindery
