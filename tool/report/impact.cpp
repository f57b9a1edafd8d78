#include "report/impact.h"

#include <algorithm>
#include <map>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/number.h"
#include "base/words.h"
#include "report/change_sections.h"
#include "report/diagnostics.h"
#include "report/markdown.h"
#include "report/step_words.h"

namespace bindery {

namespace {

constexpr std::size_t most_rows = 40, most_problems = 60, most_files = 40;
constexpr std::array<std::string_view, ask_count> ask_titles = {"Nozzle temperature", "Bed temperature",
                                                                "Chamber temperature", "Flow"};
constexpr std::array<std::string_view, ask_count> ask_units = {"degC", "degC", "degC", "mm^3/s"};

std::string rounded(double value) { return write_number(std::round(value * 1000) / 1000); }

// One line of the table of values: a setting's step and the profiles that take it.
struct Row {
  bool thermal = false;
  std::uint32_t setting = 0, before = 0, after = 0;
  std::vector<std::uint32_t> profiles;
};

std::vector<Row> rows_of(const Changes& changes, const std::vector<Change>& list) {
  std::map<std::tuple<bool, std::uint32_t, std::uint32_t, std::uint32_t>, std::vector<std::uint32_t>> steps;
  for (const Change& change : list) {
    for (const Effect& effect : change.effects)
      steps[{!changes.settings[effect.setting].thermal, effect.setting, effect.before, effect.after}].push_back(
          effect.profile);
  }
  std::vector<Row> rows;
  for (auto& [key, profiles] : steps) {
    const auto& [cool, setting, before, after] = key;
    rows.push_back({!cool, setting, before, after, std::move(profiles)});
  }
  return rows;
}

std::string profiles_words(const Changes& changes, const std::vector<std::uint32_t>& profiles) {
  std::string first = code(changes.profiles[profiles.front()].id);
  return profiles.size() == 1 ? first : fmt::format("{}, such as {}", profiles.size(), first);
}

std::string setting_words(const SettingName& setting) {
  return setting.title.empty() || setting.title == setting.key
             ? code(setting.key)
             : fmt::format("{} {}", plain_text(setting.title), code(setting.key));
}

class ImpactText {
 public:
  ImpactText(const Verdict& verdict, const Sources& sources, const ImpactView& view)
      : verdict_(verdict), sources_(sources), view_(view) {}

  std::string write() {
    bool fails = verdict_.brought.any_errors() || verdict_.withheld[0] > 0;
    bool warned = verdict_.brought.count(Severity::warning) > 0 || verdict_.withheld[1] > 0;
    fails |= view_.strict && warned;
    out_ = fmt::format("## Contribution: {}\n\n{}.\n", fails ? "not yet" : "passes", sentence(verdict_words(verdict_)));
    out_ += fmt::format("\nJudged against {}: {}, {} resolved.\n", plain_text(view_.base),
                        counted(view_.files.size(), "file"), counted(verdict_.reached, "profile"));
    add_files();
    if (!verdict_.brought.items().empty())
      out_ += "\n### Problems that it brings\n\n" + problems_markdown(verdict_.brought, sources_);
    if (!verdict_.changes) {
      out_ += "\n### What it changes\n\nThis can be told once the dictionary and the plan can be read.\n";
      return std::move(out_);
    }
    add_changes();
    add_values();
    add_caps();
    add_highest();
    add_tiers();
    out_ +=
        "\nProfiles certify nothing: machines are hot and move. Print attended, ventilate, and let the machine's "
        "manual "
        "and local rules prevail.\n";
    return std::move(out_);
  }

 private:
  static std::string sentence(std::string words) {
    if (!words.empty() && words.front() >= 'a' && words.front() <= 'z')
      words.front() = static_cast<char>(words.front() - 'a' + 'A');
    return words;
  }

  void add_files() {
    if (view_.files.empty()) return;
    out_ += "\n<details><summary>Files</summary>\n\n";
    for (std::size_t i = 0; i < std::min(view_.files.size(), most_files); ++i)
      out_ += fmt::format("- {}\n", code(view_.files[i]));
    if (view_.files.size() > most_files) out_ += fmt::format("- and {} more\n", view_.files.size() - most_files);
    out_ += "\n</details>\n";
  }

  const Changes& changes() const { return *verdict_.changes; }

