// Looking up settings and roles.
#include "schema/dictionary.h"

#include <algorithm>

#include "base/words.h"

namespace bindery {

namespace {

constexpr std::array<std::string_view, 5> type_names = {"quantity", "count", "choice", "flag", "text"};
}  // namespace

std::string_view name_of(Type type) { return type_names[static_cast<std::size_t>(type)]; }

bool concerns_heat(const Setting& setting) {
  if (setting.unit == nullptr) return false;
  const Dimension heat = dimension::temperature();
  for (std::size_t i = 0; i < Dimension::size; ++i) {
    if (heat.power[i] != 0 && setting.unit->dimension.power[i] != 0) return true;
  }
  return false;
}

std::string_view Setting::unit_text() const {
  return unit == nullptr || unit->bare() ? std::string_view() : std::string_view(unit->text);
}

FormulaType Setting::formula_type() const { return list ? FormulaType{FormulaType::Kind::list, {}} : item_type(); }

FormulaType Setting::item_type() const {
  switch (type) {
    case Type::quantity:
      if (unit->point) return {FormulaType::Kind::point, {}};
      return {FormulaType::Kind::number, unit->dimension};
    case Type::count: return {FormulaType::Kind::number, {}};
    case Type::flag: return {FormulaType::Kind::flag, {}};
    default: return {FormulaType::Kind::word, {}};
  }
}

KeyId Dictionary::find(std::string_view key) const {
  auto at = index.find(key);
  return at == index.end() ? no_key : at->second;
}

std::string Dictionary::nearest_key(std::string_view key) const {
  std::vector<std::string_view> keys;
  keys.reserve(settings.size());
  for (const Setting& setting : settings) keys.push_back(setting.key);
  return nearest(key, keys);
}

bool Dictionary::is_group(std::string_view key) const {
  return std::any_of(settings.begin(), settings.end(), [&](const Setting& s) {
    return s.key.size() > key.size() && s.key.starts_with(key) && s.key[key.size()] == '.';
  });
}

FormulaScope Dictionary::scope(bool facts_only) const {
  FormulaScope scope;
  scope.facts_only = facts_only;
  scope.find = [this](std::string_view key) -> std::optional<FormulaScope::Key> {
    KeyId id = find(key);
    if (id == no_key) return std::nullopt;
    const Setting& setting = settings[id];
    FormulaScope::Key found;
    found.id = id;
    found.poisoned = setting.broken && setting.unit == nullptr && setting.type == Type::quantity;
    if (!found.poisoned) found.type = setting.formula_type();
    found.unit = setting.list ? nullptr : setting.unit;
    found.fact = setting.fact;
    if (setting.type == Type::choice) found.choices = &setting.choices;
    return found;
  };
  scope.suggest = [this](std::string_view key) { return nearest_key(key); };
  return scope;
}

FormulaScope Dictionary::scope_for(const Setting& setting, bool may_inherit) const {
  FormulaScope out = scope(setting.fact);
  if (may_inherit) {
    out.inherited = setting.formula_type();
    out.inherited_unit = setting.list ? nullptr : setting.unit;
  }
  return out;
}

}  // namespace bindery
