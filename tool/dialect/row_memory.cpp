#include "dialect/row_memory.h"

namespace bindery {

namespace {

// Bytes that are equal for equal values alone.
void add_value(const Value& value, std::string& out) {
  out += static_cast<char>(value.tag());
  double number = value.number();
  std::size_t size = value.is(Value::Tag::list) ? value.items().size() : value.word().size();
  out.append(reinterpret_cast<const char*>(&number), sizeof number);
  out.append(reinterpret_cast<const char*>(&size), sizeof size);
  out += value.flag() ? '1' : '0';
  out += value.word();
  for (const Value& item : value.items()) add_value(item, out);
}

}  // namespace

const std::optional<CellText>* RowMemory::find(const Row& row, const Profile& profile) {
  const Row* which = &row;
  key_.assign(reinterpret_cast<const char*>(&which), sizeof which);
  for (const Formula* formula : {&row.formula, row.repeat ? &*row.repeat : nullptr}) {
    if (formula == nullptr) continue;
    for (KeyId key : formula->keys) add_value(profile.cells[key].value, key_);
  }
  auto at = texts_.find(key_);
  return at == texts_.end() ? nullptr : &at->second;
}

void RowMemory::keep(std::optional<CellText> text) {
  constexpr std::size_t most = 100'000;
  if (texts_.size() < most) texts_.emplace(key_, std::move(text));
}

}  // namespace bindery
