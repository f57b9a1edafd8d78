#include "dialect/feed.h"

#include <cmath>

#include <fmt/format.h>

#include "base/number.h"
#include "check/finished.h"

namespace bindery {

namespace {

CellValue cell_of(const Value& value) {
  CellValue out;
  switch (value.tag()) {
    case Value::Tag::number:
      out.of = CellValue::Of::number;
      out.number = value.number();
      break;
    case Value::Tag::flag:
      out.of = CellValue::Of::flag;
      out.flag = value.flag();
      break;
    case Value::Tag::list:
      out.of = CellValue::Of::list;
      for (const Value& item : value.items()) out.items.push_back(cell_of(item));
      break;
    default: out.of = CellValue::Of::word; out.word = value.word();
  }
  return out;
}

void convert(CellValue& value, const Unit* from, const Unit* to) {
  if (value.of == CellValue::Of::number) value.number = converted(value.number, from, to);
  for (CellValue& item : value.items) convert(item, from, to);
}

}  // namespace

RowFeed::RowFeed(const Tree& tree, const Row& row) : tree_(tree), row_(row) {
  const FormulaType& type = row.formula.type();
  list_ = type.kind == FormulaType::Kind::list;
  FormulaType item = list_ && row.one_key ? tree.dictionary.settings[row.formula.keys.front()].item_type() : type;
  if (item.kind == FormulaType::Kind::number || item.kind == FormulaType::Kind::point) sort_ = CellValue::Of::number;
  else if (item.kind == FormulaType::Kind::flag) sort_ = CellValue::Of::flag;
}

std::optional<CellValue> RowFeed::value(const Profile& profile, std::string& why) const {
  if (row_.one_key) {
    KeyId key = row_.formula.keys.front();
    const Value& own = profile.cells[key].value;
    if (!own.has_value()) return std::nullopt;
    CellValue out = cell_of(own);
    convert(out, tree_.dictionary.settings[key].unit, row_.format.unit);
    return out;
  }
  Finished inputs(profile);
  FormulaResult result = evaluate(row_.formula, inputs);
  if (result.stop == FormulaStop::unset) return std::nullopt;
  if (result.stop != FormulaStop::none) {
    why = stop_message(row_.formula, result);
    return std::nullopt;
  }
  CellValue out = cell_of(result.value);
  if (out.of == CellValue::Of::number && row_.format.unit != nullptr)
    out.number = row_.format.unit->from_base(out.number);
  return out;
}

std::optional<double> RowFeed::at(const Profile& profile, double number) const {
  Finished inputs(profile);
  inputs.suppose(key(), Value::of_number(number));
  FormulaResult result = evaluate(row_.formula, inputs);
  if (result.stop != FormulaStop::none || !result.value.is(Value::Tag::number)) return std::nullopt;
  return row_.format.unit == nullptr ? result.value.number() : row_.format.unit->from_base(result.value.number());
}

std::optional<RowFeed::Line> RowFeed::line(const Profile& profile) const {
  if (key() == no_key || sort_ != CellValue::Of::number || list_) return std::nullopt;
  const Value& own = profile.cells[key()].value;
  if (!own.is(Value::Tag::number)) return std::nullopt;
  double from = own.number();
  auto here = at(profile, from), next = at(profile, from + 1), after = at(profile, from + 2);
  if (!here || !next || !after) return std::nullopt;
  double slope = *next - *here;
  if (slope == 0 || !same_number(*after, *here + 2 * slope)) return std::nullopt;
  return Line{from, *here, slope};
}

bool RowFeed::can_turn_back(const Profile& profile) const { return row_.one_key || line(profile).has_value(); }

std::optional<CellValue> RowFeed::turned_back(const Profile& profile, const CellValue& value) const {
  if (row_.one_key) {
    CellValue out = value;
    convert(out, row_.format.unit, tree_.dictionary.settings[key()].unit);
    return out;
  }
  auto found = line(profile);
  if (!found || value.of != CellValue::Of::number) return std::nullopt;
  CellValue out = value;
  out.number = found->from + (value.number - found->at_from) / found->slope;
  return out;
}

}  // namespace bindery
