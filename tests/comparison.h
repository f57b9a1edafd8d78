// What the tests of comparisons share: two trees side by side, and their differences as short lines.
#pragma once

#include <algorithm>
#include <array>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "changes/changes.h"
#include "changes/edits.h"
#include "changes/trace.h"
#include "report/changelog.h"
#include "support.h"

namespace bindery::test {

// Two trees, aligned and loaded as a comparison does it: what both say alike is read once.
class Twins {
 public:
  Twins(const Files& before, const Files& after) : sources{sources_of(before), sources_of(after)} {
    align(sources[0], diagnostics[0], sources[1], diagnostics[1]);
    tree[1] = load_tree(sources[1], 1, diagnostics[1]);
    tree[0] = load_tree(sources[0], 1, diagnostics[0], {.like = &tree[1]});
    for (std::size_t side : {0u, 1u}) selection[side] = select_profiles(tree[side], diagnostics[side]);
    REQUIRE_MESSAGE(said() == "", said());
    map = map_fragments(tree[0], tree[1]);
    keys = common_keys(tree[0].dictionary, tree[1].dictionary);
  }
  Twins(const Twins&) = delete;
  Twins& operator=(const Twins&) = delete;

  Side side(std::size_t at) const { return {&tree[at], &selection[at]}; }
  EditTable edits(Tier audience = Tier::supporter) const { return find_edits(tree[0], tree[1], map, audience); }

  // Both sides must be sound.
  Changes changes(const View& view = {}) {
    Changes found = find_changes(side(0), side(1), view, 2, diagnostics[0], diagnostics[1]);
    CHECK_MESSAGE(said() == "", said());
    return found;
  }

  // The errors of both sides.
  std::string said() {
    std::string out;
    for (std::size_t at : {0u, 1u}) {
      diagnostics[at].settle();
      if (diagnostics[at].any_errors()) out += told(diagnostics[at], sources[at]);
    }
    return out;
  }

