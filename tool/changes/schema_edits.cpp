// The edits of a dictionary, of a plan and of dialects.
#include <algorithm>
#include <filesystem>
#include <map>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"
#include "changes/edits.h"
#include "dialect/dialect.h"

namespace bindery {

namespace {

// What an entry says, piece by piece; a piece that is absent has no text.
using Pieces = std::map<Part, std::string>;

std::string kinds_text(const std::array<bool, kind_count>& kinds) {
  std::vector<std::string> names;
  for (Kind kind : all_kinds) {
    if (kinds[static_cast<std::size_t>(kind)]) names.emplace_back(name_of(kind));
  }
  return names.empty() ? std::string("none") : join_words(names);
}

std::string interval_text(const std::optional<Interval>& interval, const Setting& setting) {
  if (!interval) return {};
  return fmt::format("{} to {}", write_number(interval->low), written(setting, interval->high));
}

std::string extrusion_text(const Setting& setting, const Dictionary& dictionary) {
  if (!setting.extrudes) return {};
  const Extrusion& extrusion = *setting.extrudes;
  auto key = [&](KeyId id) { return id == no_key ? std::string_view("?") : dictionary.settings[id].key; };
  if (extrusion.area != no_key) return fmt::format("{{ area: {} }}", key(extrusion.area));
  return fmt::format("{{ width: {}, height: {} }}", key(extrusion.width), key(extrusion.height));
}

Pieces pieces_of(const Setting& setting, const Dictionary& dictionary) {
  Pieces out;
  out[Part::words] = fmt::format("{}\n{}\n{}\n{}", setting.title, setting.about, setting.reason, setting.source);
  out[Part::unit] = fmt::format("{}{}", setting.list ? "list of " : "",
                                setting.unit != nullptr ? setting.unit->text : std::string(name_of(setting.type)));
  std::string choices;
  for (std::string_view choice : setting.choices) choices += fmt::format("{}{}", choices.empty() ? "" : ", ", choice);
  out[Part::choices] = choices;
  std::string standard = "none";
  if (setting.formula_default) standard = fmt::format("{{ calc: {} }}", setting.default_text);
  else if (setting.literal_default.is(Value::Tag::word)) standard = word_as_written(setting.default_text);
  else if (setting.literal_default.has_value()) standard = setting.default_text;
  out[Part::standard] = standard;
  out[Part::range] = interval_text(setting.range, setting);
  out[Part::typical] = interval_text(setting.typical, setting);
  out[Part::kinds] = kinds_text(setting.written_by);
  if (std::find(setting.adjusted_by.begin(), setting.adjusted_by.end(), true) != setting.adjusted_by.end())
    out[Part::kinds] += fmt::format(", adjustable by {}", kinds_text(setting.adjusted_by));
  out[Part::required] = setting.required ? "true" : "false";
  out[Part::fact] = setting.fact ? "true" : "false";
  out[Part::over_limit] = setting.refuse ? "refuse" : "cap";
  out[Part::extrudes] = extrusion_text(setting, dictionary);
  return out;
}

// What decides about a code: its trust, what it does, its words and their bounds.
std::string code_text(const MachineCode& code) {
  std::string out(name_of(code.trust));
  if (code.does != Does::nothing) out += fmt::format(", {}", name_of(code.does));
  if (code.where) out += fmt::format(", where {}", code.where->text.text);
  if (code.text) out += ", text";
  for (const CodeWord& word : code.words) {
    out += fmt::format(", {}", word.letter);
    if (word.refused) out += " refused";
    if (word.least) out += fmt::format(" at least {}", word.least->text);
    if (word.most) out += fmt::format(" at most {}", word.most->text);
  }
  return out;
}

std::string path_of(const Tree& tree, Span span) {
  return span.known() ? (*tree.sources)[span.file].path : std::string("schema");
}

class SchemaComparison {
 public:
  SchemaComparison(const Tree& from, const Tree& to, EditTable& table) : from_(from), to_(to), table_(table) {}

