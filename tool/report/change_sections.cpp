#include "report/change_sections.h"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "base/words.h"
#include "report/edit_words.h"
#include "report/line_diff.h"
#include "report/markdown.h"
#include "report/reach.h"
#include "report/step_words.h"

namespace bindery {

namespace {

constexpr std::size_t most_lines = 12;  // of one group, unless everything is to be listed
constexpr std::size_t most_pairs = 4;   // of values of one setting
constexpr std::size_t most_causes = 4;

class SectionWriter {
 public:
  SectionWriter(const Changes& changes, const SectionView& view)
      : changes_(changes), view_(view), list_(view.list), reach_(changes) {}

  Sections write() {
    add_sets();
    add_changes();
    add_scripts();
    add_dictionary();
    add_idle();
    return std::move(sections_);
  }

 private:
  using Indexes = std::vector<std::uint32_t>;

  void add(std::string_view section, std::string item) { sections_[std::string(section)].push_back(std::move(item)); }

  std::string cause_words(const Indexes& causes) const {
    if (causes.empty()) return "Archives do not tell why";
    std::vector<std::string> parts;
    for (std::uint32_t each : causes) {
      if (parts.size() < most_causes || list_ || causes.size() == most_causes + 1)
        parts.push_back(edit_words(changes_.edits[each]));
    }
    std::string out = fmt::format("{}", fmt::join(parts, "; "));
    if (parts.size() < causes.size())
      out += fmt::format("; and {}", counted(causes.size() - parts.size(), "more edit"));
    return out;
  }

  std::string names_of(const Indexes& profiles, std::string_view indent) const {
    if (!list_ || profiles.size() == 1) return {};
    std::string out;
    for (std::uint32_t each : profiles) out += fmt::format("{}- {}\n", indent, code(changes_.profiles[each].id));
    return out;
  }

  // A line on profiles that came, went or moved, with the edits that did it.
  void add_profiles(std::string_view section, std::string_view lead, const Indexes& profiles, const Indexes& causes) {
    if (profiles.empty()) return;
    std::string because = causes.empty() ? "" : fmt::format(": {}", cause_words(causes));
    add(section, fmt::format("- {}{}{}\n{}", lead, reach_.tell(profiles), because, names_of(profiles, "  ")));
  }

  void add_sets() {
    for (const SetChange& change : changes_.sets) {
      if (!view_.known) return;
      add_profiles("Added", view_.first ? "The first release: " : "New: ", change.added, change.causes);
      add_profiles("Removed", "", change.removed, change.causes);
      std::map<std::string, Indexes> moves;
      for (std::uint32_t each : change.moved) {
        const Move& move = changes_.moved[each];
        std::string words;
        if (move.tier != move.old_tier)
          words = move.tier == Tier::free ? "Now free for all: " : "Now for supporters alone: ";
        if (move.status != move.old_status)
          words += fmt::format("{} -> {}: ", name_of(move.old_status), name_of(move.status));
        moves[words].push_back(move.profile);
      }
      for (const auto& [words, profiles] : moves) add_profiles("Changed", words, profiles, change.causes);
    }
    add_renames();
  }

  void add_renames() {
    std::map<std::pair<std::string, std::string>, std::size_t> renames;
    for (const auto& [from, to] : changes_.renamed) {
      std::string_view old = changes_.profiles[from].id, now = changes_.profiles[to].id;
      for (std::string_view kind : {"machine", "material", "process"}) {
        std::string_view before = old.substr(0, old.find('/')), after = now.substr(0, now.find('/'));
        old.remove_prefix(std::min(before.size() + 1, old.size()));
        now.remove_prefix(std::min(after.size() + 1, now.size()));
        if (before != after) ++renames[{fmt::format("{} {}", kind, code(before)), code(after)}];
      }
    }
    for (const auto& [names, count] : renames)
      add("Changed",
          fmt::format("- Renamed: the {} is {} now ({})\n", names.first, names.second, counted(count, "profile")));
  }