  std::array<Sources, 2> sources;
  std::array<Diagnostics, 2> diagnostics;
  std::array<Tree, 2> tree;
  std::array<Selection, 2> selection;
  FragmentMap map;
  CommonKeys keys;
};

// "process/q settings travel.speed", and where it stands in a block "[material: [p]]".
inline std::string edit_line(const Edit& edit) {
  std::string out = fmt::format("{} {} {}", edit.fragment, name_of(edit.part), edit.setting);
  return edit.condition.empty() ? out : fmt::format("{} [{}]", out, edit.condition);
}

// All edits, sorted: "process/q settings travel.speed: 100 mm/s -> 120 mm/s", a line each.
inline std::string edit_lines(const std::vector<Edit>& edits) {
  std::set<std::string> lines;
  for (const Edit& edit : edits) lines.insert(fmt::format("{}: {} -> {}", edit_line(edit), edit.before, edit.after));
  return fmt::format("{}", fmt::join(lines, "\n"));
}

// The edits of some numbers, sorted, " + " between.
inline std::string causes_line(const Changes& changes, const std::vector<std::uint32_t>& causes) {
  std::set<std::string> lines;
  for (std::uint32_t each : causes) lines.insert(edit_line(changes.edits[each]));
  return lines.empty() ? "nothing" : fmt::format("{}", fmt::join(lines, " + "));
}

// "100 -> 120 by process/q settings travel.speed"; "the same" where the value does not differ.
inline std::string change_of(const Changes& changes, std::string_view key, std::string_view profile = "m/p/q") {
  std::string out;
  for (const Change& change : changes.changes) {
    for (const Effect& effect : change.effects) {
      if (changes.settings[effect.setting].key != key || changes.profiles[effect.profile].id != profile) continue;
      CHECK_MESSAGE(out.empty(), key, " of ", profile, " stands in two effects");
      out = fmt::format("{} -> {} by {}", changes.values[effect.before].json, changes.values[effect.after].json,
                        causes_line(changes, change.causes));
    }
  }
  return out.empty() ? "the same" : out;
}

// "nothing -> at_most 120 by machine/m limits *.speed".
inline std::string cap_of(const Changes& changes, std::string_view key, std::string_view profile = "m/p/q") {
  auto words = [](const PlainValue& value) {
    if (value.json == "null") return std::string("nothing");
    std::size_t at = value.json.find(":\"") + 2;
    return fmt::format("{} {}", value.json.substr(at, value.json.find('"', at) - at), value.number.value_or(-1));
  };
  std::string out;
  for (const Change& change : changes.caps) {
    for (const Effect& effect : change.effects) {
      if (changes.settings[effect.setting].key != key || changes.profiles[effect.profile].id != profile) continue;
      CHECK_MESSAGE(out.empty(), key, " of ", profile, " stands in two effects");
      out = fmt::format("{} -> {} by {}", words(changes.values[effect.before]), words(changes.values[effect.after]),
                        causes_line(changes, change.causes));
    }
  }
  return out.empty() ? "the same" : out;
}

// "start by machine/m scripts start", a line each script that differs.
inline std::string scripts_of(const Changes& changes, std::string_view profile = "m/p/q") {
  std::set<std::string> lines;
  for (const ScriptChange& change : changes.scripts) {
    for (const ScriptEffect& effect : change.effects) {
      if (changes.profiles[effect.profile].id == profile)
        lines.insert(fmt::format("{} by {}", name_of(effect.slot), causes_line(changes, change.causes)));
    }
  }
  return fmt::format("{}", fmt::join(lines, "\n"));
}

// The edits that change nothing resolved.
inline std::string idle_of(const Changes& changes) { return causes_line(changes, changes.idle); }

// The ids of some profiles, a blank between.
inline std::string ids_of(const Changes& changes, const std::vector<std::uint32_t>& profiles) {
  std::vector<std::string> ids;
  for (std::uint32_t each : profiles) ids.push_back(changes.profiles[each].id);
  return fmt::format("{}", fmt::join(ids, " "));
}

// A tree with something of everything, in which a pick of fourteen edits is made, a bit each.
inline constexpr unsigned mixed_edits = 14, all_mixed_edits = (1u << mixed_edits) - 1;
inline Files mixed_tree(unsigned edits) {
  auto pick = [&](unsigned bit, std::string_view off, std::string_view on) {
    return (edits >> bit & 1) != 0 ? on : off;
  };
  Files out = small_tree(
      fmt::format("extends: {}\nsettings: {{ nozzle.bore: {}, flow.limit: {}, travel.speed: {} }}\nlimits: {{ "
                  "\"*.speed\": {{ at_most: {} }} }}\nscripts: {{ start: \"G1 F${{travel.speed in mm/min}} {}\" }}\n",
                  pick(0, "[base]", "[extra, base]"), pick(1, "0.4 mm", "0.6 mm"), pick(2, "9 mm^3/s", "6 mm^3/s"),
                  pick(3, "100 mm/s", "140 mm/s"), pick(4, "130 mm/s", "90 mm/s"), pick(5, "A", "B")),
      fmt::format("settings: {{ heat.nozzle: {}, flow.ratio: {} }}\nadjust: {{ flow.ratio: {{ scale: 1.1 }} }}\n",
                  pick(6, "220 degC", "230 degC"), pick(7, "100 %", "95 %")),
      fmt::format("settings: {{ layer.height: {{ calc: {} }}, wall.speed: {{ calc: \"min(2 * travel.speed, 150 mm/s)\" "
                  "}}, fan.duty: {{ calc: \"if(heat.nozzle > 225 degC, 40 %, inherited)\" }} }}\n"
                  "when:\n  - if: {{ where: nozzle.bore > 0.5 mm }}\n    settings: {{ wall.count: {} }}\n  - if: {{ "
                  "material: {} }}\n    settings: {{ wipe.length: 2 mm }}\n",
                  pick(8, "nozzle.bore / 2", "nozzle.bore * 0.4"), pick(9, "4", "5"),
                  pick(10, "\"p*\"", "[\"*\", \"!p\"]")),
      {{"profiles-src/machine/base.yaml",
        fmt::format("abstract: true\nsettings: {{ seam.place: {} }}\nadjust: {{ heat.nozzle: {{ add: {} }} }}\n",
                    pick(11, "rear", "corner"), pick(12, "0 K", "4 K"))},
       {"profiles-src/machine/extra.yaml",
        "abstract: true\nsettings: { fan.duty: 60 %, wipe.length: 1 mm }\nscripts: { end: M84 }\n"},
       {"profiles-src/material/other.yaml", "settings: { wall.count: 7 }\n"},
       {"profiles-src/process/rough.yaml",
        "settings: { layer.height: 0.3 mm }\nlimits: { wall.speed: { at_most: { calc: travel.speed } } }\n"}});
  if ((edits >> 13 & 1) != 0) {
    std::string text(dictionary);
    text.replace(text.find("default: 0.45 mm"), 16, "default: 0.5 mm");
    out["schema/settings.yaml"] = text;
  }
  return out;
}

// A chapter on the difference of two trees: version 1.1.0 after 1.0.0.
inline Chapter chapter_of(const Files& before, const Files& after, const View& view = {}) {
  Chapter chapter;
  chapter.changes = Twins(before, after).changes(view);
  chapter.from = "1.0.0";
  chapter.to = "1.1.0";
  chapter.from_version = parse_version("1.0.0");
  chapter.to_version = parse_version("1.1.0");
  chapter.date = "2026-11-25";
  chapter.audience = view.tier;
  chapter.level = level_of(chapter.changes);
  chapter.reason = reason_of(chapter.level, chapter.changes);
  chapter.suggested = next_version(*chapter.from_version, chapter.level).text();
  chapter.commits.resize(chapter.changes.edits.size());
  return chapter;
}

// Two trees that differ in a bit of everything.
inline Files all_before() {
  return small_tree("title: Machine\nsettings: { travel.speed: 100 mm/s }\nscripts: { start: G28 }\n",
                    "title: Material\nsettings: { heat.nozzle: 210 degC }\n", "title: Process\n",
                    {{"profiles-src/process/old.yaml", "title: Old\n"}});
}
inline Files all_after() {
  Files out = small_tree("title: Machine\nsettings: { travel.speed: 120 mm/s }\nscripts: { start: G28 X }\n",
                         "title: Material\nsettings: { heat.nozzle: 215 degC }\n", "title: Process\nstatus: stable\n",
                         {{"profiles-src/process/new.yaml", "title: New\nscripts: { pause: M0 }\n"}});
  std::string text(dictionary);
  text.replace(text.find("range: [0.05, 1]"), 16, "range: [0.05, 2]");
  out["schema/settings.yaml"] = text;
  return out;
}

// All that is told of a difference.
inline std::string dump(const Changes& changes) {
  Chapter chapter;
  chapter.from = "1.0.0";
  chapter.to = "1.1.0";
  chapter.changes = changes;
  chapter.commits.resize(changes.edits.size());
  return chapter_json(chapter) + chapter_markdown(chapter, true);
}

}  // namespace bindery::test
