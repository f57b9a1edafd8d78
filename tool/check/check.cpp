#include "check/check.h"

#include <algorithm>
#include <numeric>
#include <tuple>

#include <fmt/format.h>

#include "base/number.h"
#include "base/parallel.h"
#include "check/finished.h"
#include "check/scripts.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

class Checker {
 public:
  Checker(const Tree& tree, const Profile& profile, Diagnostics& out)
      : tree_(tree), dictionary_(tree.dictionary), profile_(profile), out_(out) {}

  // Gives the operations of formulas that it took.
  std::uint64_t check() {
    for (KeyId key = 0; key < dictionary_.settings.size(); ++key) {
      const Setting& setting = dictionary_.settings[key];
      const Value& value = profile_.cells[key].value;
      if (value.is(Value::Tag::unset) && setting.required) report_missing(setting);
      if (value.is(Value::Tag::number)) check_number(key, value.number());
      for (const Value& item : value.items()) {
        if (item.is(Value::Tag::number) && !check_number(key, item.number())) break;  // one report a setting
      }
    }
    for (const Rule& rule : dictionary_.rules) check_rule(rule);
    return work_;
  }

 private:
  Diagnostic& report(Code code, Span span, std::string_view message) {
    return report(code, describe(code).severity, span, message);
  }
  Diagnostic& report(Code code, Severity severity, Span span, std::string_view message) {
    Diagnostic& item = out_.add(code, severity, span, message);
    item.profile = profile_id(tree_, profile_.triple);
    item.profiles = 1;
    return item;
  }

  void report_missing(const Setting& setting) {
    std::size_t kind = 0;
    while (kind + 1 < kind_count && !setting.written_by[kind]) ++kind;
    const BoundFragment& fragment = tree_[profile_.triple.of[kind]];
    report(Code::setting_required, fragment.raw->span,
           fmt::format("{} does not say '{}', which every profile needs", fragment.id(), setting.key))
        .with_help(fmt::format("write `{}` under `settings` of it or of what it extends", setting.key))
        .with_related(setting.span, "required here")
        .setting = setting.key;
  }

  // Warns of what is possible and unusual; the range itself is the resolver's. False where it reported.
  bool check_number(KeyId key, double number) {
    const Setting& setting = dictionary_.settings[key];
    if (!setting.typical) return true;
    const Interval& usual = *setting.typical;
    bool inside = (number >= usual.low || same_value(number, usual.low)) &&
                  (number <= usual.high || same_value(number, usual.high));
    if (inside) return true;
    if (out_.skip(Code::range_untypical)) return false;
    report(Code::range_untypical, place_of(key),
           fmt::format("'{}' is {}, outside what is usual, {} to {}", setting.key, written(setting, number),
                       write_number(usual.low), written(setting, usual.high)))
        .with_help("check that it is meant so")
        .with_related(usual.span, "the usual range");
    return false;
  }

  // The topmost operation, or the dictionary's entry.
  Span place_of(KeyId key) const {
    const Op* top = profile_.top(key);
    return top == nullptr ? dictionary_.settings[key].span : top->value_span;
  }

  void check_rule(const Rule& rule) {
    Finished inputs(profile_);
    FormulaResult result = evaluate(rule.assertion, inputs);
    work_ += inputs.work;
    if (result.stop == FormulaStop::unset || result.stop == FormulaStop::poison) return;
    if (result.stop != FormulaStop::none) {
      report(Code::formula_value, rule.assertion.place_of(rule.assertion.nodes[result.node]),
             fmt::format("the rule '{}' cannot be tested: {}", rule.name, stop_message(rule.assertion, result)))
          .with_help("guard the formula with `if`");
      return;
    }
    if (result.value.flag() || out_.skip(rule.severity)) return;
    Diagnostic& item = report(Code::rule_broken, rule.severity, blame(rule), say(rule, inputs));
    item.rule = rule.name;
    item.help = rule.help;
    if (item.span != rule.span) item.with_related(rule.span, fmt::format("the rule '{}'", rule.name));
  }

  // The place to change: of what the rule reads, the operation of the latest axis.
  Span blame(const Rule& rule) const {
    const Op* best = nullptr;
    for (KeyId key : rule.assertion.keys) {
      const Op* top = profile_.top(key);
      if (top == nullptr) continue;
      if (best == nullptr || tree_[top->fragment].kind() > tree_[best->fragment].kind()) best = top;
    }
    return best == nullptr ? rule.span : best->value_span;
  }

