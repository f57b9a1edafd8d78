// From a fragment's texts to operations on numbered keys.
#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"
#include "resolve/tree.h"

namespace bindery {

namespace {

class Binder {
 public:
  Binder(const Tree& tree, FragmentId id, BoundFragment& target, Diagnostics& out)
      : tree_(tree), dictionary_(tree.dictionary), id_(id), target_(target), out_(out) {}

  void bind() {
    std::size_t errors = out_.count(Severity::error);
    const Fragment& raw = *target_.raw;
    target_.layers.reserve(raw.layers.size());
    for (const RawLayer& layer : raw.layers) {
      Layer bound;
      bound.settings.reserve(layer.settings.size());
      bound.adjust.reserve(layer.adjust.size());
      conditional_ = layer.condition.has_value();
      if (conditional_) bound.condition = condition(*layer.condition);
      for (const RawWrite& write : layer.settings) bind_write(write, false, bound.settings);
      for (const RawWrite& write : layer.adjust) bind_write(write, true, bound.adjust);
      for (const RawLimit& limit : layer.limits) bind_limit(limit, bound.bounds);
      for (const RawScript& script : layer.scripts) bind_script(script, bound.scripts);
      target_.layers.push_back(std::move(bound));
    }
    if (raw.fits) target_.fits = condition(*raw.fits);
    for (const Text& pattern : raw.locked) bind_lock(pattern);
    bind_macros(tree_, target_, out_);
    if (out_.count(Severity::error) > errors) target_.broken = true;
  }

 private:
  Units& units() { return *dictionary_.units; }

  // The setting of that key; reports an unknown one.
  const Setting* setting_named(std::string_view key, Span span) {
    KeyId id = dictionary_.find(key);
    if (id != no_key) return &dictionary_.settings[id];
    if (out_.skip(Severity::error)) return nullptr;
    if (dictionary_.is_group(key)) {
      out_.add(Code::setting_unknown, span, fmt::format("'{}' is a group of settings, not a setting", key))
          .with_help(group_help(key));
      return nullptr;
    }
    if (std::size_t dot = key.rfind('.');
        dot != std::string_view::npos && dictionary_.find(key.substr(0, dot)) != no_key) {
      out_.add(Code::operation_malformed, span,
               fmt::format("'{}' is no operation on '{}'", key.substr(dot + 1), key.substr(0, dot)))
          .with_help("operations are calc, add, scale, unset, append and remove");
      return nullptr;
    }
    std::string near = dictionary_.nearest_key(key);
    out_.add(Code::setting_unknown, span, fmt::format("unknown setting '{}'", key))
        .with_help(near.empty() ? "see `list settings` for the keys" : fmt::format("did you mean '{}'", near));
    return nullptr;
  }

  std::string group_help(std::string_view group) const {
    std::vector<std::string> members;
    for (const Setting& setting : dictionary_.settings) {
      if (setting.key.starts_with(group) && setting.key.size() > group.size() && setting.key[group.size()] == '.')
        members.emplace_back(setting.key);
      if (members.size() == 4) break;
    }
    return fmt::format("name one of its settings, such as {}", join_words(members, "or"));
  }

  void refuse(Code code, Span span, std::string message, std::string help) {
    out_.add(code, span, std::move(message)).with_help(std::move(help));
  }

  void bind_write(const RawWrite& write, bool adjust, std::vector<Op>& ops) {
    const Setting* setting = setting_named(write.key, write.key_span);
    if (setting == nullptr) return;
    Op op;
    op.key = static_cast<KeyId>(setting - dictionary_.settings.data());
    op.kind = write.value.op;
    op.fragment = id_;
    op.key_span = write.key_span;
    op.value_span = write.value.span;
    op.sound = !setting->broken && may_write(*setting, write, adjust) && bind_value(*setting, write.value, adjust, op);
    ops.push_back(std::move(op));
  }

  bool may_write(const Setting& setting, const RawWrite& write, bool adjust) {
    auto kind = static_cast<std::size_t>(target_.kind());
    if (setting.fact && (adjust || conditional_)) {
      refuse(Code::fact_conditional, write.key_span,
             fmt::format("'{}' is a fact, and {} writes no fact", setting.key, adjust ? "`adjust`" : "`when`"),
             "write it under `settings` of a fragment or of a fitting");
      return false;
    }
    bool may = setting.written_by[kind] || (adjust && setting.adjusted_by[kind]);
    if (may) return true;
    std::vector<std::string> kinds;
    for (Kind each : all_kinds) {
      auto k = static_cast<std::size_t>(each);
      if (setting.written_by[k] || (adjust && setting.adjusted_by[k])) kinds.emplace_back(name_of(each));
    }
    std::string help = fmt::format("move it to a {} fragment", join_words(kinds, "or"));
    if (!adjust && setting.adjusted_by[kind])
      help = fmt::format("a {} may correct it under `adjust`", name_of(target_.kind()));
    refuse(Code::kind_refused, write.key_span,
           fmt::format("a {} may not {} '{}'", name_of(target_.kind()), adjust ? "adjust" : "write", setting.key),
           help);
    return false;
  }

