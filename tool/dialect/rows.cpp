#include "dialect/rows.h"

#include <algorithm>
#include <charconv>

#include <fmt/format.h>

#include "base/words.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

const std::vector<std::string_view> feed_words = {"from", "script", "text", "tell", "file"};
const std::vector<std::string_view> row_words = {
    "key",   "section", "from",  "script", "text", "tell", "file", "in",     "decimals", "pad",   "plus", "rounds",
    "point", "suffix",  "words", "yes",    "no",   "join", "bare", "repeat", "when",     "unset", "stem"};
const std::vector<std::string_view> format_words = {"in",     "decimals", "pad", "plus", "rounds", "point",
                                                    "suffix", "words",    "yes", "no",   "join"};
constexpr int deepest_group = 8;
constexpr int most_decimals = 9;

}  // namespace

void RowReader::wrong(Code code, Span span, std::string message, std::string help) {
  out_.add(code, span, std::move(message)).with_help(std::move(help));
}

std::vector<Row> RowReader::rows(const Field& field, const DialectFile& file) {
  rows_.clear();
  items_ = 0;
  read_list(field.value, file, {}, 0);
  return std::move(rows_);
}

void RowReader::read_list(std::uint32_t list, const DialectFile& file, const std::vector<std::string_view>& within,
                          int depth) {
  if (doc_[list].kind != NodeKind::list) {
    wrong(Code::dialect_row, doc_[list].text.span, "rows are a list", "write each row as `- { key: ..., from: ... }`");
    return;
  }
  for (std::uint32_t at = list + 1; at < doc_[list].next; at = doc_[at].next) {
    if (items_ > most::dialect_rows) return;
    if (!read_.within(++items_, most::dialect_rows, file.span, "rows and groups")) return;

    read_item(at, file, within, depth);
  }
}

// A row, shared rows (`use:`), or the rows of a section.
void RowReader::read_item(std::uint32_t node, const DialectFile& file, const std::vector<std::string_view>& within,
                          int depth) {
  if (depth > deepest_group)
    return wrong(Code::dialect_row, doc_[node].text.span, "rows are grouped too deep", "lay the rows out flat");
  std::vector<Field> fields = read_.fields(node, "a row");
  if (doc_[node].kind != NodeKind::mapping) return;

  auto find = [&](std::string_view word) {
    return std::find_if(fields.begin(), fields.end(), [&](const Field& each) { return each.key.text == word; });
  };
  auto use = find("use"), list = find("rows");
  if (use == fields.end() && list == fields.end()) return read_row(fields, doc_[node].text.span, file, within);
  std::vector<std::string_view> inside = within;
  for (const Field& each : fields) {
    if (each.key.text == "section") {
      for (std::string_view part : section(each, file)) inside.push_back(part);
    } else if (each.key.text != "use" && each.key.text != "rows") {
      read_.unknown(each.key, Code::header_unknown, "part of a group of rows", {"use", "rows", "section"});
    }
  }
  if (list != fields.end()) read_list(list->value, file, inside, depth + 1);
  if (use == fields.end()) return;
  for (const Text& name : read_.words(*use)) {
    auto at = groups_.find(name.text);
    if (at == groups_.end()) {
      std::vector<std::string_view> known;
      for (const auto& [each, list_node] : groups_) known.push_back(each);
      if (!known.empty()) read_.unknown(name, Code::choice_unknown, "group of rows", known);
      else
        wrong(Code::choice_unknown, name.span, fmt::format("unknown group of rows '{}'", name.text),
              "the dialect has no `groups:`; write the rows there, or here");

    } else {
      read_list(at->second, file, inside, depth + 1);
    }
  }
}

