#include "schema/rules.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/words.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

const std::vector<std::string_view> rule_words = {"assert", "severity", "say", "help", "source"};

// The setting that a field names; reports one that is unknown.
std::optional<KeyId> find_named(const Dictionary& dictionary, FieldReader& read, const Field& field, Diagnostics& out) {
  auto text = read.scalar(field);
  if (!text) return std::nullopt;
  KeyId key = dictionary.find(text->text);
  if (key != no_key) return key;
  std::string near = dictionary.nearest_key(text->text);
  out.add(Code::setting_unknown, text->span, fmt::format("unknown setting '{}'", text->text))
      .with_help(near.empty() ? "see `list settings` for the keys" : fmt::format("did you mean '{}'", near));
  return std::nullopt;
}

Span doc_span(const FieldReader& read, const Field& field) { return read.doc[field.value].text.span; }

}  // namespace

NamedSetting named_setting(const Dictionary& dictionary, FieldReader& read, const Field& field,
                           const WantedSetting& wanted, Diagnostics& out) {
  auto found = find_named(dictionary, read, field, out);
  if (!found) return {};
  KeyId key = *found;
  const Setting& setting = dictionary.settings[key];
  if (setting.broken) {
    return {no_key, true};
  }
  if (setting.list || setting.unit == nullptr || setting.unit->dimension != wanted.dimension ||
      setting.unit->point != wanted.point) {
    out.add(Code::dimension_mismatch, doc_span(read, field),
            fmt::format("'{}' must name {}, and '{}' is none", field.key.text, wanted.words, setting.key))
        .with_help("name a setting of that dimension");
    return {};
  }
  return {key, false};
}

void RuleReader::read_roles(const Document& doc, const Field& roles) {
  FieldReader read(doc, out_);
  for (const Field& field : read.fields(roles.value, "'roles'")) {
    auto role = role_named(field.key.text);
    if (!role) {
      std::vector<std::string_view> names;
      for (std::size_t i = 0; i < role_count; ++i) names.push_back(name_of(static_cast<Role>(i)));
      std::string near = nearest(field.key.text, names);
      out_.add(Code::role_unknown, field.key.span, fmt::format("the program asks for no role '{}'", field.key.text))
          .with_help(near.empty() ? fmt::format("roles are {}", fmt::join(names, ", "))
                                  : fmt::format("did you mean '{}'", near));
      continue;
    }
    auto index = static_cast<std::size_t>(*role);
    if (role_places_[index].known()) {
      out_.add(Code::key_duplicate, field.key.span, fmt::format("the role '{}' is given twice", field.key.text))
          .with_help("keep one of the two")
          .with_related(role_places_[index], "first given here");
      continue;
    }
    role_places_[index] = field.key.span;
    const RoleForm& form = form_of(*role);
    if (form.type == Type::quantity) {
      const Unit* unit = dictionary_.units->find(form.unit);
      WantedSetting wanted{unit->dimension, unit->point, unit->point ? "a temperature" : unit->dimension.words()};
      dictionary_.roles[index] = named_setting(dictionary_, read, field, wanted, out_).key;
    } else {
      dictionary_.roles[index] = named_by_form(read, field, form);
    }
  }
}

// The setting that a role names, where it is no quantity.
KeyId RuleReader::named_by_form(FieldReader& read, const Field& field, const RoleForm& form) {
  auto key = find_named(dictionary_, read, field, out_);
  if (!key || dictionary_.settings[*key].broken) return no_key;
  const Setting& setting = dictionary_.settings[*key];
  bool words = std::all_of(setting.choices.begin(), setting.choices.end(), [&](std::string_view word) {
    return std::find(form.words.begin(), form.words.end(), word) != form.words.end();
  });
  if (setting.type == form.type && setting.list == form.list && words) return *key;
  std::string wanted = fmt::format("a {}{}", form.list ? "list of " : "", name_of(form.type));
  if (!form.words.empty()) wanted += fmt::format(" of {}", join_words({form.words.begin(), form.words.end()}, "or"));
  out_.add(Code::dimension_mismatch, doc_span(read, field),
           fmt::format("'{}' must name {}, and '{}' is none", field.key.text, wanted, setting.key))
      .with_help("name a setting of that form");
  return no_key;
}

void RuleReader::read_rules(const Document& doc, const Field& rules) {
  FieldReader read(doc, out_);
  for (const Field& entry : read.fields(rules.value, "'rules'")) read_rule(read, entry);
}

void RuleReader::read_rule(FieldReader& read, const Field& entry) {
  Rule rule;
  rule.name = entry.key.text;
  rule.span = entry.key.span;
  std::optional<Formula> assertion;
  std::optional<Text> say;
  bool has_assert = false;
  for (const Field& field : read.fields(entry.value, fmt::format("the rule '{}'", entry.key.text))) {
    std::string_view word = field.key.text;
    if (word == "assert") {
      has_assert = true;
      if (auto text = read.scalar(field))
        assertion = parse_formula(*text, dictionary_.scope(false), *dictionary_.units, out_);
      if (assertion && !check_formula_type(*assertion, {FormulaType::Kind::flag, {}}, "what a rule asserts", out_))
        assertion.reset();
    } else if (word == "severity") {
      if (auto index = read.choice(field, {"error", "warning", "note"})) rule.severity = static_cast<Severity>(*index);
    } else if (word == "say") {
      say = read.scalar(field);
    } else if (word == "help" || word == "source") {
      if (auto text = read.scalar(field)) (word == "help" ? rule.help : rule.source) = text->text;
    } else {
      read.unknown(field.key, Code::header_unknown, "part of a rule", rule_words);
    }
  }
  if (!has_assert || !say) {
    out_.add(Code::key_missing, entry.key.span,
             fmt::format("the rule '{}' has no '{}'", rule.name, has_assert ? "say" : "assert"))
        .with_help("a rule has both `assert` and `say`");
    return;
  }
  auto [same, fresh] = rule_places_.emplace(rule.name, entry.key.span);
  if (!fresh) {
    out_.add(Code::key_duplicate, entry.key.span, fmt::format("the rule '{}' is defined twice", rule.name))
        .with_help("keep one of the two")
        .with_related(same->second, "first defined here");
    return;
  }
  if (!read.within(rule_places_.size(), most::rules, entry.key.span, "rules in the dictionary")) return;
  auto words = read_template(
      *say, dictionary_, false,
      [&](std::size_t offset, std::size_t length) {
        return place_within(sources_[say->span.file], *say, offset, length);
      },
      out_);
  if (!assertion || !words) return;
  rule.assertion = std::move(*assertion);
  rule.say = std::move(*words);
  rule.say_text = say->text;
  dictionary_.rules.push_back(std::move(rule));
}

}  // namespace bindery
