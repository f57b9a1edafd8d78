#include "resolve/profile.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"
#include "resolve/evaluator.h"

namespace bindery {

namespace {

// The facts of a triple, computed when a condition first asks. A condition that reads an unset fact is false; one
// whose facts fail has failed, and is reported where a sink is given.
class Facts {
 public:
  enum class Answer { no, yes, failed };

  // `work` grows by what the answers take.
  Facts(const Tree& tree, const Triple& triple, const std::array<const AxisTable*, kind_count>& axes, Diagnostics* out,
        std::uint64_t& work)
      : tree_(tree), axes_(axes), out_(out), work_(work) {
    profile_.triple = triple;
  }

  Answer ask(const BoundCondition& condition) {
    if (!condition.sound) return Answer::failed;  // its own report stands
    if (!condition.where) return Answer::yes;
    if (!evaluator_) evaluator_.emplace(tree_, axes_, profile_, out_ == nullptr ? silent_ : *out_);
    Plain inputs(*evaluator_);
    std::uint64_t before = evaluator_->work;
    FormulaResult result = evaluate(*condition.where, inputs);
    work_ += inputs.work + evaluator_->work - before;
    if (result.stop == FormulaStop::none) return result.value.flag() ? Answer::yes : Answer::no;
    if (result.stop == FormulaStop::unset) return Answer::no;
    if (result.stop != FormulaStop::poison) {
      const FormulaNode& node = condition.where->nodes[result.node];
      evaluator_
          ->report(Code::formula_value, condition.where->place_of(node),
                   fmt::format("the condition cannot be tested: {}", stop_message(*condition.where, result)))
          .with_help("guard the formula with `if`");
    }
    return Answer::failed;
  }

 private:
  // To a condition, unset is unset, even of a required setting.
  class Plain : public FormulaInputs {
   public:
    explicit Plain(Evaluator& evaluator) : evaluator_(evaluator) {}
    Value read(KeyId key) override { return evaluator_.value_of(key); }

   private:
    Evaluator& evaluator_;
  };

  const Tree& tree_;
  const std::array<const AxisTable*, kind_count>& axes_;
  Diagnostics* out_;
  std::uint64_t& work_;
  Profile profile_;
  Diagnostics silent_;
  std::optional<Evaluator> evaluator_;
};

std::string bare_text(const Value& value) {
  switch (value.tag()) {
    case Value::Tag::number: return write_number(value.number());
    case Value::Tag::flag: return value.flag() ? "true" : "false";
    case Value::Tag::list: {
      std::string out;
      for (const Value& item : value.items()) out += (out.empty() ? "" : " ") + bare_text(item);
      return out;
    }
    default: return std::string(value.word());
  }
}

// Writes the scripts of a profile, and notes where each line comes from.
class ScriptWriter {
 public:
  ScriptWriter(const Dictionary& dictionary, Evaluator& evaluator, Profile& profile)
      : dictionary_(dictionary), evaluator_(evaluator), profile_(profile) {}

  void write(ScriptSlot slot, const std::vector<const ScriptOp*>& ops) {
    text_.clear();
    lines_.clear();
    bool sound = true;
    for (const ScriptOp* op : ops) {
      if (!text_.empty() && text_.back() != '\n') text_ += '\n';
      sound &= add(*op);
      if (text_.size() <= largest_script) continue;
      evaluator_
          .report(Code::script_large, op->span,
                  fmt::format("the {} script has more than {} KiB", name_of(slot), largest_script / 1024))
          .with_help("make it shorter");
      sound = false;
      break;
    }
    if (!sound) {
      profile_.whole = false;
      return;
    }
    profile_.scripts[static_cast<std::size_t>(slot)] = std::move(text_);
    profile_.script_lines[static_cast<std::size_t>(slot)] = std::move(lines_);
  }