void RowReader::read_row(const std::vector<Field>& fields, Span span, const DialectFile& file,
                         const std::vector<std::string_view>& within) {
  std::size_t errors = out_.count(Severity::error);
  Row row;
  row.section = within;
  row.span = span;
  std::optional<Text> unit;
  const Field* feed = nullptr;
  const Field* format = nullptr;
  bool named = false;
  std::optional<bool> bare;
  for (const Field& field : fields) {
    std::string_view word = field.key.text;
    if (word == "key") {
      if (auto key = read_.scalar(field)) {
        named = true;
        row.key = key->text;
        row.span = key->span;
        check_name(file, key->text, key->span, false);
      }
    } else if (word == "section") {
      for (std::string_view part : section(field, file)) row.section.push_back(part);
    } else if (std::find(feed_words.begin(), feed_words.end(), word) != feed_words.end()) {
      if (feed != nullptr)
        wrong(Code::dialect_row, field.key.span, fmt::format("the row has both '{}' and '{}'", feed->key.text, word),
              "one thing feeds a row; make two rows of it");
      else if (!read_feed(field, row)) return;
      feed = &field;
    } else if (word == "bare") {
      bare = read_.flag(field);
    } else if (word == "stem") {
      row.stem = read_.flag(field).value_or(false);
    } else if (word == "repeat") {
      if (auto given = read_.scalar(field))
        row.repeat = formula(*given, FormulaType{FormulaType::Kind::number, {}}, "how often a row is repeated");
    } else if (word == "when") {
      if (auto given = read_.scalar(field))
        row.when = formula(*given, FormulaType{FormulaType::Kind::flag, {}}, "'when'");
    } else if (word == "unset") {
      if (auto given = text(field)) row.unset = given->text;
    } else if (std::find(format_words.begin(), format_words.end(), word) != format_words.end()) {
      format = &field;
      read_format(field, row, unit);
    } else {
      read_.unknown(field.key, Code::header_unknown, "part of a row", row_words);
    }
  }
  bool quotes = file.family == FileFamily::json || file.family == FileFamily::yaml;
  row.format.bare = bare.value_or(quotes && row.feed == Row::Feed::formula);
  if (!named || feed == nullptr) {
    if (out_.count(Severity::error) == errors)
      wrong(Code::dialect_row, span, named ? fmt::format("nothing feeds the row '{}'", row.key) : "the row has no key",
            named ? "add `from:` with a setting or a formula, or `text:`, `script:`, `tell:` or `file:`"
                  : "add `key:` with the other program's key");
    return;
  }
  if (row.feed != Row::Feed::formula && (format != nullptr || row.unset))
    wrong(Code::dialect_row, format != nullptr ? format->key.span : row.span,
          fmt::format("the row '{}' is fed by '{}', which has no such format", row.key, feed->key.text),
          "the format of a value stands in rows with `from:`");
  if (row.feed == Row::Feed::formula) bind_number(row, unit);
  check_row(row, file);
  if (out_.count(Severity::error) == errors) rows_.push_back(std::move(row));
}

// False where nothing more can be said of the row.
bool RowReader::read_feed(const Field& field, Row& row) {
  std::string_view word = field.key.text;
  if (word == "text" && doc_[field.value].kind == NodeKind::list) {
    row.feed = Row::Feed::constant;
    row.constant_list = true;
    for (std::uint32_t at = field.value + 1; at < doc_[field.value].next; at = doc_[at].next) {
      if (doc_[at].kind == NodeKind::scalar) row.constant.push_back(doc_[at].text.text);
      else read_.wrong(doc_[at].text.span, "an item of 'text' is no text", "write one text an item");
    }
    return true;
  }
  auto given = word == "text" ? text(field) : read_.scalar(field);
  if (!given) return false;
  if (word == "from") {
    row.feed = Row::Feed::formula;
    auto read = formula(*given, std::nullopt, "");
    if (!read) return false;
    row.formula = std::move(*read);
    row.one_key = row.formula.nodes[row.formula.root].op == FormulaOp::key;
  } else if (word == "script") {
    row.feed = Row::Feed::script;
    auto slot = slot_named(given->text);
    if (!slot) {
      read_.unknown(*given, Code::choice_unknown, "script", {"start", "layer", "pause", "end"});
      return false;
    }
    row.slot = *slot;
  } else if (word == "text") {
    row.feed = Row::Feed::constant;
    row.constant = {given->text};
  } else if (word == "tell") {
    row.feed = Row::Feed::told;
    auto told = told_named(given->text);
    if (!told) {
      read_.unknown(*given, Code::choice_unknown, "thing that can be told", told_words());
      return false;
    }
    row.told = *told;
  } else {
    row.feed = Row::Feed::file;
    auto at = std::find(files_.begin(), files_.end(), given->text);
    if (at == files_.end()) {
      read_.unknown(*given, Code::choice_unknown, "file of the dialect", files_);
      return false;
    }
    row.file = static_cast<std::size_t>(at - files_.begin());
  }
  return true;
}