  bool bind_value(const Setting& setting, const RawValue& value, bool adjust, Op& op) {
    if (adjust && (value.op == OpKind::set || value.op == OpKind::unset || value.op == OpKind::append ||
                   value.op == OpKind::remove)) {
      refuse(Code::adjust_literal, value.span,
             fmt::format("`adjust` corrects a value, and {}",
                         value.op == OpKind::set     ? "this replaces it"
                         : value.op == OpKind::unset ? "`unset` drops it"
                                                     : fmt::format("`{}` changes a list", name_of(value.op))),
             "use `add`, `scale`, or `calc` with `inherited`; to set a value use `settings`");
      return false;
    }
    switch (value.op) {
      case OpKind::set: return setting.list ? bind_list(setting, value, op) : bind_literal(setting, value, op);
      case OpKind::calc: return bind_formula(setting, value, adjust, op);
      case OpKind::add: {
        if (!is_number(setting, value, "added to")) return false;
        auto amount = read_difference(setting, value.scalar, units(), out_);
        if (amount) op.amount = *amount;
        return amount.has_value();
      }
      case OpKind::scale: {
        if (!is_number(setting, value, "scaled")) return false;
        if (setting.unit != nullptr && setting.unit->point) {
          refuse(Code::temperature_scaled, value.span,
                 fmt::format("'{}' is a temperature in degC, which has no multiple", setting.key),
                 "use `add` with a difference in K");
          return false;
        }
        auto ratio = read_ratio(value.scalar, units(), out_);
        if (ratio) op.amount = *ratio;
        return ratio.has_value();
      }
      case OpKind::unset: return true;
      case OpKind::append:
      case OpKind::remove:
        if (!setting.list) {
          refuse(Code::operation_malformed, value.span,
                 fmt::format("'{}' is no list, so nothing is {} it", setting.key,
                             value.op == OpKind::append ? "appended to" : "removed from"),
                 "write the value itself");
          return false;
        }
        return bind_list(setting, value, op);
    }
    return false;
  }

  bool is_number(const Setting& setting, const RawValue& value, std::string_view act) {
    bool numeric = (setting.type == Type::quantity || setting.type == Type::count) && !setting.list;
    if (!numeric) {
      refuse(Code::operation_malformed, value.span,
             fmt::format("'{}' is {}, so it cannot be {}", setting.key, setting.list ? "a list" : "no number", act),
             setting.list ? "use `append` and `remove`" : "write the value itself");
    }
    return numeric;
  }

  bool bind_literal(const Setting& setting, const RawValue& value, Op& op) {
    if (value.is_list) {
      refuse(Code::value_malformed, value.span, fmt::format("'{}' takes one value, not a list", setting.key),
             "write the value itself");
      return false;
    }
    auto literal = read_literal(setting, value.scalar, units(), out_);
    if (literal) op.literal = *literal;
    return literal.has_value();
  }

  bool bind_list(const Setting& setting, const RawValue& value, Op& op) {
    if (!value.is_list) {
      refuse(Code::value_malformed, value.span, fmt::format("'{}' is a list", setting.key), "write `[ ... ]`");
      return false;
    }
    auto& items = target_.lists.emplace_back();
    for (const Text& item : value.items) {
      auto literal = read_literal(setting, item, units(), out_);
      if (!literal) return false;
      items.push_back(*literal);
    }
    op.literal = Value::of_list(&items);
    return true;
  }

  bool bind_formula(const Setting& setting, const RawValue& value, bool adjust, Op& op) {
    if (setting.list) {
      refuse(Code::operation_malformed, value.span,
             fmt::format("'{}' is a list, and a formula gives none", setting.key),
             "write the list, or use `append` and `remove`");
      return false;
    }
    auto formula = parse_formula(value.scalar, dictionary_.scope_for(setting, true), units(), out_);
    if (!formula || !check_formula_type(*formula, setting.formula_type(), fmt::format("'{}'", setting.key), out_))
      return false;
    if (adjust && !formula->reads_inherited) {
      refuse(Code::adjust_literal, value.span,
             "a formula under `adjust` corrects the value below, and this one does not read it",
             "use `inherited` in it, or write it under `settings`");
      return false;
    }
    op.formula = &target_.formulas.emplace_back(std::move(*formula));
    return true;
  }