 private:
  // False where a placeholder has no value, after a report.
  bool add(const ScriptOp& op) {
    if (!op.text) return false;
    std::size_t offset = 0;  // in the text of the operation
    for (const TemplatePiece& piece : op.text->pieces) {
      if (text_.size() > largest_script) return true;
      if (piece.of != TemplatePiece::Of::formula) {
        offset = static_cast<std::size_t>(piece.literal.data() - op.source->text.data());
        add(op, piece.literal, offset, true);
        offset += piece.literal.size();
        continue;
      }
      auto value = value_of(op, *piece.formula);
      if (!value) return false;
      add(op, *value, offset, false);
    }
    return true;
  }

  // `exact`: the bytes are those of the operation's text from `offset` on.
  void add(const ScriptOp& op, std::string_view piece, std::size_t offset, bool exact) {
    for (std::size_t at = 0, end = 0; at < piece.size(); at = end) {
      end = std::min(piece.find('\n', at), piece.size() - 1) + 1;
      if (text_.empty() || text_.back() == '\n')
        lines_.push_back({&op, static_cast<std::uint32_t>(exact ? offset + at : offset)});
      text_ += piece.substr(at, end - at);
    }
  }

  std::optional<std::string> value_of(const ScriptOp& op, const Formula& formula) {
    auto value = evaluator_.compute(formula, {"the script", name_of(op.slot), '`'});
    return value ? std::optional(placeholder_text(dictionary_, formula, *value)) : std::nullopt;
  }