  // One group of values: its causes, then a line a setting and step, and what a limit holds back.
  void add_changes() {
    std::map<Indexes, std::array<std::vector<Effect>, 2>> groups;
    for (const Change& change : changes_.changes) groups[change.causes][0] = change.effects;
    for (const Change& change : changes_.caps) groups[change.causes][1] = change.effects;
    for (const auto& [causes, effects] : groups) {
      for (bool thermal : {true, false}) {
        std::string lines = group_lines(causes, of_heat(effects[0], thermal), of_heat(effects[1], thermal));
        if (lines.empty()) continue;
        add(thermal ? "Safety" : "Changed",
            fmt::format("- {}{}:\n{}", thermal ? "Heat. " : "", cause_words(causes), lines));
      }
    }
  }

  std::vector<Effect> of_heat(const std::vector<Effect>& effects, bool thermal) const {
    std::vector<Effect> out;
    for (const Effect& effect : effects) {
      if (changes_.settings[effect.setting].thermal == thermal) out.push_back(effect);
    }
    return out;
  }

  // A line of a group, and whom it reaches.
  struct Line {
    std::string text;
    Indexes profiles;
  };

  // Lines that reach the same profiles stand together, in the order of the first of each.
  std::string written_out(const std::vector<Line>& lines) {
    std::vector<std::pair<std::string, std::vector<const Line*>>> groups;
    for (const Line& line : lines) {
      const std::string& reach = reach_.tell(line.profiles);
      auto at = std::find_if(groups.begin(), groups.end(), [&](const auto& group) { return group.first == reach; });
      if (at == groups.end()) at = groups.insert(at, {reach, {}});
      at->second.push_back(&line);
    }
    std::string out;
    for (const auto& [reach, members] : groups) {
      for (const Line* line : members) {
        bool again = line != members.front() && line->profiles.size() > 1;
        out += fmt::format("  - {}: {}\n{}", line->text, again ? "the same" : reach,
                           again ? "" : names_of(line->profiles, "    "));
      }
    }
    return out;
  }

  // What the causes name comes first, then what follows from it in the dictionary's order.
  std::string group_lines(const Indexes& causes, const std::vector<Effect>& values, const std::vector<Effect>& caps) {
    using Steps = std::map<std::pair<std::uint32_t, std::uint32_t>, Indexes>;
    std::map<std::pair<bool, std::uint32_t>, Steps> by_setting;
    auto named = [&](std::uint32_t setting) {
      return std::any_of(causes.begin(), causes.end(), [&](std::uint32_t cause) {
        return changes_.edits[cause].setting == changes_.settings[setting].key;
      });
    };
    for (const Effect& effect : values)
      by_setting[{!named(effect.setting), effect.setting}][{effect.before, effect.after}].push_back(effect.profile);
    std::vector<Line> lines;
    std::size_t settings = 0;
    for (const auto& [setting, steps] : by_setting) {
      if (settings == most_lines && !list_) break;
      add_steps(changes_.settings[setting.second], steps, lines);
      ++settings;
    }
    std::string out = written_out(lines);
    if (settings < by_setting.size())
      out += fmt::format("  - and {}\n", counted(by_setting.size() - settings, "more setting"));
    return out + written_out(cap_lines(caps));
  }

  template <typename Steps>
  void add_steps(const SettingName& setting, const Steps& steps, std::vector<Line>& lines) const {
    std::string title = title_of(setting);
    if (!list_ && steps.size() > 1) {
      std::vector<ValueStep> values;
      Indexes all;
      for (const auto& [step, profiles] : steps) {
        values.emplace_back(&changes_.values[step.first], &changes_.values[step.second]);
        all.insert(all.end(), profiles.begin(), profiles.end());
      }
      std::sort(all.begin(), all.end());
      std::string together = steps_words(values, setting, most_pairs);
      if (!together.empty()) return lines.push_back({fmt::format("{} {}", title, together), std::move(all)});
    }
    for (const auto& [step, profiles] : steps)
      lines.push_back(
          {fmt::format("{} {}", title, step_words(changes_.values[step.first], changes_.values[step.second], setting)),
           profiles});
  }