  // --- limits ---
  void bind_limit(const RawLimit& limit, std::vector<Bound>& bounds) {
    std::string_view pattern = limit.pattern.text;
    const Setting* exact = nullptr;
    if (!is_glob(pattern)) {
      exact = setting_named(pattern, limit.pattern.span);
      if (exact == nullptr || exact->broken) return;
      if (exact->fact && conditional_) {
        refuse(Code::fact_conditional, limit.pattern.span,
               fmt::format("'{}' is a fact, and `when` limits no fact", pattern),
               "write it under `limits` of the fragment itself");
        return;
      }
    }
    auto start = [&](RawBound::Side side, Span span) {
      Bound bound;
      bound.side = side;
      bound.refuse = limit.refuse || side == RawBound::Side::among;
      bound.pattern = pattern;
      bound.fragment = id_;
      bound.pattern_span = limit.pattern.span;
      bound.span = span;
      return bound;
    };
    if (limit.drop_all) {
      for (auto side : {RawBound::Side::at_most, RawBound::Side::at_least, RawBound::Side::among}) {
        Bound bound = start(side, limit.pattern.span);
        if (!drop(bound)) return;
        bounds.push_back(std::move(bound));
      }
      return;
    }
    for (const RawBound& raw : limit.bounds) {
      Bound bound = start(raw.side, raw.value.span.known() ? raw.value.span : raw.span);
      bool sound =
          raw.drop ? drop(bound)
                   : (raw.side == RawBound::Side::among ? bind_among(raw, exact, bound) : bind_side(raw, exact, bound));
      if (sound) bounds.push_back(std::move(bound));
    }
  }

  // A bound that drops an earlier one names the settings it would free, so that locks hold against it.
  bool drop(Bound& bound) {
    bound.drop = true;
    for (KeyId key = 0; key < dictionary_.settings.size(); ++key) {
      if (glob_match(bound.pattern, dictionary_.settings[key].key)) bound.keys.push_back(key);
    }
    if (!bound.keys.empty()) return true;
    if (dictionary_.broken) return false;  // a broken entry may be what it binds
    refuse(Code::limit_binds_none, bound.pattern_span, fmt::format("'{}' matches no setting", bound.pattern),
           "check the pattern");
    return false;
  }

  template <typename Binds>
  bool collect_keys(const Setting* exact, Bound& bound, std::string_view what, Binds&& binds) {
    for (KeyId key = 0; key < dictionary_.settings.size(); ++key) {
      const Setting& setting = dictionary_.settings[key];
      if (exact != nullptr ? &setting != exact : !glob_match(bound.pattern, setting.key)) continue;
      if (setting.broken || !binds(setting)) continue;
      bool facts_read = bound.formula == nullptr || std::all_of(bound.formula->keys.begin(), bound.formula->keys.end(),
                                                                [&](KeyId k) { return dictionary_.settings[k].fact; });
      if (setting.fact && (conditional_ || !facts_read)) {
        if (exact == nullptr) continue;
        refuse(Code::fact_required, bound.span,
               fmt::format("'{}' is a fact, so its limit reads facts only", setting.key), "use facts in the formula");
        return false;
      }
      bound.keys.push_back(key);
    }
    if (!bound.keys.empty()) return true;
    if (dictionary_.broken) return false;  // a broken entry may be what it binds
    refuse(Code::limit_binds_none, bound.pattern_span,
           fmt::format("the limit '{}' binds no setting: none that it matches is {}", bound.pattern, what),
           "check the pattern and the unit of the bound");
    return false;
  }

  bool bind_among(const RawBound& raw, const Setting* exact, Bound& bound) {
    for (const Text& word : raw.value.items) bound.words.push_back(word.text);
    if (exact != nullptr && exact->type == Type::choice) {
      for (const Text& word : raw.value.items) {
        if (!read_literal(*exact, word, units(), out_)) return false;
      }
    }
    if (exact != nullptr && exact->type != Type::choice && exact->type != Type::text) {
      refuse(Code::limit_binds_none, raw.span, fmt::format("'{}' is not a word, so it is not among any", exact->key),
             "a number takes `at_most` and `at_least`");
      return false;
    }
    return collect_keys(exact, bound, "a choice or a text",
                        [](const Setting& s) { return s.type == Type::choice || s.type == Type::text; });
  }

