#include "resolve/evaluator.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"
#include "syntax/limits.h"

namespace bindery {

Evaluator::Evaluator(const Tree& tree, const std::array<const AxisTable*, kind_count>& axes, Profile& profile,
                     Diagnostics& out)
    : tree_(tree),
      dictionary_(tree.dictionary),
      axes_(axes),
      profile_(profile),
      out_(out),
      state_(dictionary_.settings.size(), State::fresh) {
  profile_.cells.assign(dictionary_.settings.size(), {});
  profile_.steps.reserve(dictionary_.settings.size() * 3 / 2);
}

Diagnostic& Evaluator::report(Code code, Span span, std::string message) {
  profile_.whole = false;
  if (id_.empty()) id_ = profile_id(tree_, profile_.triple);
  Diagnostic& item = out_.add(code, span, std::move(message));
  item.profile = id_;
  item.profiles = 1;
  return item;
}

void Evaluator::pin(KeyId key, Value value) {
  profile_.cells[key].value = value;
  state_[key] = State::done;
}

// A required setting without a value is reported once, by the check; a formula that reads it stays silent.
Value Evaluator::read(KeyId key) {
  Value value = value_of(key);
  return value.is(Value::Tag::unset) && dictionary_.settings[key].required ? Value::poisoned() : value;
}

Value Evaluator::value_of(KeyId key) {
  Cell& cell = profile_.cells[key];
  if (state_[key] == State::done) return cell.value;
  if (state_[key] == State::open) {
    report_cycle(key);
    return Value::poisoned();
  }
  state_[key] = State::open;
  open_.push_back(key);
  std::size_t base = story_.size();
  Value value = layered(key);
  value = limited(key, value, cell);
  cell.value = value;
  cell.first_step = static_cast<std::uint32_t>(profile_.steps.size());
  cell.steps = static_cast<std::uint32_t>(story_.size() - base);
  profile_.steps.insert(profile_.steps.end(), story_.begin() + static_cast<std::ptrdiff_t>(base), story_.end());
  story_.resize(base);
  open_.pop_back();
  state_[key] = State::done;
  if (value.is(Value::Tag::poison)) profile_.whole = false;
  return value;
}

// The value that the layers make, lowest first, and the adjustments above them.
Value Evaluator::layered(KeyId key) {
  std::size_t base = chain_.size();
  bool covered = false;
  for (std::size_t axis = kind_count; axis-- > 0 && !covered;) {
    const AxisTable& table = *axes_[axis];
    for (std::uint32_t link = table.head[key]; link != 0 && !covered; link = table.links[link].below) {
      const Op* op = table.links[link].op;
      chain_.push_back(op);
      covered = op->hides();
    }
  }
  Value value;
  if (!covered) {
    value = base_value(key);
    if (!value.is(Value::Tag::unset)) add_step(nullptr, false, value);
  }
  while (chain_.size() > base) {
    const Op* op = chain_.back();
    chain_.pop_back();
    value = apply(*op, value, false);
    add_step(op, false, value);
  }
  for (const AxisTable* table : axes_) {
    if (table->adjust[key] == 0) continue;
    const Op* op = table->links[table->adjust[key]].op;
    value = apply(*op, value, true);
    add_step(op, true, value);
  }
  return value;
}

// The dictionary's default.
Value Evaluator::base_value(KeyId key) {
  const Setting& setting = dictionary_.settings[key];
  if (setting.broken) return Value::poisoned();
  if (!setting.formula_default) return setting.literal_default;
  Value outer = inherited_;
  inherited_ = {};
  Value value = formula_value(setting, *setting.formula_default, setting.formula_default->text.span);
  inherited_ = outer;
  return value;
}

Value Evaluator::apply(const Op& op, Value below, bool adjust) {
  if (!op.sound) return Value::poisoned();
  switch (op.kind) {
    case OpKind::set: return op.literal;
    case OpKind::unset: return base_value(op.key);
    case OpKind::calc: {
      Value outer = inherited_;
      inherited_ = below;
      Value value = formula_value(dictionary_.settings[op.key], *op.formula, op.value_span);
      inherited_ = outer;
      return value;
    }
    default: break;
  }
  if (below.is(Value::Tag::poison)) return below;
  const Setting& setting = dictionary_.settings[op.key];
  if (below.is(Value::Tag::unset)) {
    if (setting.required && adjust) return below;  // the check reports what is missing
    report(Code::operation_on_unset, op.key_span,
           fmt::format("'{}' has no value that `{}` could act on", setting.key, name_of(op.kind)))
        .with_help(adjust ? "set it in a fragment" : "set it in a fragment below, or write the value here");
    return Value::poisoned();
  }
  return op.kind == OpKind::append || op.kind == OpKind::remove ? apply_list(op, below) : apply_number(op, below);
}

Value Evaluator::apply_number(const Op& op, Value below) {
  const Setting& setting = dictionary_.settings[op.key];
  double number = op.kind == OpKind::add ? below.number() + op.amount : below.number() * op.amount;
  if (!std::isfinite(number)) {
    report(Code::formula_value, op.value_span,
           fmt::format("`{}` makes '{}' no finite number", name_of(op.kind), setting.key))
        .with_help("use a smaller number");
    return Value::poisoned();
  }
  if (setting.type == Type::count && !same_number(number, std::round(number))) {
    report(Code::count_fraction, op.value_span,
           fmt::format("'{}' counts whole things, and `{}` makes it {}", setting.key, name_of(op.kind),
                       write_number(number)))
        .with_help("use `calc` with `round(..., 1)`, `ceil` or `floor`");
    return Value::poisoned();
  }
  return Value::of_number(setting.type == Type::count ? std::round(number) : number);
}

Value Evaluator::apply_list(const Op& op, Value below) {
  auto same = [](const Value& a, const Value& b) {
    if (a.tag() != b.tag()) return false;
    return a.is(Value::Tag::number) ? same_number(a.number(), b.number())
                                    : a.flag() == b.flag() && a.word() == b.word();
  };
  auto& items = profile_.lists.emplace_back(below.items());
  work += items.size() * (op.kind == OpKind::append ? 1 : op.literal.items().size());
  for (const Value& item : op.literal.items()) {
    if (op.kind == OpKind::append) items.push_back(item);
    else std::erase_if(items, [&](const Value& each) { return same(each, item); });
  }
  if (items.size() > most::value_items) {
    report(Code::too_many, op.value_span,
           fmt::format("there are more than {} items of '{}'", most::value_items, dictionary_.settings[op.key].key))
        .with_help("append fewer");
    return Value::poisoned();
  }
  return Value::of_list(&items);
}

std::string Evaluator::About::words() const {
  return fmt::format("{0}{1}{2}{3}{2}", what, what.empty() ? "" : " ", quote, name);
}

std::optional<Value> Evaluator::compute(const Formula& formula, const About& about) {
  FormulaResult result = evaluate(formula, *this);
  if (result.stop == FormulaStop::none) return result.value;
  if (result.stop == FormulaStop::poison) {
    profile_.whole = false;
    return std::nullopt;
  }
  const FormulaNode& stopped = formula.nodes[result.node];
  if (result.stop == FormulaStop::unset && stopped.op == FormulaOp::inherited) {
    report(Code::operation_on_unset, formula.place_of(stopped),
           fmt::format("{} cannot be computed: {}", about.words(), stop_message(formula, result)))
        .with_help("set it in a fragment below, or write the value here");
    return std::nullopt;
  }
  if (result.stop == FormulaStop::depth) {
    // Each setting further down the chain would meet it again.
    bool first = !std::exchange(too_deep_, true);
    profile_.whole = false;
    if (first)
      report(Code::formula_depth, formula.place_of(stopped),
             fmt::format("{} cannot be computed: {}", about.words(), stop_message(formula, result)))
          .with_help("give one of the settings between a value of its own");
    return std::nullopt;
  }
  bool unset = result.stop == FormulaStop::unset;
  report(unset ? Code::setting_unset : Code::formula_value, formula.place_of(formula.nodes[result.node]),
         fmt::format("{} cannot be computed: {}", about.words(), stop_message(formula, result)))
      .with_help(unset ? "set it in a fragment, or ask with `set(key)` first" : "guard the formula with `if`");
  return std::nullopt;
}

Value Evaluator::formula_value(const Setting& setting, const Formula& formula, Span place) {
  auto computed = compute(formula, {{}, setting.key});
  if (!computed) return Value::poisoned();
  Value value = *computed;
  if (value.is(Value::Tag::number)) {
    double number = setting.unit != nullptr ? setting.unit->from_base(value.number()) : value.number();
    if (setting.type == Type::count && !same_number(number, std::round(number))) {
      report(Code::count_fraction, place,
             fmt::format("'{}' counts whole things, and the formula gives {}", setting.key, write_number(number)))
          .with_help("use `round(..., 1)`, `ceil` or `floor`");
      return Value::poisoned();
    }
    return Value::of_number(setting.type == Type::count ? std::round(number) : number);
  }
  if (setting.type == Type::choice &&
      std::find(setting.choices.begin(), setting.choices.end(), value.word()) == setting.choices.end()) {
    std::vector<std::string> names(setting.choices.begin(), setting.choices.end());
    report(Code::choice_unknown, place,
           fmt::format("'{}' is {}, and the formula gives '{}'", setting.key, join_words(names, "or"), value.word()))
        .with_help("give one of these words");
    return Value::poisoned();
  }
  return value;
}

// Told from the setting that stands first in the dictionary, so that the report does not depend on where it was met.
void Evaluator::report_cycle(KeyId key) {
  std::vector<KeyId> ring(std::find(open_.begin(), open_.end(), key), open_.end());
  std::rotate(ring.begin(), std::min_element(ring.begin(), ring.end()), ring.end());
  std::string told;
  for (KeyId each : ring) told += fmt::format("{} -> ", dictionary_.settings[each].key);
  told += dictionary_.settings[ring.front()].key;
  auto next_of = [&](std::size_t i) { return ring[(i + 1) % ring.size()]; };
  std::vector<Related> related;
  for (std::size_t i = 1; i < ring.size(); ++i) {
    related.push_back(
        {place_reading(ring[i], next_of(i)),
         fmt::format("'{}' reads '{}' here", dictionary_.settings[ring[i]].key, dictionary_.settings[next_of(i)].key)});
  }
  bool alone = ring.size() == 1;
  Diagnostic& item = report(Code::formula_cycle, place_reading(ring.front(), next_of(0)),
                            alone ? fmt::format("'{}' is computed from itself", dictionary_.settings[ring.front()].key)
                                  : fmt::format("these settings are computed from each other: {}", told));
  item.help = "give one of them a value of its own";
  if (alone)
    item.help = written_from_itself(ring.front()) ? "use `inherited` for the value below"
                                                  : "leave the setting itself out of that formula";
  item.related = std::move(related);
}

// Does an operation on the setting name the setting, rather than a bound or the default?
bool Evaluator::written_from_itself(KeyId key) const {
  for (const AxisTable* table : axes_) {
    for (std::uint32_t head : {table->head[key], table->adjust[key]}) {
      for (std::uint32_t link = head; link != 0; link = table->links[link].below) {
        const Formula* formula = table->links[link].op->formula;
        if (formula != nullptr && std::find(formula->keys.begin(), formula->keys.end(), key) != formula->keys.end())
          return true;
      }
    }
  }
  return false;
}

// Where the value, a bound or the extrusion of one setting reads another.
Span Evaluator::place_reading(KeyId reader, KeyId read) const {
  auto in = [&](const Formula* formula) -> Span {
    if (formula == nullptr) return {};
    for (const FormulaNode& node : formula->nodes) {
      if (node.op == FormulaOp::key && node.key == read) return formula->place_of(node);
    }
    return {};
  };
  for (std::size_t axis = kind_count; axis-- > 0;) {
    const AxisTable& table = *axes_[axis];
    for (std::uint32_t link = table.head[reader]; link != 0; link = table.links[link].below) {
      if (Span span = in(table.links[link].op->formula); span.known()) return span;
    }
    if (table.adjust[reader] != 0) {
      if (Span span = in(table.links[table.adjust[reader]].op->formula); span.known()) return span;
    }
    for (std::uint32_t i = table.bound_start[reader]; i < table.bound_start[reader + 1]; ++i) {
      if (Span span = in(table.bound_of[i]->formula); span.known()) return span;
    }
  }
  const Setting& setting = dictionary_.settings[reader];
  if (setting.formula_default) {
    if (Span span = in(&*setting.formula_default); span.known()) return span;
  }
  return setting.extrudes ? setting.extrudes->span : setting.span;
}

}  // namespace bindery