  std::string say(const Rule& rule, Finished& inputs) const {
    std::string out;
    for (const TemplatePiece& piece : rule.say.pieces) {
      if (piece.of != TemplatePiece::Of::formula) {
        out += piece.literal;
        continue;
      }
      const FormulaNode& root = piece.formula->nodes[piece.formula->root];
      if (root.op == FormulaOp::key) {
        out += written(dictionary_.settings[root.key], profile_.cells[root.key].value);
        continue;
      }
      FormulaResult result = evaluate(*piece.formula, inputs);
      if (result.stop != FormulaStop::none) out += "?";
      else if (result.value.is(Value::Tag::number)) out += write_number(result.value.number());
      else
        out += result.value.is(Value::Tag::flag) ? (result.value.flag() ? "true" : "false")
                                                 : std::string(result.value.word());
    }
    return out;
  }

  const Tree& tree_;
  const Dictionary& dictionary_;
  const Profile& profile_;
  Diagnostics& out_;
  std::uint64_t work_ = 0;
};

}  // namespace

void mark_tier(Diagnostics& reports, std::size_t from, Tier tier) {
  for (std::size_t i = from; i < reports.items().size(); ++i) reports.items()[i].supporters = tier == Tier::supporter;
}

Hottest check_profile(const Tree& tree, const Profile& profile, const Resolver::Axes& axes, Diagnostics& out,
                      std::uint64_t* work) {
  std::uint64_t of_rules = Checker(tree, profile, out).check();
  if (work != nullptr) *work += of_rules;
  return check_scripts(tree, profile, axes, out, work);
}

namespace {

// The numbers of all profiles and then all drafts, the profiles by machine, process and material: those that follow each
// other share the tables of two axes, and of machines and processes there are many.
std::vector<std::uint32_t> in_order_of_tables(const Selection& selection) {
  std::vector<std::uint32_t> order(selection.profiles.size() + selection.drafts.size());
  std::iota(order.begin(), order.end(), 0u);
  auto key = [&](std::uint32_t i) {
    const auto& [machine, material, process] = selection.profiles[i].triple.of;
    return std::tuple(machine, process, material);
  };
  std::sort(order.begin(), order.begin() + static_cast<std::ptrdiff_t>(selection.profiles.size()),
            [&](std::uint32_t a, std::uint32_t b) { return key(a) < key(b); });
  return order;
}

}  // namespace

void check_selection(const Tree& tree, const Selection& selection, unsigned jobs, Diagnostics& out,
                     const CheckForm& form) {
  if (tree.dictionary.broken) return;
  std::vector<std::uint32_t> order = in_order_of_tables(selection);
  std::size_t count = order.size();
  constexpr std::size_t block = 64;  // profiles a task: neighbours share their axes
  std::size_t blocks = (count + block - 1) / block;
  Diagnostics all;
  auto check_block = [&](std::size_t b) {
    Diagnostics reports;
    Resolver resolver(tree);
    for (std::size_t at = b * block; at < std::min((b + 1) * block, count); ++at) {
      std::size_t i = order[at];
      const Triple& triple = i < selection.profiles.size() ? selection.profiles[i].triple
                                                           : selection.drafts[i - selection.profiles.size()];
      bool published = i < selection.profiles.size();
      if (form.progress != nullptr) form.progress->advance();
      if (published && form.is_known && form.is_known(i)) continue;
      Tier tier = !form.by_tier ? Tier::free : published ? selection.profiles[i].tier : fragment_tier(tree, triple);
      Diagnostics own(most::reports);
      Resolver::Axes axes;
      Profile profile = resolver.resolve(triple, own, &axes);
      check_profile(tree, profile, axes, own);
      if (form.take && published && !own.any_errors()) form.take(i, profile);
      own.shorten(0, most::reports);
      mark_tier(own, 0, tier);
      if (form.take_reports && !own.items().empty()) form.take_reports(i, own);
      reports.join(std::move(own));
    }
    reports.settle();
    return reports;
  };
  // What is reported is folded before others go far ahead.
  parallel_in_order(blocks, jobs, check_block,
                    [&](std::size_t, Diagnostics&& reports) { all.fold(std::move(reports)); });
  all.settle();
  all.shorten(0, most::reports_in_all);
  out.join(std::move(all));
}

}  // namespace bindery
