#include "report/schema.h"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "base/json.h"
#include "base/number.h"
#include "base/words.h"

namespace bindery {

namespace {

constexpr std::string_view number_pattern = "[+-]?([0-9]+\\.?[0-9]*|\\.[0-9]+)([eE][+-]?[0-9]+)?";
constexpr std::string_view name_pattern = "^[a-z0-9][a-z0-9.-]*$";

// What a fragment may write, or only correct (`adjust`).
enum class Part { write, adjust };

class SchemaWriter {
 public:
  explicit SchemaWriter(const Dictionary& dictionary) : dictionary_(dictionary) {
    for (const Setting& setting : dictionary.settings) {
      for (std::size_t dot = setting.key.find('.'); dot != std::string_view::npos; dot = setting.key.find('.', dot + 1))
        groups_.insert(setting.key.substr(0, dot));
    }
  }

  std::string write() {
    json_.open_object().field("$schema", "http://json-schema.org/draft-07/schema#");
    json_.field("title", "A fragment: one machine, material or process, or a part of one");
    fragment_body(true);
    json_.key("definitions").open_object();
    for (Part part : {Part::write, Part::adjust}) {
      group({}, part);
      for (std::string_view each : groups_) group(each, part);
      for (const Setting& setting : dictionary_.settings) {
        if (may_stand(setting, part)) value(setting, part);
      }
    }
    json_.key("fitting").open_object();
    fragment_body(false);
    json_.close();
    macros();
    shared();
    json_.close().close();
    return json_.finish();
  }

 private:
  // No operation of `adjust` acts on a list or on a fact.
  static bool may_stand(const Setting& setting, Part part) {
    return part == Part::write || (!setting.list && !setting.fact);
  }
  static std::string_view prefix(Part part) { return part == Part::write ? "settings" : "adjust"; }
  JsonWriter& reference(std::string_view name) {
    return json_.open_object().field("$ref", fmt::format("#/definitions/{}", name)).close();
  }
  JsonWriter& type(std::string_view name) { return json_.open_object().field("type", name).close(); }
  void pattern(std::string_view regex) { json_.open_object().field("type", "string").field("pattern", regex).close(); }
  void words(std::initializer_list<std::string_view> list) {
    json_.open_object().key("enum").open_list();
    for (std::string_view word : list) json_.text(word);
    json_.close().close();
  }

  void fragment_body(bool base) {
    json_.field("type", "object").key("additionalProperties").flag(false).key("properties").open_object();
    for (std::string_view name : {"title", "about"}) json_.key(name), reference("text");
    for (std::string_view name : {"extends", "authors", "replaces", "locked"}) json_.key(name), reference("words");
    json_.key("abstract"), type("boolean");
    json_.key("tier"), words({"free", "supporter"});
    json_.key("status"), words({"draft", "beta", "stable", "retired"});
    json_.key("fits"), reference("condition");
    layer_properties();
    json_.key("macros"), reference("macros");
    json_.key("when").open_object().field("type", "array").key("items"), reference("when"), json_.close();
    if (base) {
      json_.key("fittings")
          .open_object()
          .field("type", "object")
          .key("propertyNames")
          .open_object()
          .field("pattern", name_pattern)
          .close();
      json_.key("additionalProperties"), reference("fitting"), json_.close();
    }
    json_.close();
  }

  void layer_properties() {
    json_.key("settings"), reference("settings:");
    json_.key("adjust"), reference("adjust:");
    json_.key("limits"), reference("limits");
    json_.key("scripts"), reference("scripts");
  }

  // The settings below a group ("" for all), by every way to write the rest of their keys.
  void group(std::string_view name, Part part) {
    json_.key(fmt::format("{}:{}", prefix(part), name)).open_object().field("type", "object");
    json_.key("additionalProperties").flag(false).key("minProperties").whole(1).key("properties").open_object();
    std::string start = name.empty() ? "" : fmt::format("{}.", name);
    for (std::string_view each : groups_) {
      if (each.starts_with(start) && each.size() > start.size())
        json_.key(each.substr(start.size())), reference(fmt::format("{}:{}", prefix(part), each));
    }
    for (const Setting& setting : dictionary_.settings) {
      if (setting.key.starts_with(start) && may_stand(setting, part))
        json_.key(setting.key.substr(start.size())), reference(fmt::format("{}:{}", prefix(part), setting.key));
    }
    json_.close().close();
  }

  void value(const Setting& setting, Part part) {
    json_.key(fmt::format("{}:{}", prefix(part), setting.key)).open_object();
    json_.field("title", setting.title);
    if (!setting.about.empty()) json_.field("description", setting.about);
    json_.key("anyOf").open_list();
    if (part == Part::write) {
      if (setting.list) list_of(setting);
      else literal(setting);
      operation("unset", [&] { json_.open_object().key("const").flag(true).close(); });
      if (setting.list) {
        for (std::string_view word : {"append", "remove"}) operation(word, [&] { list_of(setting); });
      }
    }
    if (!setting.list)
      operation("calc", [&] { json_.open_object().field("type", "string").key("minLength").whole(1).close(); });
    bool numeric = !setting.list && (setting.type == Type::quantity || setting.type == Type::count);
    if (numeric) {
      operation("add", [&] { setting.type == Type::count ? type("integer"), void() : quantity(setting.unit->bare()); });
      if (setting.unit == nullptr || !setting.unit->point)
        operation("scale", [&] {
          json_.open_object().key("anyOf").open_list();
          type("number");
          pattern(fmt::format("^{} ?(%|percent)$", number_pattern));
          json_.close().close();
        });
    }
    json_.close().close();
  }