  void add_changes() {
    std::string told = sections_markdown(change_sections(changes(), {}), "####");
    out_ += "\n### What it changes\n";
    std::size_t changed = changed_profiles(changes()).size();
    out_ += fmt::format("\n{} added, {} removed, {} changed.\n", counted(changes().added.size(), "profile"),
                        changes().removed.size(), changed);
    out_ += told.empty() ? no_sections_words(changes()) : told;
  }

  void add_values() {
    std::vector<Row> rows = rows_of(changes(), changes().changes);
    if (rows.empty()) return;
    out_ += "\n### Values\n\n| Setting | Before | After | Profiles |\n| --- | --- | --- | --- |\n";
    for (std::size_t i = 0; i < std::min(rows.size(), most_rows); ++i) {
      const Row& row = rows[i];
      const SettingName& setting = changes().settings[row.setting];
      out_ += fmt::format("| {} | {} | {} | {} |\n", cell(setting_words(setting)),
                          cell(value_words(changes().values[row.before], setting.old_unit)),
                          cell(value_words(changes().values[row.after], setting.unit)),
                          cell(profiles_words(changes(), row.profiles)));
    }
    if (rows.size() > most_rows) out_ += fmt::format("\nAnd {}.\n", counted(rows.size() - most_rows, "more step"));
  }

  // A bar would end a cell of the table, even in a code span.
  static std::string cell(std::string text) {
    std::string out;
    for (char c : text) {
      bool bar = c == '|' && (out.empty() || out.back() != '\\');
      out += bar ? std::string("\\|") : std::string(1, c);
    }
    return out;
  }

  void add_caps() {
    std::vector<Row> rows = rows_of(changes(), changes().caps);
    std::erase_if(rows, [&](const Row& row) { return changes().values[row.after].json == "null"; });
    if (rows.empty()) return;
    out_ += "\n### Newly held at a limit\n\n";
    for (std::size_t i = 0; i < std::min(rows.size(), most_rows); ++i) {
      const SettingName& setting = changes().settings[rows[i].setting];
      auto cap = nlohmann::json::parse(changes().values[rows[i].after].json, nullptr, false);
      auto number = [&](const char* key) {
        return cap.is_object() && cap.contains(key) && cap[key].is_number() ? write_number(cap[key].get<double>())
                                                                            : "?";
      };
      std::string unit = setting.unit.empty() ? "" : " " + setting.unit;
      out_ += fmt::format("- {} asks for {}{} and gets {}{}: {}\n", setting_words(setting), number("uncapped"), unit,
                          number("limit"), unit, profiles_words(changes(), rows[i].profiles));
    }
    if (rows.size() > most_rows) out_ += fmt::format("- and {} more\n", rows.size() - most_rows);
  }

  void add_highest() {
    bool any = std::any_of(verdict_.highest.begin(), verdict_.highest.end(),
                           [](const Highest& each) { return each.before || each.after; });
    if (!any) return;
    out_ += "\n### Highest asked for, in what it reaches\n\n| | Before | After | Where |\n| --- | --- | --- | --- |\n";
    for (std::size_t i = 0; i < ask_count; ++i) {
      const Highest& each = verdict_.highest[i];
      if (!each.before && !each.after) continue;
      auto told = [&](const std::optional<Highest::Side>& side) {
        return side ? fmt::format("{} {}", rounded(side->value), ask_units[i]) : std::string("-");
      };
      bool higher = each.after && (!each.before || each.after->value > each.before->value + 1e-9);
      out_ += fmt::format("| {} | {} | {}{}{} | {} |\n", ask_titles[i], told(each.before), higher ? "**" : "",
                          told(each.after), higher ? "**" : "", code((each.after ? each.after : each.before)->profile));
    }
  }

  void add_tiers() {
    std::vector<std::string> parts;
    for (Tier tier : {Tier::free, Tier::supporter}) {
      if (std::size_t count = verdict_.tiers[static_cast<std::size_t>(tier)])
        parts.push_back(fmt::format("{} of the {} tier", counted(count, "profile"), name_of(tier)));
    }
    if (!parts.empty()) out_ += fmt::format("\n### Tiers touched\n\n{}.\n", join_words(parts));
  }

 public:
  static std::vector<std::uint32_t> changed_profiles(const Changes& changes) {
    std::vector<std::uint32_t> out;
    auto add = [&](const auto& list) {
      for (const auto& change : list) {
        for (const auto& effect : change.effects) out.push_back(effect.profile);
      }
    };
    add(changes.changes);
    add(changes.caps);
    add(changes.scripts);
    for (const Move& move : changes.moved) out.push_back(move.profile);
    std::sort(out.begin(), out.end());
    out.erase(std::unique(out.begin(), out.end()), out.end());
    return out;
  }