void RowReader::read_format(const Field& field, Row& row, std::optional<Text>& unit) {
  std::string_view word = field.key.text;
  RowFormat& format = row.format;
  if (word == "words") return read_words(field, row);
  if (word == "pad" || word == "plus" || word == "rounds") {
    (word == "pad"    ? format.padded
     : word == "plus" ? format.signed_always
                      : format.rounds) = read_.flag(field).value_or(false);
    return;
  }
  auto given = word == "join" || word == "suffix" ? text(field) : read_.scalar(field);
  if (!given) return;
  if (word == "in") {
    unit = *given;
  } else if (word == "decimals") {
    int number = 0;
    auto [end, failure] = std::from_chars(given->text.data(), given->text.data() + given->text.size(), number);
    bool whole = failure == std::errc() && end == given->text.data() + given->text.size();
    if (!whole || number < 0 || number > most_decimals)
      wrong(Code::value_malformed, given->span, fmt::format("'{}' is no number of decimals", given->text),
            fmt::format("write 0 to {}", most_decimals));
    else format.decimals = number;
  } else if (word == "point") {
    if (given->text == "." || given->text == ",") format.point = given->text;
    else
      wrong(Code::value_malformed, given->span, fmt::format("'{}' is no decimal sign", given->text),
            "write \".\" or \",\"");
  } else if (word == "suffix") {
    format.suffix = given->text;
  } else if (word == "yes") {
    format.yes = given->text;
  } else if (word == "no") {
    format.no = given->text;
  } else {
    format.joined = given->text;
  }
}

void RowReader::read_words(const Field& field, Row& row) {
  row.format.mapped = true;
  for (const Field& pair : read_.fields(field.value, "'words'")) {
    if (!read_.within(row.format.words.size() + 1, most::list_items, field.key.span, "words")) return;
    if (auto word = text(pair)) row.format.words.emplace_back(pair.key.text, word->text);
  }
}

// The unit that numbers of the row stand in.
void RowReader::bind_number(Row& row, const std::optional<Text>& unit) {
  const FormulaNode& root = row.formula.nodes[row.formula.root];
  const Setting* setting = row.one_key ? &tree_.dictionary.settings[root.key] : nullptr;
  const FormulaType& type = row.formula.type();
  FormulaType item = setting != nullptr ? setting->item_type() : type;
  bool number = item.kind == FormulaType::Kind::number || item.kind == FormulaType::Kind::point;
  if (setting != nullptr && number) row.format.unit = setting->unit;
  if (!unit) {
    bool plain = item.kind == FormulaType::Kind::number && item.dimension.none();
    if (number && setting == nullptr && !plain)
      wrong(Code::unit_missing, row.formula.text.span,
            fmt::format("the row '{}' is {}, and does not say in which unit", row.key, item.words()),
            "add `in:` with the unit that the program reads");
    if (!number && setting == nullptr && item.kind == FormulaType::Kind::list)
      wrong(Code::dialect_row, row.formula.text.span, "a list feeds a row as a setting alone",
            "name the setting alone");
    return;
  }
  const Unit* found = tree_.dictionary.units->find(unit->text);
  if (found == nullptr) {
    std::string help = unit_help(unit->text);
    wrong(Code::unit_unknown, unit->span, fmt::format("unknown unit '{}'", unit->text),
          help.empty() ? "write a unit that UDUNITS-2 knows, such as `mm/min` or `degC`" : help);
    return;
  }
  bool fits = number &&
              found->dimension == (item.kind == FormulaType::Kind::point ? dimension::temperature() : item.dimension) &&
              (item.kind != FormulaType::Kind::point || found->point) &&
              (item.kind == FormulaType::Kind::point || !found->point);
  if (!fits)
    wrong(Code::dimension_mismatch, unit->span,
          fmt::format("the row '{}' is {}, which has no value in {}", row.key, item.words(), unit->text),
          !number                                 ? "take `in:` out"
          : item.kind == FormulaType::Kind::point ? "write a scale of temperature, as in `degC`"
                                                  : "write a unit of the same dimension");
  row.format.unit = found;
}