  void compare() {
    for (const Setting& now : to_.dictionary.settings) {
      KeyId old = from_.dictionary.find(now.key);
      if (old == no_key) note(Part::setting, now.key, {}, "there", {}, path_of(to_, now.span), concerns_heat(now));
      else compare_settings(from_.dictionary.settings[old], now);
    }
    for (const Setting& old : from_.dictionary.settings) {
      if (to_.dictionary.find(old.key) == no_key)
        note(Part::setting, old.key, "there", {}, path_of(from_, old.span), {}, concerns_heat(old));
    }
    compare_rules();
    compare_roles();
    auto job = [](const Dictionary& d) { return std::string(fmt::format("{}", fmt::join(d.job, ", "))); };
    compare_codes();
    note(Part::job, "job", job(from_.dictionary), job(to_.dictionary), "schema", "schema", false);
  }

 private:
  void note(Part part, std::string_view name, std::string before, std::string after, std::string old_file,
            std::string file, bool thermal) {
    if (before == after) return;
    Edit edit;
    edit.part = part;
    edit.fragment = "schema";
    edit.setting = name;
    edit.before = std::move(before);
    edit.after = std::move(after);
    edit.file = file.empty() ? old_file : file;
    if (old_file != edit.file) edit.old_file = old_file;
    edit.thermal = thermal;
    Address place{no_fragment, 0, part, edit.setting};
    table_.add(std::move(edit), place, place);
  }

  void compare_settings(const Setting& old, const Setting& now) {
    Pieces before = pieces_of(old, from_.dictionary), after = pieces_of(now, to_.dictionary);
    for (auto& [part, text] : before)
      note(part, now.key, text, after[part], path_of(from_, old.span), path_of(to_, now.span), concerns_heat(now));
  }

  void compare_rules() {
    auto texts = [](const Dictionary& dictionary) {
      std::map<std::string, std::pair<std::string, Span>> out;
      for (const Rule& rule : dictionary.rules)
        out.emplace(rule.name,
                    std::pair{fmt::format("{}: {}", name_of(rule.severity), rule.assertion.text.text), rule.span});
      return out;
    };
    auto before = texts(from_.dictionary), after = texts(to_.dictionary);
    for (const auto& [name, rule] : after) {
      auto old = before.find(name);
      note(Part::rule, name, old == before.end() ? "" : old->second.first, rule.first,
           old == before.end() ? "" : path_of(from_, old->second.second), path_of(to_, rule.second), false);
    }
    for (const auto& [name, rule] : before) {
      if (!after.contains(name)) note(Part::rule, name, rule.first, "", path_of(from_, rule.second), "", false);
    }
    compare_rule_words();
  }

  void compare_rule_words() {
    for (const Rule& now : to_.dictionary.rules) {
      for (const Rule& old : from_.dictionary.rules) {
        if (old.name != now.name) continue;
        auto words = [](const Rule& rule) { return fmt::format("{}\n{}\n{}", rule.say_text, rule.help, rule.source); };
        note(Part::words, now.name, words(old), words(now), path_of(from_, old.span), path_of(to_, now.span), false);
      }
    }
  }

  void compare_codes() {
    auto texts = [](const Dictionary& dictionary) {
      std::map<std::string, std::pair<std::string, Span>> out;
      for (const MachineCode& code : dictionary.codes.all()) {
        auto [at, fresh] = out.emplace(code.name, std::pair{std::string(), code.span});
        at->second.first += fmt::format("{}{}", fresh ? "" : "; ", code_text(code));
      }
      return out;
    };
    auto before = texts(from_.dictionary), after = texts(to_.dictionary);
    for (const auto& [name, code] : after) {
      auto old = before.find(name);
      bool had = old != before.end();
      note(Part::code, name, had ? old->second.first : "", code.first, had ? path_of(from_, old->second.second) : "",
           path_of(to_, code.second), false);
    }
    for (const auto& [name, code] : before) {
      if (!after.contains(name)) note(Part::code, name, code.first, "", path_of(from_, code.second), "", false);
    }
  }

  void compare_roles() {
    for (std::size_t i = 0; i < role_count; ++i) {
      auto key = [&](const Tree& tree) {
        KeyId id = tree.dictionary.roles[i];
        return id == no_key ? std::string() : std::string(tree.dictionary.settings[id].key);
      };
      note(Part::role, name_of(static_cast<Role>(i)), key(from_), key(to_), "schema", "schema", false);
    }
  }

