#include "report/profile.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/words.h"
#include "report/line_diff.h"

namespace bindery {

namespace {

std::string cap_words(const Tree& tree, const Setting& setting, const Cap& cap) {
  std::string side = fmt::format("{} {}", cap.upper ? "at most" : "at least", written(setting, cap.limit));
  if (cap.bound == nullptr) return fmt::format("{}: the flow limit", side);
  return fmt::format("{}: {}, limit '{}'", side, tree[cap.bound->fragment].id(), cap.bound->pattern);
}

void place_json(const Tree& tree, FragmentId fragment, Span span, JsonWriter& json) {
  Position at = position_of((*tree.sources)[span.file], span.begin);
  json.open_object();
  json.field("fragment", tree[fragment].id()).field("file", (*tree.sources)[span.file].path);
  json.key("line").whole(static_cast<long long>(at.line)).key("column").whole(static_cast<long long>(at.column));
  json.close();
}

void cap_json(const Tree& tree, const Setting& setting, const Cap& cap, JsonWriter& json) {
  json.open_object();
  json.field("bound", cap.bound == nullptr ? "flow_limit" : cap.upper ? "at_most" : "at_least");
  json.field_or_null("pattern", cap.bound == nullptr ? std::string_view() : cap.bound->pattern);
  json.key("limit").number(cap.limit).key("uncapped").number(cap.uncapped);
  json.field_or_null("unit", setting.unit_text());
  json.key("from");
  if (cap.bound == nullptr) json.null();
  else place_json(tree, cap.bound->fragment, cap.bound->span, json);
  json.close();
}

std::string_view group_of(std::string_view key) { return key.substr(0, key.find('.')); }

// The lines of a text, indented.
std::string indented(std::string_view text, std::string_view indent) {
  std::string out;
  while (!text.empty()) {
    std::size_t end = std::min(text.find('\n'), text.size());
    out += fmt::format("{}{}\n", indent, text.substr(0, end));
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return out;
}

std::vector<KeyId> differing(const Tree& tree, const Profile& left, const Profile& right) {
  std::vector<KeyId> out;
  for (KeyId key = 0; key < tree.dictionary.settings.size(); ++key) {
    const Setting& setting = tree.dictionary.settings[key];
    if (written(setting, left.cells[key].value) != written(setting, right.cells[key].value)) out.push_back(key);
  }
  return out;
}

}  // namespace

std::string source_of(const Tree& tree, const Profile& profile, KeyId key) {
  const Op* top = profile.top(key);
  if (top == nullptr || top->kind == OpKind::unset) return "default";
  Position at = position_of((*tree.sources)[top->key_span.file], top->key_span.begin);
  return fmt::format("{} {}:{}", name_of(top->kind), tree[top->fragment].id(), at.line);
}

std::string profile_text(const Tree& tree, const Selected& selected, const Profile& profile) {
  std::string out =
      fmt::format("{}  ({}, {})\n", profile_id(tree, profile.triple), name_of(selected.tier), name_of(selected.status));
  const auto& settings = tree.dictionary.settings;
  std::size_t widest_key = 0, widest_value = 0;
  for (KeyId key = 0; key < settings.size(); ++key) {
    if (!profile.cells[key].value.has_value()) continue;
    widest_key = std::max(widest_key, settings[key].key.size());
    widest_value =
        std::max(widest_value, std::min<std::size_t>(written(settings[key], profile.cells[key].value).size(), 24));
  }
  // Groups in the order in which the dictionary first names them.
  std::vector<std::string_view> groups;
  for (const Setting& setting : settings) {
    if (std::find(groups.begin(), groups.end(), group_of(setting.key)) == groups.end())
      groups.push_back(group_of(setting.key));
  }
  for (std::string_view group : groups) {
    std::string rows;
    for (KeyId key = 0; key < settings.size(); ++key) {
      const Cell& cell = profile.cells[key];
      if (group_of(settings[key].key) != group || !cell.value.has_value()) continue;
      rows += fmt::format("  {:<{}}  {:<{}}  {}", settings[key].key, widest_key, written(settings[key], cell.value),
                          widest_value, source_of(tree, profile, key));
      if (cell.cap >= 0)
        rows += fmt::format("; capped from {} ({})",
                            written(settings[key], profile.caps[static_cast<std::size_t>(cell.cap)].uncapped),
                            cap_words(tree, settings[key], profile.caps[static_cast<std::size_t>(cell.cap)]));
      rows += '\n';
    }
    if (!rows.empty()) out += fmt::format("\n{}\n{}", group, rows);
  }
  for (std::size_t slot = 0; slot < script_slots; ++slot) {
    if (profile.scripts[slot])
      out += fmt::format("\nscript {}\n{}", name_of(static_cast<ScriptSlot>(slot)),
                         indented(*profile.scripts[slot], "  | "));
  }
  return out;
}

std::string profile_json(const Tree& tree, const Selected& selected, const Profile& profile) {
  JsonWriter json;
  json.open_object();
  json.field("profile", profile_id(tree, profile.triple))
      .field("tier", name_of(selected.tier))
      .field("status", name_of(selected.status));
  json.key("settings").open_object();
  for (KeyId key = 0; key < tree.dictionary.settings.size(); ++key) {
    const Setting& setting = tree.dictionary.settings[key];
    const Cell& cell = profile.cells[key];
    if (!cell.value.has_value()) continue;
    json.key(setting.key).open_object().key("value");
    value_json(cell.value, json);
    json.field_or_null("unit", setting.unit_text());
    json.field("how", profile.how(key)).key("capped_by");
    if (cell.cap < 0) json.null();
    else cap_json(tree, setting, profile.caps[static_cast<std::size_t>(cell.cap)], json);
    json.key("from");
    const Op* top = profile.top(key);
    if (top == nullptr || top->kind == OpKind::unset) json.null();
    else place_json(tree, top->fragment, top->key_span, json);
    json.close();
  }
  json.close().key("scripts").open_object();
  for (std::size_t slot = 0; slot < script_slots; ++slot) {
    if (profile.scripts[slot]) json.field(name_of(static_cast<ScriptSlot>(slot)), *profile.scripts[slot]);
  }
  json.close().close();
  return json.finish();
}

std::string comparison_text(const Tree& tree, const Profile& left, const Profile& right) {
  std::string a = profile_id(tree, left.triple), b = profile_id(tree, right.triple);
  std::string out = fmt::format("a  {}\nb  {}\n", a, b);
  auto keys = differing(tree, left, right);
  const auto& settings = tree.dictionary.settings;
  std::size_t widest_key = 0, widest_value = 1;
  for (KeyId key : keys) {
    widest_key = std::max(widest_key, settings[key].key.size());
    widest_value =
        std::max(widest_value, std::min<std::size_t>(written(settings[key], left.cells[key].value).size(), 24));
  }
  if (!keys.empty()) out += '\n';
  for (KeyId key : keys) {
    out += fmt::format("{:<{}}  {:<{}}  {}\n", settings[key].key, widest_key,
                       written(settings[key], left.cells[key].value), widest_value,
                       written(settings[key], right.cells[key].value));
  }
  std::size_t scripts = 0;
  for (std::size_t slot = 0; slot < script_slots; ++slot) {
    if (left.scripts[slot] == right.scripts[slot]) continue;
    ++scripts;
    out += fmt::format("\nscript {}\n", name_of(static_cast<ScriptSlot>(slot)));
    std::string of_left = left.scripts[slot].value_or(""), of_right = right.scripts[slot].value_or("");
    for (const DiffLine& line : line_diff(of_left, of_right)) {
      out += fmt::format("  {} | {}\n",
                         line.side == DiffLine::Side::both   ? ' '
                         : line.side == DiffLine::Side::left ? 'a'
                                                             : 'b',
                         line.text);
    }
  }
  out += fmt::format("\n{} and {} differ\n", counted(keys.size(), "setting"), counted(scripts, "script"));
  return out;
}

std::string comparison_json(const Tree& tree, const Profile& left, const Profile& right) {
  JsonWriter json;
  json.open_object().field("a", profile_id(tree, left.triple)).field("b", profile_id(tree, right.triple));
  json.key("settings").open_object();
  for (KeyId key : differing(tree, left, right)) {
    const Setting& setting = tree.dictionary.settings[key];
    json.key(setting.key).open_object().key("a");
    value_json(left.cells[key].value, json);
    json.key("b");
    value_json(right.cells[key].value, json);
    json.field_or_null("unit", setting.unit_text()).close();
  }
  json.close().key("scripts").open_object();
  for (std::size_t slot = 0; slot < script_slots; ++slot) {
    if (left.scripts[slot] == right.scripts[slot]) continue;
    json.key(name_of(static_cast<ScriptSlot>(slot))).open_object();
    for (const auto& [name, script] : {std::pair{"a", &left.scripts[slot]}, std::pair{"b", &right.scripts[slot]}}) {
      json.key(name);
      if (*script) json.text(**script);
      else json.null();
    }
    json.close();
  }
  json.close().close();
  return json.finish();
}

}  // namespace bindery
