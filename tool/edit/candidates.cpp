#include "edit/candidates.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/number.h"

namespace bindery {

namespace {

class CandidateFinder {
 public:
  CandidateFinder(const Tree& tree, const Profile& profile, const Wish& wish, const std::optional<FragmentId>& into)
      : tree_(tree), profile_(profile), wish_(wish), into_(into), setting_(tree.dictionary.settings[wish.key]) {
    const Cell& cell = profile.cells[wish.key];
    for (std::uint32_t i = 0; i < cell.steps; ++i) {
      const Step& step = profile.steps[cell.first_step + i];
      (step.adjust ? adjusts_ : settings_).push_back(&step);
    }
  }

  std::vector<Candidate> find() {
    below_ = wish_.value;
    bool reachable = !wish_.value || undo_adjusts();
    bool other = follows_others();
    if (other) corrections("the formula `{}` reads what others write, so it stays, and this is added");
    if (reachable) {
      in_place();
      new_lines();
    }
    if (!other) corrections("as a correction, since what is written under `settings` does not reach the value");
    return std::move(out_);
  }

 private:
  bool is_number() const { return wish_.value && wish_.value->of == CellValue::Of::number; }
  const Op* top() const { return settings_.empty() ? nullptr : settings_.back()->op; }

  bool may_edit(FragmentId fragment) const {
    if (into_) return fragment == *into_;
    return std::any_of(profile_.triple.of.begin(), profile_.triple.of.end(),
                       [&](FragmentId own) { return fragment == own || is_base(fragment, own); });
  }

  const Formula* formula() const {
    if (const Op* op = top(); op != nullptr) return op->kind == OpKind::calc ? op->formula : nullptr;
    return setting_.formula_default ? &*setting_.formula_default : nullptr;
  }

  // Does the value come out of a formula over settings that other kinds of fragment write? A plain value would then
  // hold for every partner.
  bool follows_others() const {
    const Formula* found = formula();
    if (found == nullptr) return false;
    FragmentId target = own_fragments().front();
    auto kind = static_cast<std::size_t>(tree_[target].kind());
    return std::any_of(found->keys.begin(), found->keys.end(),
                       [&](KeyId key) { return !tree_.dictionary.settings[key].written_by[kind]; });
  }

  // Is it the fragment that the fitting is written in?
  bool is_base(FragmentId base, FragmentId fitting) const {
    const Fragment& raw = *tree_[fitting].raw;
    return raw.base && *raw.base == tree_[base].name() && tree_[base].kind() == raw.kind;
  }

  // Does it stand in the fragment's own part, where an edit reaches it?
  bool in_own_part(const Op& op, bool adjust) const {
    const Layer& own = tree_[op.fragment].layers.front();
    const auto& ops = adjust ? own.adjust : own.settings;
    return std::any_of(ops.begin(), ops.end(), [&](const Op& each) { return &each == &op; });
  }

  // The value that must stand below the corrections. False where they cannot be undone.
  bool undo_adjusts() {
    for (auto at = adjusts_.rbegin(); at != adjusts_.rend(); ++at) {
      const Op* op = (*at)->op;
      if (op == nullptr || !is_number()) return false;
      if (op->kind == OpKind::add) below_->number -= op->amount;
      else if (op->kind == OpKind::scale && op->amount != 0) below_->number /= op->amount;
      else return false;
    }
    return true;
  }

  std::string number_text(double number) const {
    std::string_view unit = setting_.unit_text();
    return unit.empty() ? write_number(number) : fmt::format("{} {}", write_number(number), unit);
  }

  // A difference is told in K where the setting counts from 0 degC.
  std::string difference_text(double number) const {
    if (setting_.unit == nullptr || setting_.unit->bare()) return write_number(number);
    return fmt::format("{} {}", write_number(number),
                       setting_.unit->point ? "K" : std::string_view(setting_.unit->text));
  }

  // In the unit of what stands there, if the value is the same in it.
  std::string in_unit_of(const Op& op, double number) const {
    const SourceFile& file = (*tree_.sources)[op.value_span.file];
    std::string_view text =
        std::string_view(file.text).substr(op.value_span.begin, op.value_span.end - op.value_span.begin);
    while (!text.empty() && (text.front() == '"' || text.front() == '\'')) {
      text.remove_prefix(1);
      text.remove_suffix(text.empty() ? 0 : 1);
    }
    auto read = read_number(text);
    if (!read || setting_.unit == nullptr) return number_text(number);
    std::string_view name = text.substr(read->length);
    while (name.starts_with(' ')) name.remove_prefix(1);
    const Unit* unit = name.empty() ? nullptr : tree_.dictionary.units->find(name);
    if (unit == nullptr || unit->text == setting_.unit->text || !convertible(*unit, *setting_.unit))
      return number_text(number);
    std::string told = write_number(converted(number, setting_.unit, unit));
    auto back = read_number(told);
    if (!back || !same_value(converted(back->value, unit, setting_.unit), number)) return number_text(number);
    return fmt::format("{} {}", told, name);
  }

  // A ratio in % where it stands so.
  std::string ratio_text(const Op& op, double ratio) const {
    const SourceFile& file = (*tree_.sources)[op.value_span.file];
    std::string_view text =
        std::string_view(file.text).substr(op.value_span.begin, op.value_span.end - op.value_span.begin);
    bool share = text.find('%') != std::string_view::npos;
    return share ? fmt::format("{} %", write_number(100 * ratio)) : write_number(ratio);
  }

  std::string scalar_text(const CellValue& value) const {
    switch (value.of) {
      case CellValue::Of::number: return number_text(value.number);
      case CellValue::Of::flag: return value.flag ? "true" : "false";
      default: return value.word;
    }
  }