  std::vector<Line> cap_lines(const std::vector<Effect>& effects) const {
    std::map<std::pair<std::uint32_t, bool>, Indexes> reached;
    for (const Effect& effect : effects)
      reached[{effect.setting, changes_.values[effect.before].json == "null"}].push_back(effect.profile);
    std::vector<Line> lines;
    for (const auto& [what, profiles] : reached)
      lines.push_back({fmt::format("{} is {}", title_of(changes_.settings[what.first]),
                                   what.second ? "held at a limit now" : "no longer held at a limit"),
                       profiles});
    return lines;
  }

  // One group of scripts. Versions whose changed lines are the same are told once; where each writes its own values,
  // one is shown.
  void add_scripts() {
    for (const ScriptChange& change : changes_.scripts) {
      struct Version {
        std::string diff;
        Indexes profiles;
        std::set<std::pair<std::uint32_t, std::uint32_t>> texts;  // more than one: the lines around may differ
      };
      std::map<ScriptSlot, std::map<std::string, Version>> slots;
      for (const ScriptEffect& effect : change.effects) {
        const std::string &before = changes_.texts[effect.before], &after = changes_.texts[effect.after];
        Version& version = slots[effect.slot][changed_lines(before, after)];
        if (version.diff.empty()) version.diff = script_diff(before, after);
        version.profiles.push_back(effect.profile);
        version.texts.emplace(effect.before, effect.after);
      }
      std::string item = fmt::format("- Script. {}:\n", cause_words(change.causes));
      for (const auto& [slot, versions] : slots) {
        bool many = versions.size() > most_pairs && !list_;
        Indexes all;
        for (const auto& [lines, version] : versions)
          all.insert(all.end(), version.profiles.begin(), version.profiles.end());
        if (many)
          item += fmt::format("  - The {} script, in {} versions: {}; for example {}\n\n{}", bindery::name_of(slot),
                              versions.size(), reach_.tell(all),
                              code(changes_.profiles[versions.begin()->second.profiles.front()].id),
                              versions.begin()->second.diff);
        for (const auto& [lines, version] : versions) {
          if (many) break;
          const std::string& reach = reach_.tell(version.profiles);
          std::string first = code(changes_.profiles[version.profiles.front()].id);
          bool plain = version.texts.size() < 2 || reach.find(first) != std::string::npos;
          item += fmt::format("  - The {} script: {}{}\n{}\n{}", bindery::name_of(slot), reach,
                              plain ? std::string() : fmt::format("; for example {}", first),
                              names_of(version.profiles, "    "), version.diff);
        }
      }
      add("Safety", std::move(item));
    }
  }

  static std::string changed_lines(const std::string& before, const std::string& after) {
    std::string out;
    for (const DiffLine& line : line_diff(before, after)) {
      if (line.side != DiffLine::Side::both)
        out += fmt::format("{}{}\n", line.side == DiffLine::Side::left ? '-' : '+', line.text);
    }
    return out;
  }

  // Changed lines with two of what stands round them.
  static std::string script_diff(const std::string& before, const std::string& after) {
    std::vector<DiffLine> lines = line_diff(before, after);
    bool same =
        std::all_of(lines.begin(), lines.end(), [](const DiffLine& l) { return l.side == DiffLine::Side::both; });
    if (same) return "    The line break at its end.\n";
    std::vector<bool> shown(lines.size(), false);
    constexpr std::size_t around = 2;
    for (std::size_t i = 0; i < lines.size(); ++i) {
      if (lines[i].side == DiffLine::Side::both) continue;
      for (std::size_t j = i - std::min(i, around); j <= std::min(i + around, lines.size() - 1); ++j) shown[j] = true;
    }
    std::size_t longest = 0, run = 0;
    for (char c : before + after) {
      run = c == '`' ? run + 1 : 0;
      longest = std::max(longest, run);
    }
    std::string fence(std::max<std::size_t>(3, longest + 1), '`');
    std::string out = fmt::format("    {}diff\n", fence);
    for (std::size_t i = 0; i < lines.size(); ++i) {
      if (!shown[i]) continue;
      if (i > 0 && !shown[i - 1]) out += "    ...\n";
      char sign = lines[i].side == DiffLine::Side::both ? ' ' : lines[i].side == DiffLine::Side::left ? '-' : '+';
      out += fmt::format("    {}{}\n", sign, lines[i].text);
    }
    return out + fmt::format("    {}\n", fence);
  }