  template <typename Body>
  void operation(std::string_view word, Body&& body) {
    json_.open_object()
        .field("type", "object")
        .key("additionalProperties")
        .flag(false)
        .key("required")
        .open_list()
        .text(word)
        .close();
    json_.key("properties").open_object().key(word);
    body();
    json_.close().close();
  }

  void list_of(const Setting& setting) {
    json_.open_object().field("type", "array").key("items");
    literal(setting);
    json_.close();
  }

  void literal(const Setting& setting) {
    switch (setting.type) {
      case Type::quantity: quantity(setting.unit->bare()); break;
      case Type::count: type("integer"); break;
      case Type::flag: type("boolean"); break;
      case Type::text: reference("text"); break;
      case Type::choice:
        json_.open_object().key("enum").open_list();
        for (std::string_view choice : setting.choices) json_.text(choice);
        json_.close().close();
    }
  }

  void quantity(bool bare) {
    if (bare) {
      json_.open_object().key("anyOf").open_list();
      type("number");
      pattern(fmt::format("^{}$", number_pattern));
      json_.close().close();
    } else {
      pattern(fmt::format("^{} *[^0-9+. -][^ ]*$|^{} +1/[^ ]+$", number_pattern, number_pattern));
    }
  }

  void shared() {
    // YAML reads an unquoted 5 or true as itself, and the language as the text that stands there.
    json_.key("text")
        .open_object()
        .key("type")
        .open_list()
        .text("string")
        .text("number")
        .text("boolean")
        .close()
        .key("minLength")
        .whole(1)
        .close();
    json_.key("words").open_object().key("anyOf").open_list();
    reference("text");
    json_.open_object().field("type", "array").key("items"), reference("text"), json_.close();
    json_.close().close();

    json_.key("condition")
        .open_object()
        .field("type", "object")
        .key("additionalProperties")
        .flag(false)
        .key("properties")
        .open_object();
    for (std::string_view name : {"machine", "material", "process"}) json_.key(name), reference("words");
    json_.key("where"), type("string");
    json_.close().close();

    json_.key("when")
        .open_object()
        .field("type", "object")
        .key("additionalProperties")
        .flag(false)
        .key("required")
        .open_list()
        .text("if")
        .close();
    json_.key("properties").open_object().key("if"), reference("condition");
    layer_properties();
    json_.close().close();

    json_.key("limits")
        .open_object()
        .field("type", "object")
        .key("propertyNames")
        .open_object()
        .field("pattern", "^[a-z0-9_.*]+$")
        .close();
    json_.key("additionalProperties").open_object().key("anyOf").open_list();
    words({"none"});
    json_.open_object().field("type", "object").key("additionalProperties").flag(false).key("properties").open_object();
    for (std::string_view side : {"at_most", "at_least"}) {
      json_.key(side).open_object().key("anyOf").open_list();
      type("number");
      type("string");
      operation("calc", [&] { type("string"); });
      json_.close().close();
    }
    json_.key("among").open_object().key("anyOf").open_list();
    words({"none"});
    json_.open_object().field("type", "array").key("items"), reference("text"), json_.key("minItems").whole(1).close();
    json_.close().close().key("else"), words({"cap", "refuse"});
    json_.close().close().close().close().close();

    json_.key("scripts")
        .open_object()
        .field("type", "object")
        .key("additionalProperties")
        .flag(false)
        .key("properties")
        .open_object();
    for (std::size_t slot = 0; slot < script_slots; ++slot) {
      json_.key(name_of(static_cast<ScriptSlot>(slot))).open_object().key("anyOf").open_list();
      type("string");
      json_.open_object().field("type", "object").key("additionalProperties").flag(false).key("minProperties").whole(1);
      json_.key("properties").open_object().key("before"), type("string"), json_.key("after"), type("string");
      json_.close().close().close().close();
    }
    json_.close().close();
  }

