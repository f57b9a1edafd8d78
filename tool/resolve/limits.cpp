// Limits: what refuses is tested on the uncapped value, then what caps, then the range; the flow limit is a cap on
// speeds.
#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"
#include "resolve/evaluator.h"

namespace bindery {

double bead_area(double width, double height) {
  double w = std::max(width, height), h = std::min(width, height);
  return (w - h) * h + M_PI * h * h / 4;
}

Value Evaluator::limited(KeyId key, Value value, Cell& cell) {
  const Setting& setting = dictionary_.settings[key];
  if (value.is(Value::Tag::number)) return limited_number(key, value.number(), cell);
  if (value.is(Value::Tag::word)) return admitted_word(key, value.word()) ? value : Value::poisoned();
  if (!value.is(Value::Tag::list)) return value;
  bool numbers = setting.type == Type::quantity || setting.type == Type::count;
  if (!numbers) {
    for (const Value& item : value.items()) {
      if (!admitted_word(key, item.word())) return Value::poisoned();
    }
    return value;
  }
  std::vector<Value> items;
  for (const Value& item : value.items()) {
    items.push_back(limited_number(key, item.number(), cell));
    if (items.back().is(Value::Tag::poison)) return items.back();
  }
  return cell.cap < 0 ? value : Value::of_list(&profile_.lists.emplace_back(std::move(items)));
}

Value Evaluator::limited_number(KeyId key, double value, Cell& cell) {
  const Setting& setting = dictionary_.settings[key];
  Side most, least, lowest;
  bool refused = false;
  if (!gather_bounds(key, value, most, least, lowest, refused)) return Value::poisoned();
  bool failed = false;
  std::optional<double> flow = setting.extrudes ? flow_speed(setting, failed) : std::nullopt;
  if (failed) return Value::poisoned();
  if (flow && lowest.any && lowest.limit > *flow && !same_value(lowest.limit, *flow)) {
    report(Code::limit_conflict, lowest.bound->span,
           fmt::format("the limits of '{}' cross: at least {} ({}) and at most {} (the flow limit)", setting.key,
                       written(setting, lowest.limit), tree_[lowest.bound->fragment].id(), written(setting, *flow)))
        .with_help("lower this limit, the width or the layer")
        .with_related(setting.extrudes->span, "what the speed extrudes");
    return Value::poisoned();
  }
  if (flow && setting.refuse && value > *flow && !same_value(value, *flow)) {
    const Op* top = story_.empty() ? nullptr : story_.back().op;
    report(Code::limit_refused, top == nullptr ? setting.span : top->value_span,
           fmt::format("'{}' is {}, and the flow limit admits at most {}", setting.key, written(setting, value),
                       written(setting, *flow)))
        .with_help("lower the speed, the width or the layer")
        .with_related(place_of_value(dictionary_.role(Role::flow_limit)), "where the flow limit comes from");
    return Value::poisoned();
  }
  if (flow && (!most.any || *flow < most.limit)) most = {*flow, nullptr, true};
  if (refused) return Value::poisoned();
  double held = value;
  auto hold = [&](const Side& side, bool upper) {
    cell.cap = static_cast<std::int32_t>(profile_.caps.size());
    profile_.caps.push_back({side.bound, upper, side.limit, value});
    held = side.limit;
  };
  if (most.any && value > most.limit && !same_value(value, most.limit)) hold(most, true);
  else if (least.any && value < least.limit && !same_value(value, least.limit)) hold(least, false);
  if (setting.range && ((held < setting.range->low && !same_value(held, setting.range->low)) ||
                        (held > setting.range->high && !same_value(held, setting.range->high)))) {
    const Op* top = story_.empty() ? nullptr : story_.back().op;
    report(Code::range_exceeded, top == nullptr ? setting.span : top->value_span,
           fmt::format("'{}' is {}, outside its range {} to {}", setting.key, written(setting, held),
                       write_number(setting.range->low), written(setting, setting.range->high)))
        .with_help("write a value inside the range")
        .with_related(setting.range->span, "the range");
    return Value::poisoned();
  }
  return Value::of_number(held);
}

// The tightest caps of each side; reports a refusal and bounds that cross. False where a bound has no value.
bool Evaluator::gather_bounds(KeyId key, double value, Side& most, Side& least, Side& lowest, bool& refused) {
  const Setting& setting = dictionary_.settings[key];
  Side highest;  // like `lowest` with the refusing bounds, to see whether they cross
  const Bound* refusing = nullptr;
  double refusing_limit = 0;
  for (const AxisTable* table : axes_) {
    for (std::uint32_t i = table->bound_start[key]; i < table->bound_start[key + 1]; ++i) {
      const Bound& bound = *table->bound_of[i];
      if (bound.side == RawBound::Side::among) continue;
      double base = bound.base;
      if (bound.formula != nullptr) {
        Value outer = inherited_;
        inherited_ = {};
        auto computed = compute(*bound.formula, {"the limit of", setting.key});
        inherited_ = outer;
        if (!computed) return false;
        base = computed->number();
      }
      double limit = setting.unit == nullptr ? base : setting.unit->from_base(base);
      bool upper = bound.side == RawBound::Side::at_most;
      auto tighten = [&](Side& side) {
        if (!side.any || (upper ? limit < side.limit : limit > side.limit)) side = {limit, &bound, true};
      };
      tighten(upper ? highest : lowest);
      if (!bound.refuse && !setting.refuse) {
        tighten(upper ? most : least);
        continue;
      }
      bool breaks = (upper ? value > limit : value < limit) && !same_value(value, limit);
      bool tighter = refusing == nullptr || std::fabs(value - limit) > std::fabs(value - refusing_limit);
      if (breaks && tighter) {
        refusing = &bound;
        refusing_limit = limit;
      }
    }
  }
  if (highest.any && lowest.any && lowest.limit > highest.limit && !same_value(lowest.limit, highest.limit)) {
    report(Code::limit_conflict, highest.bound->span,
           fmt::format("the limits of '{}' cross: at most {} ({}) and at least {} ({})", setting.key,
                       written(setting, highest.limit), tree_[highest.bound->fragment].id(),
                       written(setting, lowest.limit), tree_[lowest.bound->fragment].id()))
        .with_help("widen one of the two")
        .with_related(lowest.bound->span, "the other limit");
    return false;
  }
  if (refusing != nullptr) {
    refused = true;
    const Op* top = story_.empty() ? nullptr : story_.back().op;
    bool upper = refusing->side == RawBound::Side::at_most;
    report(
        Code::limit_refused, top == nullptr ? setting.span : top->value_span,
        fmt::format("'{}' is {}, and {} admits {} {}", setting.key, written(setting, value),
                    tree_[refusing->fragment].id(), upper ? "at most" : "at least", written(setting, refusing_limit)))
        .with_help(upper ? "write a lower value" : "write a higher value")
        .with_related(refusing->span, "the limit");
  }
  return true;
}

bool Evaluator::admitted_word(KeyId key, std::string_view word) {
  for (const AxisTable* table : axes_) {
    for (std::uint32_t i = table->bound_start[key]; i < table->bound_start[key + 1]; ++i) {
      const Bound& bound = *table->bound_of[i];
      if (bound.side != RawBound::Side::among ||
          std::find(bound.words.begin(), bound.words.end(), word) != bound.words.end())
        continue;
      const Setting& setting = dictionary_.settings[key];
      const Op* top = story_.empty() ? nullptr : story_.back().op;
      std::vector<std::string> words(bound.words.begin(), bound.words.end());
      report(Code::limit_refused, top == nullptr ? setting.span : top->value_span,
             fmt::format("'{}' is '{}', and {} admits {}", setting.key, word, tree_[bound.fragment].id(),
                         join_words(words, "or")))
          .with_help("write one of these words")
          .with_related(bound.span, "the limit");
      return false;
    }
  }
  return true;
}

// The topmost operation on a key that was read, or its entry in the dictionary.
Span Evaluator::place_of_value(KeyId key) const {
  const Op* top = profile_.top(key);
  return top == nullptr ? dictionary_.settings[key].span : top->key_span;
}

// A quantity that the flow limit reads, in working units; `failed` where it has none.
std::optional<double> Evaluator::quantity(KeyId key, Span wanted_at, std::string_view why, bool& failed) {
  Value value = read(key);
  const Setting& setting = dictionary_.settings[key];
  if (value.is(Value::Tag::number)) return setting.unit->to_base(value.number());
  failed = true;
  if (value.is(Value::Tag::unset)) {
    report(Code::setting_unset, wanted_at,
           fmt::format("the flow limit of '{}' cannot be computed: '{}' has no value", why, setting.key))
        .with_help(fmt::format("set '{}' in a fragment", setting.key));
  }
  return std::nullopt;
}

// The speed at which bead area x speed x flow ratio reaches the flow limit, in the setting's unit. Nothing where
// the tree has no flow limit or extrudes nothing.
std::optional<double> Evaluator::flow_speed(const Setting& setting, bool& failed) {
  KeyId limit_key = dictionary_.role(Role::flow_limit);
  if (limit_key == no_key) return std::nullopt;
  Value limit = read(limit_key);
  if (limit.is(Value::Tag::poison)) failed = true;
  if (!limit.is(Value::Tag::number)) return std::nullopt;
  double flow = dictionary_.settings[limit_key].unit->to_base(limit.number());
  double ratio = 1;
  if (KeyId key = dictionary_.role(Role::flow_ratio); key != no_key) {
    Value value = read(key);
    if (value.is(Value::Tag::poison)) failed = true;
    if (value.is(Value::Tag::number)) ratio = dictionary_.settings[key].unit->to_base(value.number());
  }
  const Extrusion& extrusion = *setting.extrudes;
  double area = 0;
  if (extrusion.area != no_key) {
    area = quantity(extrusion.area, extrusion.span, setting.key, failed).value_or(0);
  } else {
    auto width = quantity(extrusion.width, extrusion.span, setting.key, failed);
    auto height = quantity(extrusion.height, extrusion.span, setting.key, failed);
    if (width && height) area = bead_area(*width, *height);
  }
  double demand = area * ratio;
  if (failed || demand <= 0) return std::nullopt;
  return setting.unit->from_base(flow / demand);
}

}  // namespace bindery