  const Dictionary& dictionary_;
  Evaluator& evaluator_;
  Profile& profile_;
  std::string text_;
  std::vector<ScriptLine> lines_;
};

void write_scripts(const Dictionary& dictionary, const std::array<const AxisTable*, kind_count>& axes,
                   Evaluator& evaluator, Profile& profile) {
  auto gathered = gather_scripts(axes);
  ScriptWriter writer(dictionary, evaluator, profile);
  for (std::size_t slot = 0; slot < script_slots; ++slot) {
    if (!gathered[slot].empty()) writer.write(static_cast<ScriptSlot>(slot), gathered[slot]);
  }
}

}  // namespace

std::string placeholder_text(const Dictionary& dictionary, const Formula& formula, const Value& value) {
  const FormulaNode& root = formula.nodes[formula.root];
  const Unit* unit = root.op == FormulaOp::key ? dictionary.settings[root.key].unit : nullptr;
  return value.is(Value::Tag::number) && unit != nullptr ? write_number(unit->from_base(value.number()))
                                                         : bare_text(value);
}

GatheredScripts gather_scripts(const Resolver::Axes& axes) {
  GatheredScripts out;
  for (const AxisTable* table : axes) {
    for (const ScriptOp* op : table->scripts) {
      auto& texts = out[static_cast<std::size_t>(op->slot)];
      if (op->act == RawScript::Act::drop || op->act == RawScript::Act::replace) texts.clear();
      if (op->act == RawScript::Act::before) texts.insert(texts.begin(), op);
      else if (op->act != RawScript::Act::drop) texts.push_back(op);
    }
  }
  return out;
}

std::string profile_id(const Tree& tree, const Triple& triple) {
  std::string out;
  for (FragmentId each : triple.of) out.append(out.empty() ? "" : "/").append(tree[each].name());
  return out;
}

std::string profile_title(const Tree& tree, const Triple& triple) {
  return fmt::format("{} / {} / {}", tree[triple.of[0]].title, tree[triple.of[1]].title, tree[triple.of[2]].title);
}

std::string_view Profile::how(KeyId key) const {
  const Op* op = top(key);
  return op == nullptr || op->kind == OpKind::unset ? "default" : name_of(op->kind);
}

const AxisTable& Resolver::table(FragmentId fragment, const ActiveBlocks& active) {
  auto& slot = tables_[{fragment, active}];
  if (!slot) slot = std::make_unique<AxisTable>(build_axis(tree_, fragment, active));
  return *slot;
}

Resolver::Axes Resolver::plain_axes(const Triple& triple) {
  Axes axes{};
  for (std::size_t k = 0; k < kind_count; ++k) axes[k] = &table(triple.of[k], {});
  return axes;
}

Resolver::Axes Resolver::axes_of(const Triple& triple, Diagnostics* out) {
  Axes plain = plain_axes(triple), axes = plain;
  Facts facts(tree_, triple, plain, out, work_);
  for (std::size_t k = 0; k < kind_count; ++k) {
    ActiveBlocks active;
    const auto& linear = tree_[triple.of[k]].linear;
    for (auto at = linear.rbegin(); at != linear.rend(); ++at) {
      // A `fits` that fails does not refuse; it is told here.
      if (out != nullptr && tree_[*at].fits) facts.ask(*tree_[*at].fits);
      const auto& layers = tree_[*at].layers;
      for (std::uint32_t i = 1; i < layers.size(); ++i) {
        if (names_hold(tree_, layers[i].condition->names, triple.of, &work_) &&
            facts.ask(*layers[i].condition) == Facts::Answer::yes)
          active.push_back({*at, i});
      }
    }
    if (!active.empty()) axes[k] = &table(triple.of[k], active);
  }
  return axes;
}

std::optional<Refusal> Resolver::refused(const Triple& triple, bool names_hold) {
  std::vector<Refusal> found = find_refusals(triple, false, names_hold);
  if (found.empty()) return std::nullopt;
  return std::move(found.front());
}

std::vector<Refusal> Resolver::find_refusals(const Triple& triple, bool all, bool names_hold) {
  std::vector<Refusal> found;
  std::optional<Axes> plain;
  std::optional<Facts> facts;
  for (std::size_t k = 0; k < kind_count; ++k) {
    for (FragmentId each : tree_[triple.of[k]].linear) {
      const auto& fits = tree_[each].fits;
      if (!fits) continue;
      for (std::size_t other = 0; other < kind_count && !names_hold; ++other) {
        const BoundFragment& partner = tree_[triple.of[other]];
        if (admits(fits->names[other], partner.name(), &work_)) continue;
        found.push_back(
            {each, fits->span, fmt::format("it does not fit the {} '{}'", name_of(partner.kind()), partner.name())});
        if (!all) return found;
      }
      if (!fits->where && fits->sound) continue;
      if (!facts) {
        plain = plain_axes(triple);
        facts.emplace(tree_, triple, *plain, nullptr, work_);
      }
      if (facts->ask(*fits) != Facts::Answer::no) continue;
      found.push_back({each, fits->span, fmt::format("`{}` does not hold", fits->where->text.text)});
      if (!all) return found;
    }
  }
  return found;
}

Profile Resolver::resolve_some(const Triple& triple, const std::vector<KeyId>& keys, bool scripts, Diagnostics& out,
                               Axes* tables) {
  Profile profile;
  profile.triple = triple;
  Axes axes = axes_of(triple, &out);
  if (tables != nullptr) *tables = axes;
  Evaluator evaluator(tree_, axes, profile, out);
  for (KeyId key : keys) evaluator.read(key);
  if (scripts) write_scripts(tree_.dictionary, axes, evaluator, profile);
  return profile;
}

Profile Resolver::resolve(const Triple& triple, Diagnostics& out, Axes* tables) {
  Profile profile;
  std::uint64_t before = work_;
  profile.triple = triple;
  Axes axes = axes_of(triple, &out);
  if (tables != nullptr) *tables = axes;
  Evaluator evaluator(tree_, axes, profile, out);
  for (KeyId key = 0; key < tree_.dictionary.settings.size(); ++key) evaluator.read(key);
  write_scripts(tree_.dictionary, axes, evaluator, profile);

  Diagnostics locks;
  for (std::size_t lower = 0; lower < kind_count; ++lower) {
    for (std::size_t upper = lower + 1; upper < kind_count; ++upper)
      check_locks_between(tree_, *axes[lower], *axes[upper], locks);
  }
  for (Diagnostic& item : locks.items()) {
    item.profile = profile_id(tree_, triple);
    item.profiles = 1;
    profile.whole = false;
    out.add(std::move(item));
  }
  for (std::size_t k = 0; k < kind_count; ++k) profile.whole &= !tree_[triple.of[k]].broken;
  profile.work = evaluator.work + work_ - before;
  for (const auto& text : profile.scripts) profile.work += text ? text->size() * work_a_byte : 0;
  return profile;
}

}  // namespace bindery