  bool bind_side(const RawBound& raw, const Setting* exact, Bound& bound) {
    if (raw.value.op == OpKind::calc) {
      FormulaScope scope = dictionary_.scope(exact != nullptr && exact->fact);
      auto formula = parse_formula(raw.value.scalar, scope, units(), out_);
      if (!formula) return false;
      FormulaType type = formula->type();
      if (exact != nullptr && !exact->list &&
          !check_formula_type(*formula, exact->formula_type(), fmt::format("a bound of '{}'", exact->key), out_))
        return false;
      bound.formula = &target_.formulas.emplace_back(std::move(*formula));
      return collect_keys(exact, bound, type.words(), [&](const Setting& s) { return s.item_type() == type; });
    }
    if (exact != nullptr) {
      if (exact->type != Type::quantity && exact->type != Type::count) {
        refuse(Code::limit_binds_none, raw.span, fmt::format("'{}' is no number, so it has no bound", exact->key),
               "a choice takes `among: [...]`");
        return false;
      }
      auto literal = read_literal(*exact, raw.value.scalar, units(), out_);
      if (!literal) return false;
      bound.base = exact->unit == nullptr ? literal->number() : exact->unit->to_base(literal->number());
      return collect_keys(exact, bound, "a number", [](const Setting&) { return true; });
    }
    return bind_glob(raw, bound);
  }

  // A bound on a glob finds its settings by the dimension of the written unit.
  bool bind_glob(const RawBound& raw, Bound& bound) {
    const Text& text = raw.value.scalar;
    auto number = read_number(text.text);
    std::size_t at = number ? text.text.find_first_not_of(' ', number->length) : std::string_view::npos;
    std::string_view name = at == std::string_view::npos ? "1" : text.text.substr(at);
    const Unit* unit = number ? units().find(name) : nullptr;
    if (unit == nullptr) {
      std::string help = unit_help(name);
      refuse(number ? Code::unit_unknown : Code::value_malformed, text.span,
             number ? fmt::format("unknown unit '{}'", name) : fmt::format("a bound is a number, not '{}'", text.text),
             help.empty() ? "write a number with its unit, as in `300 mm/s`" : help);
      return false;
    }
    bound.base = unit->to_base(number->value);
    return collect_keys(nullptr, bound, unit->point ? "a temperature" : unit->dimension.words(), [&](const Setting& s) {
      if (s.type == Type::count) return unit->bare();
      return s.type == Type::quantity && convertible(*unit, *s.unit);
    });
  }

  // --- the rest ---
  void bind_script(const RawScript& raw, std::vector<ScriptOp>& scripts) {
    ScriptOp op;
    op.act = raw.act;
    op.slot = raw.slot;
    op.fragment = id_;
    op.source = &raw.text;
    op.span = raw.span;
    if (raw.act != RawScript::Act::drop) {
      const SourceFile& file = (*tree_.sources)[raw.text.span.file];
      op.text = read_template(
          raw.text, dictionary_, true,
          [&](std::size_t offset, std::size_t length) { return place_within(file, raw.text, offset, length); }, out_);
    }
    scripts.push_back(std::move(op));
  }

  BoundCondition condition(const Condition& raw) {
    BoundCondition out;
    out.span = raw.span;
    out.names = name_condition(raw);
    if (raw.where) {
      out.where = parse_formula(*raw.where, dictionary_.scope(true), units(), out_);
      if (out.where && !check_formula_type(*out.where, {FormulaType::Kind::flag, {}}, "a condition", out_))
        out.where.reset();
      out.sound = out.where.has_value();
    }
    return out;
  }

  void bind_lock(const Text& pattern) {
    auto lock = [&](KeyId key) {
      if (locked_.insert(key).second) target_.locks.push_back({key, id_, pattern.span});
    };
    if (!is_glob(pattern.text)) {
      const Setting* setting = setting_named(pattern.text, pattern.span);
      if (setting != nullptr) lock(static_cast<KeyId>(setting - dictionary_.settings.data()));
      return;
    }
    bool any = false;
    for (KeyId key = 0; key < dictionary_.settings.size(); ++key) {
      if (!glob_match(pattern.text, dictionary_.settings[key].key)) continue;
      any = true;
      lock(key);
    }
    if (!any)
      refuse(Code::setting_unknown, pattern.span, fmt::format("'{}' matches no setting", pattern.text),
             "see `list settings` for the keys");
  }

  const Tree& tree_;
  const Dictionary& dictionary_;
  FragmentId id_;
  BoundFragment& target_;
  Diagnostics& out_;
  bool conditional_ = false;
  std::set<KeyId> locked_;  // each key once
};

}  // namespace

void bind_fragment(const Tree& tree, FragmentId id, BoundFragment& target, Diagnostics& out) {
  Binder(tree, id, target, out).bind();
}

}  // namespace bindery
