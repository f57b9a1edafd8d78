#include "report/lists.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/json.h"
#include "base/number.h"
#include "report/profile.h"

namespace bindery {

namespace {

using Rows = std::vector<std::vector<std::string>>;

std::string kinds_words(const std::array<bool, kind_count>& kinds) {
  std::string out;
  for (Kind kind : all_kinds) {
    if (kinds[static_cast<std::size_t>(kind)]) out += fmt::format("{}{}", out.empty() ? "" : " ", name_of(kind));
  }
  return out;
}

void interval_json(const std::optional<Interval>& interval, JsonWriter& json) {
  if (!interval) json.null();
  else json.open_list().number(interval->low).number(interval->high).close();
}

std::string unit_or_type(const Setting& setting) {
  std::string word = setting.unit != nullptr ? setting.unit->text : std::string(name_of(setting.type));
  return setting.list ? fmt::format("list of {}", word) : word;
}

std::string default_words(const Setting& setting) {
  if (setting.formula_default) return fmt::format("= {}", setting.default_text);
  return setting.literal_default.has_value() ? written(setting, setting.literal_default) : "none";
}

void setting_json(const Setting& setting, JsonWriter& json) {
  json.open_object();
  json.field("key", setting.key).field("title", setting.title).field("about", setting.about);
  json.key("kinds").open_list();
  for (Kind kind : all_kinds) {
    if (setting.written_by[static_cast<std::size_t>(kind)]) json.text(name_of(kind));
  }
  json.close().field("type", name_of(setting.type)).key("list").flag(setting.list);
  json.field_or_null("unit", setting.unit == nullptr ? std::string_view() : std::string_view(setting.unit->text))
      .key("range");
  interval_json(setting.range, json);
  json.key("typical");
  interval_json(setting.typical, json);
  json.key("choices").open_list();
  for (std::string_view choice : setting.choices) json.text(choice);
  json.close().key("default");
  if (setting.formula_default) json.open_object().field("calc", setting.default_text).close();
  else if (setting.literal_default.is(Value::Tag::number) && setting.unit != nullptr)
    json.text(written(setting, setting.literal_default));
  else value_json(setting.literal_default, json);
  json.field_or_null("reason", setting.reason).key("required").flag(setting.required).key("fact").flag(setting.fact);
  json.field("over_limit", setting.refuse ? "refuse" : "cap").field("source", setting.source).close();
}

}  // namespace

std::string table_text(const Rows& rows) {
  std::vector<std::size_t> widths;
  for (const auto& row : rows) {
    widths.resize(std::max(widths.size(), row.size()));
    for (std::size_t i = 0; i < row.size(); ++i) widths[i] = std::max(widths[i], row[i].size());
  }
  std::string out;
  for (const auto& row : rows) {
    std::string line;
    for (std::size_t i = 0; i < row.size(); ++i)
      line += i + 1 == row.size() ? row[i] : fmt::format("{:<{}}  ", row[i], widths[i]);
    while (line.ends_with(' ')) line.pop_back();
    out += line + '\n';
  }
  return out;
}

std::string fragments_text(const Tree& tree, Kind kind) {
  Rows rows = {{"NAME", "TIER", "STATUS", "TITLE"}};
  for (FragmentId id : tree.of_kind[static_cast<std::size_t>(kind)]) {
    const BoundFragment& fragment = tree[id];
    if (fragment.abstract) continue;
    rows.push_back({fragment.raw->name, std::string(name_of(fragment.chain_tier)),
                    std::string(name_of(fragment.status)), std::string(tree[id].title)});
  }
  return table_text(rows);
}

std::string fragments_json(const Tree& tree, Kind kind) {
  JsonWriter json;
  json.open_list();
  for (FragmentId id : tree.of_kind[static_cast<std::size_t>(kind)]) {
    const BoundFragment& fragment = tree[id];
    json.open_object().field("id", fragment.id()).field("name", fragment.name()).field("title", tree[id].title);
    json.field_or_null("about", fragment.raw->about ? fragment.raw->about->text : std::string_view());
    json.field("tier", name_of(fragment.chain_tier))
        .field("status", name_of(fragment.status))
        .key("abstract")
        .flag(fragment.abstract);
    json.field("file", (*tree.sources)[fragment.raw->file].path);
    json.key("extends").open_list();
    for (FragmentId parent : fragment.extends) json.text(tree[parent].id());
    json.close().close();
  }
  json.close();
  return json.finish();
}

std::string profiles_text(const Tree& tree, const Selection& selection) {
  Rows rows = {{"PROFILE", "TIER", "STATUS"}};
  for (const Selected& each : selection.profiles)
    rows.push_back({profile_id(tree, each.triple), std::string(name_of(each.tier)), std::string(name_of(each.status))});
  return table_text(rows);
}

std::string profiles_json(const Tree& tree, const Selection& selection) {
  JsonWriter json;
  json.open_list();
  for (const Selected& each : selection.profiles) {
    json.open_object()
        .field("id", profile_id(tree, each.triple))
        .field("tier", name_of(each.tier))
        .field("status", name_of(each.status));
    json.key("sets").open_list();
    for (std::uint32_t set : each.sets) json.text(tree.plan.sets[set].name.text);
    json.close().close();
  }
  json.close();
  return json.finish();
}

namespace {

std::size_t profiles_in(const Selection& selection, std::uint32_t set) {
  return static_cast<std::size_t>(std::count_if(
      selection.profiles.begin(), selection.profiles.end(),
      [&](const Selected& each) { return std::find(each.sets.begin(), each.sets.end(), set) != each.sets.end(); }));
}

}  // namespace

std::string sets_text(const Tree& tree, const Selection& selection) {
  Rows rows = {{"SET", "TIER", "PROFILES", "TITLE"}};
  for (std::uint32_t i = 0; i < tree.plan.sets.size(); ++i) {
    const PlanSet& set = tree.plan.sets[i];
    rows.push_back({std::string(set.name.text), std::string(name_of(set.tier)),
                    std::to_string(profiles_in(selection, i)), std::string(set.title)});
  }
  return table_text(rows);
}

std::string sets_json(const Tree& tree, const Selection& selection) {
  JsonWriter json;
  json.open_list();
  for (std::uint32_t i = 0; i < tree.plan.sets.size(); ++i) {
    const PlanSet& set = tree.plan.sets[i];
    json.open_object().field("id", set.name.text).field("title", set.title).field("tier", name_of(set.tier));
    json.key("profiles").whole(static_cast<long long>(profiles_in(selection, i))).close();
  }
  json.close();
  return json.finish();
}

std::string settings_text(const Dictionary& dictionary) {
  Rows rows = {{"KEY", "WRITTEN BY", "UNIT", "DEFAULT", "TITLE"}};
  for (const Setting& setting : dictionary.settings) {
    std::string standard = default_words(setting);
    if (standard.size() > 40) standard = standard.substr(0, 37) + "...";
    rows.push_back({std::string(setting.key), kinds_words(setting.written_by), unit_or_type(setting), standard,
                    std::string(setting.title)});
  }
  return table_text(rows);
}

std::string settings_json(const Dictionary& dictionary) {
  JsonWriter json;
  json.open_list();
  for (const Setting& setting : dictionary.settings) setting_json(setting, json);
  json.close();
  return json.finish();
}

std::string rules_text(const Dictionary& dictionary) {
  Rows rows = {{"RULE", "SEVERITY", "ASSERTS"}};
  for (const Rule& rule : dictionary.rules)
    rows.push_back(
        {std::string(rule.name), std::string(name_of(rule.severity)), std::string(rule.assertion.text.text)});
  return table_text(rows);
}

std::string rules_json(const Dictionary& dictionary) {
  JsonWriter json;
  json.open_list();
  for (const Rule& rule : dictionary.rules) {
    json.open_object()
        .field("id", rule.name)
        .field("severity", name_of(rule.severity))
        .field("assert", rule.assertion.text.text);
    json.field("say", rule.say_text).field_or_null("help", rule.help).field("source", rule.source).close();
  }
  json.close();
  return json.finish();
}

std::string codes_text() {
  Rows rows = {{"CODE", "SEVERITY", "TITLE"}};
  for (const CodeEntry& entry : all_codes())
    rows.push_back({std::string(entry.name), std::string(name_of(entry.severity)), std::string(entry.title)});
  return table_text(rows);
}

std::string codes_json() {
  JsonWriter json;
  json.open_list();
  for (const CodeEntry& entry : all_codes()) {
    json.open_object()
        .field("id", entry.name)
        .field("severity", name_of(entry.severity))
        .field("title", entry.title)
        .field("explanation", entry.explanation)
        .close();
  }
  json.close();
  return json.finish();
}

}  // namespace bindery