  const Tree& from_;
  const Tree& to_;
  EditTable& table_;
};

std::string set_text(const PlanSet& set) {
  std::string out(name_of(set.tier));
  auto list = [&](std::string_view word, const std::vector<Condition>& entries) {
    if (entries.empty()) return;
    out += fmt::format("; {}", word);
    for (const Condition& entry : entries) out += fmt::format(" {{ {} }}", as_written(entry));
  };
  list("take", set.take);
  list("leave", set.leave);
  return out;
}

}  // namespace

void add_schema_edits(const Tree& from, const Tree& to, EditTable& table) {
  SchemaComparison(from, to, table).compare();
}

void add_plan_edits(const Tree& from, const Tree& to, Tier audience, EditTable& table) {
  auto sets_of = [&](const Tree& tree) {
    std::map<std::string, std::string> out;
    for (const PlanSet& set : tree.plan.sets) {
      if (set.tier <= audience) out.emplace(set.name.text, set_text(set));
    }
    return out;
  };
  auto note = [&](Part part, const std::string& name, std::string before, std::string after, std::string file) {
    if (before == after) return;
    Edit edit;
    edit.part = part;
    edit.fragment = "plan";
    edit.setting = name;
    edit.before = audience == Tier::free ? without_names(before) : before;
    edit.after = audience == Tier::free ? without_names(after) : after;
    edit.file = std::move(file);
    Address place{no_fragment, 0, part, name};
    table.add(std::move(edit), place, place);
  };
  auto before = sets_of(from), after = sets_of(to), all = before;
  all.insert(after.begin(), after.end());
  for (const auto& [name, text] : all) note(Part::set, name, before[name], after[name], "release/plan.yaml");
  note(Part::default_tier, "default_tier", std::string(name_of(from.plan.publisher.default_tier)),
       std::string(name_of(to.plan.publisher.default_tier)), "profiles-src/bindery.yaml");
  note(Part::words, "publisher", std::string(from.plan.publisher.name), std::string(to.plan.publisher.name),
       "profiles-src/bindery.yaml");
  note(Part::words, "licence", std::string(from.plan.publisher.licence), std::string(to.plan.publisher.licence),
       "profiles-src/bindery.yaml");
  note(Part::words, "name", std::string(from.plan.name), std::string(to.plan.name), "release/plan.yaml");
  auto text_of = [](const Tree& tree, const std::string& path) {
    FileId id = tree.sources->find(path);
    std::string text = id == no_file ? std::string() : (*tree.sources)[id].text;
    std::erase(text, '\r');  // line ends are no edit
    return text;
  };
  for (const std::string path : {"release/texts/licence.txt", "release/texts/read-me-first.txt"})
    note(Part::words, path, text_of(from, path), text_of(to, path), path);
}

void add_dialect_edits(const Tree& from, const Tree& to, Tier audience, EditTable& table) {
  // By path: the text on each side, of those that the audience gets; one that moves between tiers comes or goes.
  std::map<std::string, std::array<std::string, 2>> texts;
  std::size_t side = 0;
  for (const Tree* tree : {&from, &to}) {
    Diagnostics silent;
    for (const Dialect& each : read_dialects(*tree, silent)) {
      const SourceFile& file = (*tree->sources)[each.file];
      if (each.tier > audience) continue;
      std::string& text = texts[file.path][side] = file.text;
      std::erase(text, '\r');
    }
    ++side;
  }
  for (auto& [path, text] : texts) {
    if (text[0] == text[1]) continue;
    Edit edit;
    edit.part = Part::words;
    edit.fragment = fmt::format("dialect/{}", std::filesystem::path(path).stem().string());
    edit.setting = "table";
    // Which row changed is read in the table itself.
    edit.before = text[0].empty() ? "" : "as it was";
    edit.after = text[1].empty() ? "" : "as it is";
    edit.file = path;
    Address place{no_fragment, 0, Part::words, edit.fragment};
    table.add(std::move(edit), place, place);
  }
}

}  // namespace bindery