  static std::string title_of(const SettingName& setting) {
    return plain_text(setting.title.empty() ? setting.key : setting.title);
  }

  // What the dictionary says besides values, and who fits whom.
  void add_dictionary() {
    Indexes causes;
    for (const Change& change : changes_.changes)
      causes.insert(causes.end(), change.causes.begin(), change.causes.end());
    for (std::uint32_t i = 0; i < changes_.edits.size(); ++i) {
      const Edit& edit = changes_.edits[i];
      bool fits = edit.part == Part::fits;
      bool value = edit.part == Part::standard || edit.part == Part::unit || edit.part == Part::words;
      bool dictionary = edit.fragment == "schema" && !value;
      bool told_already = std::find(causes.begin(), causes.end(), i) != causes.end();
      bool dialect = edit.fragment.starts_with("dialect/");
      if (!edit.told || told_already || (!dictionary && !fits && !dialect)) continue;
      bool bound = edit.part == Part::range || edit.part == Part::over_limit;
      add((edit.thermal && bound) || concerns_scripts(edit) ? "Safety" : "Changed",
          fmt::format("- {}{}\n",
                      fits      ? "Compatibility: "
                      : dialect ? "For other programs: "
                                : "",
                      edit_words(edit)));
    }
  }

  static bool concerns_scripts(const Edit& edit) {
    return edit.part == Part::scripts || edit.part == Part::macros || edit.part == Part::code;
  }

  // Edits that change no value. What concerns heat or scripts is told where that is looked for.
  void add_idle() {
    Indexes safety, other;
    for (std::uint32_t each : changes_.idle) {
      const Edit& edit = changes_.edits[each];
      if (edit.part == Part::words || edit.part == Part::fits) continue;
      (edit.thermal || concerns_scripts(edit) ? safety : other).push_back(each);
    }
    add_idle("Safety", safety);
    add_idle("Changed", other);
  }

  void add_idle(std::string_view section, const Indexes& idle) {
    if (idle.empty()) return;
    std::vector<std::string> parts;
    for (std::uint32_t each : idle) {
      if (parts.size() < most_lines || list_) parts.push_back(edit_words(changes_.edits[each]));
    }
    std::string rest =
        parts.size() < idle.size() ? fmt::format("; and {}", counted(idle.size() - parts.size(), "more edit")) : "";
    add(section, fmt::format("- {} that {} no value: {}{}\n", counted(idle.size(), "edit"),
                             idle.size() == 1 ? "changes" : "change", fmt::join(parts, "; "), rest));
  }

  const Changes& changes_;
  const SectionView& view_;
  bool list_;
  ReachTeller reach_;
  Sections sections_;
};

}  // namespace

Sections change_sections(const Changes& changes, const SectionView& view) {
  return SectionWriter(changes, view).write();
}

std::string sections_markdown(const Sections& sections, std::string_view marks) {
  std::string out;
  for (std::string_view section : note_sections) {
    auto items = sections.find(std::string(section));
    if (items != sections.end() && !items->second.empty())
      out += fmt::format("\n{} {}\n\n{}", marks, section, fmt::join(items->second, ""));
  }
  return out;
}

// Titles and explanations are not told one by one.
std::string no_sections_words(const Changes& changes) {
  bool words = std::any_of(changes.edits.begin(), changes.edits.end(),
                           [](const Edit& edit) { return edit.told && edit.part == Part::words; });
  return words ? "\nWords alone changed: titles, explanations, texts.\n" : "\nNothing changed.\n";
}

}  // namespace bindery