  FragmentEdit edit_of(FragmentId fragment) const {
    FragmentEdit edit;
    edit.fragment = tree_[fragment].name();
    edit.key = setting_.key;
    return edit;
  }

  // The value itself.
  FragmentEdit literal(FragmentId fragment, const Op* like) const {
    FragmentEdit edit = edit_of(fragment);
    if (!below_) {
      edit.op = OpKind::unset;
    } else if (below_->of == CellValue::Of::list) {
      edit.is_list = true;
      for (const CellValue& item : below_->items) edit.items.push_back(scalar_text(item));
    } else {
      edit.scalar = like != nullptr && below_->of == CellValue::Of::number ? in_unit_of(*like, below_->number)
                                                                           : scalar_text(*below_);
    }
    return edit;
  }

  void in_place() {
    const Op* op = top();
    if (op == nullptr || !may_edit(op->fragment) || !in_own_part(*op, false)) return;
    const Value& after = settings_.back()->after;
    bool number = below_ && below_->of == CellValue::Of::number && after.is(Value::Tag::number);
    Candidate found{literal(op->fragment, op->kind == OpKind::set ? op : nullptr), op->fragment, {}};
    if (op->kind == OpKind::add && number) {
      found.edit.op = OpKind::add;
      found.edit.scalar = difference_text(op->amount + below_->number - after.number());
    } else if (op->kind == OpKind::scale && number && after.number() != 0) {
      found.edit.op = OpKind::scale;
      found.edit.scalar = ratio_text(*op, op->amount * below_->number / after.number());
    } else if (op->kind == OpKind::calc) {
      found.note = fmt::format("it came out of the formula `{}`, which the value replaces",
                               op->formula == nullptr ? "" : op->formula->text.text);
    } else if (op->kind == OpKind::append || op->kind == OpKind::remove) {
      found.note = "the whole list is written, in place of what was added or taken away";
    }
    out_.push_back(std::move(found));
    // A sum or product that does not come out even is written as the value.
    if (op->kind == OpKind::add || op->kind == OpKind::scale)
      out_.push_back({literal(op->fragment, nullptr), op->fragment,
                      fmt::format("written as the value, in place of `{}`", name_of(op->kind))});
  }

  std::string formula_note() const {
    if (const Op* op = top(); op != nullptr) {
      if (op->kind != OpKind::calc || op->formula == nullptr) return {};
      return fmt::format("it came out of the formula `{}` of {}, which the value hides here", op->formula->text.text,
                         tree_[op->fragment].id());
    }
    if (!setting_.formula_default) return {};
    return fmt::format("it came out of the dictionary's formula `{}`, which the value hides here",
                       setting_.default_text);
  }

  // Own fragments in the order of preference: of the kind that wrote the value, then the later kinds, then the others.
  std::vector<FragmentId> own_fragments() const {
    if (into_) return {*into_};
    std::vector<std::size_t> kinds = {2, 1, 0};
    if (const Op* op = top(); op != nullptr) {
      auto kind = static_cast<std::size_t>(tree_[op->fragment].kind());
      std::stable_sort(kinds.begin(), kinds.end(),
                       [&](std::size_t a, std::size_t b) { return (a == kind) > (b == kind); });
    }
    std::vector<FragmentId> out;
    for (std::size_t kind : kinds) out.push_back(profile_.triple.of[kind]);
    return out;
  }

  void new_lines() {
    for (FragmentId fragment : own_fragments()) {
      if (!setting_.written_by[static_cast<std::size_t>(tree_[fragment].kind())]) continue;
      if (const Op* op = top(); op != nullptr && op->fragment == fragment && in_own_part(*op, false)) continue;
      out_.push_back({literal(fragment, nullptr), fragment, formula_note()});
    }
  }

  // `why` may name the formula.
  void corrections(std::string_view why) {
    const Cell& cell = profile_.cells[wish_.key];
    if (!is_number() || setting_.fact || cell.steps == 0) return;
    const Value& now = profile_.steps[cell.first_step + cell.steps - 1].after;
    if (!now.is(Value::Tag::number)) return;
    double missing = wish_.value->number - now.number();
    for (FragmentId fragment : own_fragments()) {
      auto kind = static_cast<std::size_t>(tree_[fragment].kind());
      if (!setting_.written_by[kind] && !setting_.adjusted_by[kind]) continue;
      FragmentEdit edit = edit_of(fragment);
      edit.adjust = true;
      edit.op = OpKind::add;
      double amount = missing;
      const Op* own = nullptr;
      for (const Step* step : adjusts_) {
        if (step->op != nullptr && step->op->fragment == fragment && in_own_part(*step->op, true)) own = step->op;
      }
      if (own != nullptr && own->kind == OpKind::add) amount += own->amount;
      else if (own != nullptr) continue;
      edit.scalar = difference_text(amount);
      const Formula* found = formula();
      std::string note = fmt::format(fmt::runtime(why), found == nullptr ? "" : found->text.text);
      if (!setting_.written_by[kind])
        note = fmt::format("as a correction, since a {} may not write it", name_of(tree_[fragment].kind()));
      out_.push_back({std::move(edit), fragment, std::move(note)});
    }
  }

  const Tree& tree_;
  const Profile& profile_;
  const Wish& wish_;
  const std::optional<FragmentId>& into_;
  const Setting& setting_;
  std::vector<const Step*> settings_, adjusts_;
  std::optional<CellValue> below_;
  std::vector<Candidate> out_;
};

}  // namespace

std::vector<Candidate> candidates(const Tree& tree, const Profile& profile, const Wish& wish,
                                  const std::optional<FragmentId>& into) {
  return CandidateFinder(tree, profile, wish, into).find();
}

}  // namespace bindery