  // Macros of a machine's firmware.
  void macros() {
    auto list = [&](std::initializer_list<std::string_view> known) {
      json_.open_object().field("type", "array").key("items"), words(known), json_.close();
    };
    auto value = [&] {
      json_.open_object().key("anyOf").open_list();
      type("string");
      operation("calc", [&] { type("string"); });
      json_.close().close();
    };
    auto values = [&](std::initializer_list<std::string_view> known) {
      json_.open_object()
          .field("type", "object")
          .key("additionalProperties")
          .flag(false)
          .key("properties")
          .open_object();
      for (std::string_view each : known) json_.key(each), value();
      json_.close().close();
    };
    json_.key("macros").open_object().field("type", "object").key("propertyNames").open_object();
    json_.field("pattern", "^[A-Z][A-Z_][A-Z0-9_]*$").close();
    json_.key("additionalProperties").open_object().key("anyOf").open_list();
    words({"none"});
    json_.open_object().field("type", "object").key("additionalProperties").flag(false);
    json_.key("required").open_list().text("about").close().key("properties").open_object();
    json_.key("about"), reference("text");
    json_.key("takes"), reference("words");
    json_.key("needs"), list({"homed", "hot"});
    json_.key("homed"), list({"x", "y", "z"});
    json_.key("hot"), values({"nozzle", "bed", "chamber"});
    json_.key("positioned"), values({"x", "y", "z"});
    json_.key("extruded"), value();
    json_.key("off"), list({"nozzle", "bed", "chamber", "fans", "motors"});
    json_.close().close().close().close().close();
  }

  const Dictionary& dictionary_;
  std::set<std::string_view> groups_;
  JsonWriter json_;
};

std::string interval_words(const Setting& setting, const std::optional<Interval>& interval) {
  if (!interval) return {};
  return fmt::format("{} to {}", write_number(interval->low), written(setting, interval->high));
}

// What scripts may hold.
std::string codes_markdown(const CodeList& codes) {
  if (codes.empty()) return {};
  std::string out = "\n## Machine codes\n\n";
  for (const MachineCode& code : codes.all()) {
    out += fmt::format("- `{}` {} ({}{}): {}", code.name, code.title, name_of(code.trust),
                       code.where ? fmt::format(", where `{}`", code.where->text.text) : "", code.reason);
    for (const CodeWord& word : code.words) {
      if (word.refused) out += fmt::format("; {} refused: {}", word.letter, word.reason);
      if (word.least) out += fmt::format("; {} at least `{}`", word.letter, word.least->text);
      if (word.most) out += fmt::format("; {} at most `{}`", word.letter, word.most->text);
    }
    out += '\n';
  }
  return out;
}

}  // namespace

std::string fragment_schema(const Dictionary& dictionary) { return SchemaWriter(dictionary).write(); }

std::string dictionary_markdown(const Dictionary& dictionary) {
  std::string out =
      fmt::format("# Settings\n\n{} and {}. A setting is written by the kinds named; a fact describes what is there.\n",
                  counted(dictionary.settings.size(), "setting"), counted(dictionary.rules.size(), "rule"));
  std::vector<std::string_view> groups;
  auto group_of = [](std::string_view key) { return key.substr(0, key.find('.')); };
  for (const Setting& setting : dictionary.settings) {
    if (std::find(groups.begin(), groups.end(), group_of(setting.key)) == groups.end())
      groups.push_back(group_of(setting.key));
  }
  for (std::string_view group : groups) {
    out += fmt::format("\n## {}\n", group);
    for (const Setting& setting : dictionary.settings) {
      if (group_of(setting.key) != group) continue;
      out += fmt::format("\n### `{}`\n\n**{}.** {}\n\n", setting.key, setting.title, setting.about);
      auto row = [&](std::string_view name, std::string_view text) {
        if (!text.empty()) out += fmt::format("- {}: {}\n", name, text);
      };
      std::vector<std::string> kinds, choices(setting.choices.begin(), setting.choices.end());
      for (Kind kind : all_kinds) {
        if (setting.written_by[static_cast<std::size_t>(kind)]) kinds.emplace_back(name_of(kind));
      }
      std::string sort =
          setting.unit != nullptr ? fmt::format("`{}`", setting.unit->text) : std::string(name_of(setting.type));
      row("written by", join_words(kinds));
      row("unit or type", setting.list ? fmt::format("list of {}", sort) : sort);
      row("choices", join_words(choices, "or"));
      row("range", interval_words(setting, setting.range));
      row("usual", interval_words(setting, setting.typical));
      std::string standard = setting.formula_default               ? fmt::format("`{}`", setting.default_text)
                             : setting.literal_default.has_value() ? written(setting, setting.literal_default)
                                                                   : "none";
      if (!setting.reason.empty()) standard += fmt::format(" ({})", setting.reason);
      row("default", standard);
      row("fact", setting.fact ? "yes" : "");
      row("required", setting.required ? "yes" : "");
      row("over a limit", setting.refuse ? "refused" : "");
      row("source", setting.source);
    }
  }
  out += codes_markdown(dictionary.codes);
  out += "\n## Rules\n";
  for (const Rule& rule : dictionary.rules) {
    out += fmt::format("\n### `{}`\n\n{}: `{}`\n\n- says: {}\n", rule.name, name_of(rule.severity),
                       rule.assertion.text.text, rule.say_text);
    if (!rule.help.empty()) out += fmt::format("- cure: {}\n", rule.help);
    if (!rule.source.empty()) out += fmt::format("- source: {}\n", rule.source);
  }
  return out;
}

}  // namespace bindery