void RowReader::check_row(const Row& row, const DialectFile& file) {
  const FormulaNode* root = row.feed == Row::Feed::formula ? &row.formula.nodes[row.formula.root] : nullptr;
  bool list = root != nullptr && row.formula.type().kind == FormulaType::Kind::list;
  bool several = list || row.repeat || row.constant_list,
       flat = file.family == FileFamily::csv || file.family == FileFamily::text;
  if (flat && several && !row.format.joined)
    wrong(Code::dialect_row, row.span,
          fmt::format("the row '{}' is a list, and a file of the family {} holds one value a key", row.key,
                      name_of(file.family)),
          row.constant_list ? "write one text" : "add `join:` with what stands between the items");
  if (flat && !row.section.empty())
    wrong(Code::dialect_key, row.span,
          fmt::format("the row '{}' stands in a section, and a file of the family {} has none", row.key,
                      name_of(file.family)),
          "take the section out");
  if (row.format.joined && row.format.joined->empty())
    wrong(Code::dialect_row, row.span, fmt::format("nothing stands between the items of the row '{}'", row.key),
          "join them with a sign, so that they can be told apart");
  if (row.repeat && list)
    wrong(Code::dialect_row, row.span, fmt::format("the row '{}' repeats a list", row.key), "take `repeat:` out");
  if (row.format.mapped && root != nullptr && row.one_key) {
    const Setting& setting = tree_.dictionary.settings[root->key];
    for (const auto& [word, other] : row.format.words) {
      if (setting.type != Type::choice ||
          std::find(setting.choices.begin(), setting.choices.end(), word) != setting.choices.end())
        continue;
      wrong(Code::choice_unknown, row.span,
            fmt::format("the row '{}' has a spelling for '{}', which '{}' is never", row.key, word, setting.key),
            fmt::format("its words are {}", join_words({setting.choices.begin(), setting.choices.end()})));
    }
  }
  if (row.format.yes == row.format.no)
    wrong(Code::dialect_row, row.span, fmt::format("the row '{}' writes true and false alike", row.key),
          "give `yes:` and `no:` different words");
}

std::optional<Formula> RowReader::formula(const Text& text, const std::optional<FormulaType>& wanted,
                                          std::string_view what) {
  auto read = parse_formula(text, tree_.dictionary.scope(false), *tree_.dictionary.units, out_);
  if (!read || (wanted && !check_formula_type(*read, *wanted, what, out_))) return std::nullopt;
  return read;
}

std::vector<std::string_view> RowReader::section(const Field& field, const DialectFile& file) {
  std::vector<std::string_view> out;
  for (const Text& word : read_.words(field)) {
    check_name(file, word.text, word.span, true);
    out.push_back(word.text);
  }
  return out;
}

void RowReader::check_name(const DialectFile& file, std::string_view name, Span span, bool section) {
  if (file.family == FileFamily::text) return;
  std::string why = why_unfit(file.family, file.layout, name, section);
  if (why.empty()) return;
  wrong(Code::dialect_key, span, fmt::format("'{}' cannot stand in the file: {}", name, why),
        "write the key as the program has it, or choose its family");
}

std::optional<Text> RowReader::text(const Field& field) {
  const Node& node = doc_[field.value];
  if (node.kind == NodeKind::scalar) return node.text;
  return read_.scalar(field);
}

}  // namespace bindery