 private:
  const Verdict& verdict_;
  const Sources& sources_;
  const ImpactView& view_;
  std::string out_;
};

void highest_json(const Highest& highest, std::string_view unit, JsonWriter& json) {
  json.open_object();
  auto number = [&](std::string_view key, const std::optional<Highest::Side>& side) {
    json.key(key);
    if (side) json.number(side->value);
    else json.null();
  };
  number("before", highest.before);
  number("after", highest.after);
  const auto& side = highest.after ? highest.after : highest.before;
  json.field("unit", unit).field("profile", side->profile).close();
}

}  // namespace

std::string verdict_words(const Verdict& verdict) {
  std::string out = fmt::format("the contribution brings {}", tally(verdict.brought));
  std::size_t withheld = verdict.withheld[0] + verdict.withheld[1] + verdict.withheld[2];
  if (withheld > 0)
    out += fmt::format("; {} more in what only supporters get ({})", counted(withheld, "problem"),
                       verdict.withheld[0] == 0 ? "no error" : counted(verdict.withheld[0], "error"));
  std::size_t standing = verdict.standing.items().size();
  if (standing > 0) out += fmt::format("; {} stood there before", counted(standing, "problem"));
  return out;
}

std::string problems_markdown(const Diagnostics& diagnostics, const Sources& sources) {
  std::string out;
  std::vector<const Diagnostic*> items;
  for (Severity severity : {Severity::error, Severity::warning, Severity::note}) {
    for (const Diagnostic& item : diagnostics.items()) {
      if (item.severity == severity) items.push_back(&item);
    }
  }
  for (std::size_t i = 0; i < std::min(items.size(), most_problems); ++i) {
    const Diagnostic& item = *items[i];
    out += fmt::format("- **{}** {}", name_of(item.severity), code(describe(item.code).name));
    if (item.span.known()) out += fmt::format(" at {}", code(place_text(sources, item.span)));
    out += fmt::format(": {}", plain_text(item.message));
    if (item.profiles == 1) out += fmt::format(" (in {})", code(item.profile));
    if (item.profiles > 1)
      out += fmt::format(" (in {}, the first {})", counted(item.profiles, "profile"), code(item.profile));
    if (!item.help.empty()) out += fmt::format("; {}", plain_text(item.help));
    out += '\n';
  }
  if (items.size() > most_problems) out += fmt::format("- and {} more\n", items.size() - most_problems);
  return out;
}

std::string impact_markdown(const Verdict& verdict, const Sources& sources, const ImpactView& view) {
  return ImpactText(verdict, sources, view).write();
}

void impact_json(const Verdict& verdict, JsonWriter& json) {
  if (!verdict.changes) {
    json.null();
    return;
  }
  const Changes& changes = *verdict.changes;
  auto ids = [&](std::string_view key, const std::vector<std::uint32_t>& profiles) {
    json.key(key).open_list();
    for (std::uint32_t each : profiles) json.text(changes.profiles[each].id);
    json.close();
  };
  auto steps = [&](std::string_view key, const std::vector<Change>& list) {
    json.key(key).open_list();
    for (const Row& row : rows_of(changes, list)) {
      const SettingName& setting = changes.settings[row.setting];
      json.open_object().field("setting", setting.key);
      json.key("before").ready(changes.values[row.before].json).key("after").ready(changes.values[row.after].json);
      json.field_or_null("unit", setting.unit);
      ids("profiles", row.profiles);
      json.close();
    }
    json.close();
  };
  json.open_object().key("profiles").open_object();
  ids("added", changes.added);
  ids("removed", changes.removed);
  json.key("changed").whole(static_cast<long long>(ImpactText::changed_profiles(changes).size())).close();
  steps("values", changes.changes);
  steps("capped", changes.caps);
  json.key("highest").open_object();
  for (std::size_t i = 0; i < ask_count; ++i) {
    if (!verdict.highest[i].before && !verdict.highest[i].after) continue;
    json.key(name_of(static_cast<Ask>(i)));
    highest_json(verdict.highest[i], ask_units[i], json);
  }
  json.close();
  json.key("tiers").open_list();
  for (Tier tier : {Tier::free, Tier::supporter}) {
    if (verdict.tiers[static_cast<std::size_t>(tier)] > 0) json.text(name_of(tier));
  }
  json.close().close();
}

}  // namespace bindery
