// Reading the dictionary's files: first every entry, then what refers to other entries.
#include "schema/codes.h"
#include "schema/dictionary.h"
#include "schema/rules.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <set>

#include <fmt/format.h>

#include "base/number.h"
#include "base/parallel.h"
#include "base/words.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

const std::vector<std::string_view> top_words = {"settings", "roles", "job", "rules", "codes"};
const std::vector<std::string_view> setting_words = {
    "title",   "about",   "kinds",  "adjustable_by", "unit", "type",       "choices",  "list",  "range",
    "typical", "default", "reason", "required",      "fact", "over_limit", "extrudes", "source"};
// Words that mean something in a mapping below a key, so no segment of a key may be one.
const std::set<std::string_view> reserved_segments = {"calc",   "add",   "scale",   "unset", "append",
                                                      "remove", "value", "assumed", "none",  "among"};

class DictionaryReader {
 public:
  DictionaryReader(const Sources& sources, std::shared_ptr<Units> units, unsigned jobs, Diagnostics& out)
      : sources_(sources), jobs_(jobs), out_(out) {
    dictionary_.units = std::move(units);
    dictionary_.roles.fill(no_key);
  }

  // First every entry, so that formulas may name settings of any file; then what refers to settings.
  Dictionary read() {
    std::size_t errors = out_.count(Severity::error);
    std::vector<FileId> ids;
    for (FileId id = 0; id < sources_.files.size(); ++id) {
      if (sources_[id].present && sources_[id].path.starts_with("schema/") && is_source_path(sources_[id].path))
        ids.push_back(id);
    }
    std::vector<std::optional<Document>> parsed(ids.size());
    std::vector<Diagnostics> reports(ids.size(), Diagnostics(most::dictionary_reports));
    // The largest first, lest it is what all wait for at the end.
    std::vector<std::size_t> order(ids.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
      return sources_[ids[a]].text.size() > sources_[ids[b]].text.size();
    });
    parallel_for(ids.size(), jobs_, [&](std::size_t at) {
      std::size_t i = order[at];
      if (sources_[ids[i]].sound) parsed[i] = parse_document(ids[i], sources_[ids[i]], reports[i]);
    });
    for (std::size_t i = 0; i < ids.size(); ++i) {
      out_.join(std::move(reports[i]));
      if (parsed[i]) read_file(std::move(*parsed[i]));
      else dictionary_.incomplete = true;
    }
    if (ids.empty()) {
      dictionary_.incomplete = true;
      out_.add(Code::dictionary_missing, {}, "the tree has no dictionary: no `schema/*.yaml`")
          .with_help("start with a copy of the schema/ folder that comes with this program");
    }
    check_beginnings();
    for (Pending& each : pending_) finish_setting(each);
    RuleReader rest(sources_, dictionary_, out_);
    CodeReader codes(dictionary_, out_);
    for (const Later& each : later_) {
      switch (each.kind) {
        case Later::roles: rest.read_roles(*each.doc, each.field); break;
        case Later::rules: rest.read_rules(*each.doc, each.field); break;
        case Later::codes: codes.read(*each.doc, each.field); break;
      }
    }
    codes.finish();
    std::sort(dictionary_.rules.begin(), dictionary_.rules.end(),
              [](const Rule& a, const Rule& b) { return a.name < b.name; });
    dictionary_.broken = dictionary_.incomplete || out_.count(Severity::error) > errors;
    // What a missing file defines is not unknown.
    if (dictionary_.incomplete)
      std::erase_if(out_.items(), [](const Diagnostic& item) { return item.code == Code::setting_unknown; });
    return std::move(dictionary_);
  }

 private:
  // Parts of an entry that can be read only when every key is known.
  struct Pending {
    KeyId key;
    const Document* doc;
    std::optional<Field> default_value, extrudes, range, typical;
  };
  struct Later {
    enum { roles, rules, codes } kind;
    const Document* doc;
    Field field;
  };

  void read_file(Document parsed) {
    const Document& doc = dictionary_.documents.emplace_back(std::move(parsed));
    FieldReader read(doc, out_);
    for (const Field& field : read.fields(0, "a file of the dictionary")) {
      if (field.key.text == "settings") {
        for (const Field& entry : read.fields(field.value, "'settings'")) read_setting(doc, entry);
      } else if (field.key.text == "roles") {
        later_.push_back({Later::roles, &doc, field});
      } else if (field.key.text == "rules") {
        later_.push_back({Later::rules, &doc, field});
      } else if (field.key.text == "codes") {
        later_.push_back({Later::codes, &doc, field});
      } else if (field.key.text == "job") {
        for (const Text& name : read.words(field)) dictionary_.job.push_back(name.text);
      } else {
        read.unknown(field.key, Code::header_unknown, "part of the dictionary", top_words);
      }
    }
  }

  void read_setting(const Document& doc, const Field& entry) {
    FieldReader read(doc, out_);
    std::size_t errors = out_.count(Severity::error);
    Setting setting;
    setting.key = entry.key.text;
    setting.span = entry.key.span;
    setting.title = entry.key.text;
    Pending pending;
    pending.doc = &doc;
    check_key(entry.key);
    bool has_unit = false, has_type = false, has_kinds = false;
    for (const Field& field : read.fields(entry.value, fmt::format("the entry of '{}'", entry.key.text))) {
      std::string_view word = field.key.text;
      if (word == "title" || word == "about" || word == "source" || word == "reason") {
        if (auto text = read.scalar(field))
          (word == "title"    ? setting.title
           : word == "about"  ? setting.about
           : word == "source" ? setting.source
                              : setting.reason) = text->text;
      } else if (word == "kinds") {
        has_kinds = true;
        read_kinds(read, field, setting.written_by);
      } else if (word == "adjustable_by") {
        read_kinds(read, field, setting.adjusted_by);
      } else if (word == "unit") {
        has_unit = true;
        read_unit(read, field, setting);
      } else if (word == "type") {
        has_type = true;
        if (auto index = read.choice(field, {"count", "choice", "flag", "text"}))
          setting.type = static_cast<Type>(*index + 1);
      } else if (word == "choices") {
        for (const Text& choice : read.words(field)) setting.choices.push_back(choice.text);
      } else if (word == "list") {
        setting.list = read.flag(field).value_or(false);
      } else if (word == "required") {
        setting.required = read.flag(field).value_or(false);
      } else if (word == "fact") {
        setting.fact = read.flag(field).value_or(false);
      } else if (word == "over_limit") {
        if (auto index = read.choice(field, {"cap", "refuse"})) setting.refuse = *index == 1;
      } else if (word == "default") {
        pending.default_value.emplace(field);
      } else if (word == "extrudes") {
        pending.extrudes.emplace(field);
      } else if (word == "range") {
        pending.range.emplace(field);
      } else if (word == "typical") {
        pending.typical.emplace(field);
      } else {
        read.unknown(field.key, Code::header_unknown, "part of a setting", setting_words);
      }
    }
    if (out_.count(Severity::error) == errors) check_shape(entry, setting, has_unit, has_type, has_kinds);
    setting.broken = out_.count(Severity::error) > errors;
    pending.key = static_cast<KeyId>(dictionary_.settings.size());
    auto [first, fresh] = dictionary_.index.emplace(setting.key, pending.key);
    if (!fresh) {
      out_.add(Code::key_duplicate, entry.key.span, fmt::format("'{}' is defined twice", setting.key))
          .with_help("keep one of the two")
          .with_related(dictionary_.settings[first->second].span, "first defined here");
      return;
    }
    dictionary_.settings.push_back(std::move(setting));
    pending_.push_back(std::move(pending));
  }

  void check_key(const Text& key) {
    if (!is_key(key.text)) {
      out_.add(Code::name_invalid, key.span, fmt::format("'{}' is no key", key.text))
          .with_help("join words of small letters, digits and `_` with dots");
      return;
    }
    for (std::size_t start = 0; start <= key.text.size();) {
      std::size_t end = std::min(key.text.find('.', start), key.text.size());
      std::string_view segment = key.text.substr(start, end - start);
      if (reserved_segments.contains(segment)) {
        out_.add(Code::key_reserved, key.span,
                 fmt::format("'{}' may not be a part of a key: it is a word of the language", segment))
            .with_help("choose another word");
        return;
      }
      start = end + 1;
    }
  }

  void read_kinds(FieldReader& read, const Field& field, std::array<bool, kind_count>& target) {
    for (const Text& word : read.words(field)) {
      if (auto kind = kind_named(word.text)) target[static_cast<std::size_t>(*kind)] = true;
      else read.unknown(word, Code::header_unknown, "kind", {"machine", "material", "process"});
    }
  }

  void read_unit(FieldReader& read, const Field& field, Setting& setting) {
    auto text = read.scalar(field);
    if (!text) return;
    setting.unit = dictionary_.units->find(text->text);
    if (setting.unit != nullptr) return;
    std::string help = unit_help(text->text);
    out_.add(Code::unit_unknown, text->span, fmt::format("unknown unit '{}'", text->text))
        .with_help(help.empty() ? "write a unit that UDUNITS-2 knows, such as `mm`, `mm/s` or `degC`" : help);
  }

  void check_shape(const Field& entry, const Setting& setting, bool has_unit, bool has_type, bool has_kinds) {
    auto lacks = [&](std::string_view word, std::string help) {
      out_.add(Code::key_missing, entry.key.span, fmt::format("'{}' has no '{}'", setting.key, word))
          .with_help(std::move(help));
    };
    if (!has_unit && !has_type) lacks("unit", "give it a `unit`, or a `type` of count, choice, flag or text");
    if (has_unit && has_type) {
      out_.add(Code::value_malformed, entry.key.span, fmt::format("'{}' has both a unit and a type", setting.key))
          .with_help("a quantity has a unit, the rest has a type");
    }
    if (!has_kinds) lacks("kinds", "say which kinds of fragment may write it, as in `kinds: [process]`");
    if (setting.type == Type::choice && setting.choices.empty()) lacks("choices", "list the words it may be");
  }

  // No key is the beginning of another, so that a mapping is never two things.
  void check_beginnings() {
    std::set<KeyId> told;
    for (Setting& setting : dictionary_.settings) {
      for (std::size_t dot = setting.key.find('.'); dot != std::string_view::npos;
           dot = setting.key.find('.', dot + 1)) {
        KeyId shorter = dictionary_.find(setting.key.substr(0, dot));
        if (shorter == no_key) continue;
        setting.broken = true;
        if (!told.insert(shorter).second) break;  // one report for all that begin alike
        out_.add(Code::key_prefix, setting.span,
                 fmt::format("'{}' begins with '{}', which is a key itself", setting.key, setting.key.substr(0, dot)))
            .with_help("rename one of the two")
            .with_related(dictionary_.settings[shorter].span, "the shorter key");
        setting.broken = true;
        break;
      }
    }
  }

  void finish_setting(const Pending& pending) {
    Setting& setting = dictionary_.settings[pending.key];
    if (setting.broken) return;
    std::size_t errors = out_.count(Severity::error);
    if (pending.range) setting.range = read_interval(pending, *pending.range, setting);
    if (pending.typical) setting.typical = read_interval(pending, *pending.typical, setting);
    if (pending.extrudes) read_extrusion(pending, setting);
    if (pending.default_value) read_default(pending, setting);
    if (out_.count(Severity::error) > errors) setting.broken = true;
  }

  std::optional<Interval> read_interval(const Pending& pending, const Field& field, const Setting& setting) {
    FieldReader read(*pending.doc, out_);
    if (setting.type != Type::quantity && setting.type != Type::count) {
      read.wrong(field.key.span, fmt::format("'{}' is a {}, which has no range", setting.key, name_of(setting.type)),
                 "remove the line");
      return std::nullopt;
    }
    auto words = read.words(field);
    std::vector<double> ends;
    for (const Text& word : words) {
      auto number = read_number(word.text);
      if (number && number->length == word.text.size()) ends.push_back(number->value);
    }
    if (words.size() != 2 || ends.size() != 2 || ends[0] > ends[1]) {
      read.wrong(field.key.span,
                 fmt::format("'{}' of '{}' is two bare numbers, the lower one first", field.key.text, setting.key),
                 "write it as in `[1, 1000]`, in the unit above");
      return std::nullopt;
    }
    return Interval{ends[0], ends[1], field.key.span};
  }

  void read_extrusion(const Pending& pending, Setting& setting) {
    FieldReader read(*pending.doc, out_);
    std::size_t errors = out_.count(Severity::error);
    bool poisoned = false;
    Extrusion extrusion;
    extrusion.span = pending.extrudes->key.span;
    bool area = false;
    for (const Field& field : read.fields(pending.extrudes->value, "'extrudes'")) {
      bool known = field.key.text == "width" || field.key.text == "height" || field.key.text == "area";
      if (!known) {
        read.unknown(field.key, Code::header_unknown, "part of 'extrudes'", {"width", "height", "area"});
        continue;
      }
      area |= field.key.text == "area";
      bool is_area = field.key.text == "area";
      NamedSetting found =
          named_setting(dictionary_, read, field,
                        {dimension::length(is_area ? 2 : 1), false, is_area ? "an area" : "a length"}, out_);
      poisoned |= found.poisoned;
      KeyId key = found.key;
      (field.key.text == "width"    ? extrusion.width
       : field.key.text == "height" ? extrusion.height
                                    : extrusion.area) = key;
    }
    bool bead = extrusion.width != no_key && extrusion.height != no_key;
    if (out_.count(Severity::error) > errors || poisoned) return;
    if (area ? (extrusion.width != no_key || extrusion.height != no_key) : !bead) {
      read.wrong(extrusion.span, "what a speed extrudes is a width and a height, or an area",
                 "write `{ width: KEY, height: KEY }` or `{ area: KEY }`");
    } else if (setting.unit == nullptr || setting.unit->dimension != dimension::length() / dimension::time() ||
               setting.list) {
      read.wrong(extrusion.span, fmt::format("'{}' is no speed, so it extrudes nothing", setting.key),
                 "remove the line");
    } else {
      setting.extrudes = extrusion;
    }
  }

  void read_default(const Pending& pending, Setting& setting) {
    const Document& doc = *pending.doc;
    FieldReader read(doc, out_);
    const Field& field = *pending.default_value;
    const Node& node = doc[field.value];
    if (node.kind == NodeKind::mapping) {
      auto parts = read.fields(field.value, "'default'");
      if (parts.size() != 1 || parts.front().key.text != "calc") {
        out_.add(Code::operation_malformed, node.text.span, "a default is a value, `none`, or `{ calc: ... }`")
            .with_help("nothing lies below a default that could be changed");
        return;
      }
      auto text = read.scalar(parts.front());
      if (!text) return;
      if (setting.list) {
        out_.add(Code::operation_malformed, node.text.span,
                 fmt::format("'{}' is a list, and a formula gives none", setting.key))
            .with_help("write the list");
        return;
      }
      setting.default_text = text->text;
      auto formula = parse_formula(*text, dictionary_.scope_for(setting, false), *dictionary_.units, out_);
      if (!formula) {
        setting.broken = true;
        return;
      }
      if (check_formula_type(*formula, setting.formula_type(), fmt::format("'{}'", setting.key), out_))
        setting.formula_default = std::move(formula);
      return;
    }
    if (setting.list && node.kind == NodeKind::list) {
      auto& items = dictionary_.lists.emplace_back();
      for (const Text& item : read.words(field)) {
        if (auto value = read_literal(setting, item, *dictionary_.units, out_)) items.push_back(*value);
      }
      setting.literal_default = Value::of_list(&items);
      std::string told;
      for (const Text& item : read.words(field)) told += fmt::format("{}{}", told.empty() ? "" : ", ", item.text);
      setting.default_text = dictionary_.joined.emplace_back(fmt::format("[{}]", told));
      return;
    }
    auto text = read.scalar(field);
    if (!text) return;
    if (!text->quoted && text->text == "none") return;
    if (setting.list) {
      read.wrong(text->span, fmt::format("'{}' is a list", setting.key), "write `[ ... ]`, or `none`");
      return;
    }
    setting.default_text = text->text;
    if (auto value = read_literal(setting, *text, *dictionary_.units, out_)) setting.literal_default = *value;
    double number = setting.literal_default.number();
    bool is_number = setting.literal_default.is(Value::Tag::number);
    if (is_number && setting.range && (number < setting.range->low || number > setting.range->high)) {
      out_.add(Code::range_exceeded, text->span,
               fmt::format("the default of '{}' is outside its own range", setting.key))
          .with_help("write a default inside the range")
          .with_related(setting.range->span, "the range");
    }
  }

  const Sources& sources_;
  unsigned jobs_;
  Diagnostics& out_;
  Dictionary dictionary_;
  std::deque<Pending> pending_;
  std::vector<Later> later_;
};

}  // namespace

Dictionary read_dictionary(const Sources& sources, std::shared_ptr<Units> units, unsigned jobs, Diagnostics& out) {
  return DictionaryReader(sources, std::move(units), jobs, out).read();
}

}  // namespace bindery
