#include "changes/trace.h"

#include <algorithm>

#include "base/number.h"

namespace bindery {

namespace {

constexpr std::size_t other(std::size_t side) { return 1 - side; }

// Evaluates a formula over finished cells and notes what it reads on the way that it takes.
class Reads : public FormulaInputs {
 public:
  Reads(const Profile& profile, Value inherited) : profile_(profile), inherited_(inherited) {}
  Value read(KeyId key) override {
    keys.push_back(key);
    return profile_.cells[key].value;
  }
  Value inherited() override { return inherited_; }

  std::vector<KeyId> keys;

 private:
  const Profile& profile_;
  Value inherited_;
};

template <typename T>
bool holds(const std::vector<T>& list, const T& item) {
  return !list.empty() && &item >= list.data() && &item < list.data() + list.size();
}

}  // namespace

std::uint32_t layer_of(const BoundFragment& fragment, const Op& op) {
  for (std::uint32_t i = 0; i < fragment.layers.size(); ++i) {
    if (holds(fragment.layers[i].settings, op) || holds(fragment.layers[i].adjust, op)) return i;
  }
  return 0;
}

std::uint32_t layer_of(const BoundFragment& fragment, const Bound& bound) {
  for (std::uint32_t i = 0; i < fragment.layers.size(); ++i) {
    if (holds(fragment.layers[i].bounds, bound)) return i;
  }
  return 0;
}

std::uint32_t layer_of(const BoundFragment& fragment, const ScriptOp& op) {
  for (std::uint32_t i = 0; i < fragment.layers.size(); ++i) {
    if (holds(fragment.layers[i].scripts, op)) return i;
  }
  return 0;
}

CommonKeys common_keys(const Dictionary& from, const Dictionary& to) {
  CommonKeys out;
  out.number[0].assign(from.settings.size(), CommonKeys::none);
  out.number[1].assign(to.settings.size(), CommonKeys::none);
  auto add = [&](KeyId old, KeyId now) {
    auto number = static_cast<std::uint32_t>(out.key[1].size());
    out.key[0].push_back(old);
    out.key[1].push_back(now);
    if (old != no_key) out.number[0][old] = number;
    if (now != no_key) out.number[1][now] = number;
  };
  for (KeyId now = 0; now < to.settings.size(); ++now) add(from.find(to.settings[now].key), now);
  for (KeyId old = 0; old < from.settings.size(); ++old) {
    if (out.number[0][old] == CommonKeys::none) add(old, no_key);
  }
  return out;
}

bool written_equal(const Setting& left, const Value& a, const Setting& right, const Value& b) {
  if (a.tag() != b.tag()) return false;
  switch (a.tag()) {
    case Value::Tag::number:
      if (left.unit_text() != right.unit_text()) return false;
      return a.number() == b.number() || write_number(a.number()) == write_number(b.number());
    case Value::Tag::flag: return a.flag() == b.flag();
    case Value::Tag::word: return a.word() == b.word();
    case Value::Tag::list:
      return a.items().size() == b.items().size() && left.unit_text() == right.unit_text() &&
             std::equal(a.items().begin(), a.items().end(), b.items().begin(),
                        [&](const Value& x, const Value& y) { return written_equal(left, x, right, y); });
    default: return true;
  }
}

bool Tracer::differs(std::uint32_t number) const {
  KeyId old = keys_.key[0][number], now = keys_.key[1][number];
  if (old == no_key || now == no_key) return true;
  return !written_equal(setting(0, old), cell(0, old).value, setting(1, now), cell(1, now).value);
}

bool Tracer::in_chain(std::size_t side, FragmentId fragment) const {
  if (fragment == no_fragment) return false;
  const Tree& tree = *halves_[side].tree;
  const auto& linear = tree[halves_[side].triple.of[static_cast<std::size_t>(tree[fragment].kind())]].linear;
  return std::find(linear.begin(), linear.end(), fragment) != linear.end();
}

bool Tracer::in_force(std::size_t side, FragmentId fragment, std::uint32_t layer) const {
  if (!in_chain(side, fragment)) return false;
  if (layer == 0) return true;
  auto kind = static_cast<std::size_t>((*halves_[side].tree)[fragment].kind());
  const ActiveBlocks& blocks = halves_[side].axes[kind]->blocks;
  return std::find(blocks.begin(), blocks.end(), LayerRef{fragment, layer}) != blocks.end();
}

void Tracer::add_schema(Part part, std::string_view name, EditSet& out) const {
  std::uint32_t edit = edits_.find(1, {no_fragment, 0, part, std::string(name)});
  if (edit != EditTable::none) out.insert(edit);
}

// A fragment stands in the chain of one side alone: by which `extends`?
void Tracer::add_inheritance(std::size_t side, FragmentId fragment, Suspects& out) const {
  auto kind = static_cast<std::size_t>((*halves_[side].tree)[fragment].kind());
  auto found = inheritance_edits({halves_[0].tree, halves_[1].tree}, map_, edits_, side, halves_[side].triple.of[kind],
                                 fragment);
  out.fixed.insert(found.begin(), found.end());
}

// A `when` block is in force on one side alone: by its condition, by a name or by a fact?
void Tracer::add_condition(std::size_t side, FragmentId fragment, std::uint32_t layer, Suspects& out) const {
  std::uint32_t edit = edits_.find(side, {fragment, layer, Part::when, "when"});
  if (edit != EditTable::none) out.fixed.insert(edit);
  const auto& condition = (*halves_[side].tree)[fragment].layers[layer].condition;
  for (std::size_t k = 0; k < kind_count; ++k) {
    if (!condition || condition->names[k].empty()) continue;
    std::uint32_t rename = edits_.find(side, {halves_[side].triple.of[k], 0, Part::replaces, "name"});
    if (rename != EditTable::none) out.fixed.insert(rename);
  }
  auto add_facts = [&](std::size_t at, const Layer& block) {
    if (!block.condition || !block.condition->where) return;
    for (KeyId key : block.condition->where->keys) {
      std::uint32_t number = keys_.number[at][key];
      if (!differs(number)) continue;
      out.facts.insert(number);
      out.by_facts.insert(static_cast<std::size_t>((*halves_[at].tree)[fragment].kind()));
    }
  };
  add_facts(side, (*halves_[side].tree)[fragment].layers[layer]);
}

void Tracer::add_operation(std::size_t side, FragmentId fragment, std::uint32_t layer, const Address& address,
                           Suspects& out) const {
  std::uint32_t edit = edits_.find(side, address);
  if (edit != EditTable::none) out.edits.insert(edit);
  FragmentId twin = map_.of(side, fragment);
  if (!in_chain(other(side), twin)) return add_inheritance(side, fragment, out);
  if (layer == 0) return;
  auto block = edits_.blocks[side].find({fragment, layer});
  if (block != edits_.blocks[side].end() && !in_force(other(side), twin, block->second))
    add_condition(side, fragment, layer, out);
}

void Tracer::add_input(std::size_t side, KeyId key, Suspects& out) const {
  std::uint32_t number = keys_.number[side][key];
  if (differs(number)) out.inputs.insert(number);
}

void Tracer::add_reads(std::size_t side, const Formula& formula, const Value& inherited, Suspects& out) const {
  Reads reads(*halves_[side].profile, inherited);
  evaluate(formula, reads);
  for (KeyId key : reads.keys) add_input(side, key, out);
}

void Tracer::add_default(std::size_t side, std::uint32_t number, Suspects& out) const {
  const Setting& entry = setting(side, keys_.key[side][number]);
  add_schema(Part::standard, entry.key, out.edits);
  if (entry.formula_default) add_reads(side, *entry.formula_default, Value(), out);
}

void Tracer::add_story(std::size_t side, std::uint32_t number, Suspects& out) const {
  const Half& half = halves_[side];
  const Tree& tree = *half.tree;
  const Cell& own = cell(side, keys_.key[side][number]);
  if (own.steps == 0) add_default(side, number, out);
  Value below;
  for (std::uint32_t i = 0; i < own.steps; ++i) {
    const Step& step = half.profile->steps[own.first_step + i];
    if (step.op == nullptr || step.op->kind == OpKind::unset) add_default(side, number, out);
    if (step.op != nullptr) {
      const Op& op = *step.op;
      std::uint32_t layer = layer_of(tree[op.fragment], op);
      Part part = step.adjust ? Part::adjust : Part::settings;
      std::string key(setting(side, op.key).key);
      add_operation(side, op.fragment, layer, {op.fragment, layer, part, key}, out);
      if (op.formula != nullptr) add_reads(side, *op.formula, below, out);
    }
    below = step.after;
  }
}

// What held the value back on this side.
void Tracer::add_limit(std::size_t side, std::uint32_t number, Suspects& out) const {
  const Half& half = halves_[side];
  const Cell& own = cell(side, keys_.key[side][number]);
  if (own.cap < 0) return;
  const Cap& cap = half.profile->caps[static_cast<std::size_t>(own.cap)];
  const Setting& entry = setting(side, keys_.key[side][number]);
  add_schema(Part::over_limit, entry.key, out.fixed);
  if (cap.bound == nullptr) {
    add_schema(Part::extrudes, entry.key, out.fixed);
    const Dictionary& dictionary = half.tree->dictionary;
    for (Role role : {Role::flow_limit, Role::flow_ratio}) {
      add_schema(Part::role, name_of(role), out.fixed);
      if (dictionary.role(role) != no_key) add_input(side, dictionary.role(role), out);
    }
    for (KeyId key : {entry.extrudes->width, entry.extrudes->height, entry.extrudes->area}) {
      if (key != no_key) add_input(side, key, out);
    }
    return;
  }
  const Bound& bound = *cap.bound;
  const BoundFragment& writer = (*half.tree)[bound.fragment];
  std::uint32_t layer = layer_of(writer, bound);
  std::string pattern(bound.pattern);
  add_operation(side, bound.fragment, layer, {bound.fragment, layer, Part::limits, pattern}, out);
  if (bound.formula != nullptr) add_reads(side, *bound.formula, Value(), out);
}

// Edited operations that the story does not show: one that lay under another may be gone together with it.
void Tracer::add_hidden(std::uint32_t number, Suspects& out) const {
  for (std::size_t side : {0u, 1u}) {
    const Tree& tree = *halves_[side].tree;
    std::string key(setting(side, keys_.key[side][number]).key);
    for (FragmentId own : halves_[side].triple.of) {
      for (FragmentId each : tree[own].linear) {
        if (!edits_.touches(side, each)) continue;
        for (std::uint32_t i = 0; i < tree[each].layers.size(); ++i) {
          for (Part part : {Part::settings, Part::adjust}) {
            std::uint32_t edit = edits_.find(side, {each, i, part, key});
            if (edit != EditTable::none && in_force(side, each, i)) out.edits.insert(edit);
          }
        }
      }
    }
  }
}

// Limits beside the one that holds: an edited one may have held before, or would hold without its edit; and one that a
// block drops or sets is in force by what the block's condition reads.
void Tracer::add_limits_beside(std::uint32_t number, Suspects& out) const {
  for (std::size_t side : {0u, 1u}) {
    const Tree& tree = *halves_[side].tree;
    KeyId key = keys_.key[side][number];
    for (FragmentId own : halves_[side].triple.of) {
      for (FragmentId each : tree[own].linear) {
        for (std::uint32_t i = 0; i < tree[each].layers.size(); ++i) {
          for (const Bound& bound : tree[each].layers[i].bounds) {
            if (std::find(bound.keys.begin(), bound.keys.end(), key) == bound.keys.end() || !in_force(side, each, i))
              continue;
            std::string pattern(bound.pattern);
            add_operation(side, each, i, {each, i, Part::limits, pattern}, out);
          }
        }
      }
    }
  }
}

Tracer::Suspects Tracer::suspects_of(std::uint32_t number) const {
  Suspects out;
  for (std::size_t side : {0u, 1u}) {
    KeyId key = keys_.key[side][number];
    if (key == no_key) {
      add_schema(Part::setting, setting(other(side), keys_.key[other(side)][number]).key, out.fixed);
      return out;
    }
  }
  std::string_view name = setting(1, keys_.key[1][number]).key;
  add_schema(Part::unit, name, out.fixed);
  bool held = false;
  for (std::size_t side : {0u, 1u}) {
    add_story(side, number, out);
    add_limit(side, number, out);
    held |= cell(side, keys_.key[side][number]).cap >= 0;
  }
  if (held) add_limits_beside(number, out);
  add_hidden(number, out);
  if (!out.edits.empty() || !out.fixed.empty() || !out.inputs.empty() || !out.facts.empty()) return out;
  // The same operations in another order: by the order of `extends` or of blocks.
  for (std::size_t side : {0u, 1u}) {
    for (FragmentId own : halves_[side].triple.of) {
      for (FragmentId each : (*halves_[side].tree)[own].linear) {
        std::uint32_t edit = edits_.find(side, {each, 0, Part::extends, "extends"});
        if (edit != EditTable::none) out.fixed.insert(edit);
        for (std::uint32_t i = 1; i < (*halves_[side].tree)[each].layers.size(); ++i) {
          edit = edits_.find(side, {each, i, Part::when, "when"});
          if (edit != EditTable::none) out.fixed.insert(edit);
        }
      }
    }
  }
  return out;
}

EditSet Tracer::causes_of(std::uint32_t number, bool of_limit) {
  auto at = known_.find({number, of_limit});
  if (at != known_.end()) return at->second;
  known_[{number, of_limit}] = {};  // ends a circle, which a sound tree has not
  Suspects suspects = suspects_of(number);
  prune(number, of_limit, suspects);
  EditSet out = std::move(suspects.edits);
  out.insert(suspects.fixed.begin(), suspects.fixed.end());
  for (const auto& inputs : {suspects.inputs, suspects.facts}) {
    for (std::uint32_t input : inputs) out.merge(causes_of(input, false));
  }
  return known_[{number, of_limit}] = out;
}

EditSet Tracer::causes_of(ScriptSlot slot) {
  Suspects out;
  std::array<std::set<std::uint32_t>, 2> read;
  std::string name(name_of(slot));
  for (std::size_t side : {0u, 1u}) {
    const Half& half = halves_[side];
    GatheredScripts gathered = gather_scripts(half.axes);
    for (const ScriptOp* op : gathered[static_cast<std::size_t>(slot)]) {
      std::uint32_t layer = layer_of((*half.tree)[op->fragment], *op);
      add_operation(side, op->fragment, layer, {op->fragment, layer, Part::scripts, name}, out);
      if (!op->text) continue;
      Suspects inputs;
      for (const TemplatePiece& piece : op->text->pieces) {
        if (piece.of == TemplatePiece::Of::formula) add_reads(side, *piece.formula, Value(), inputs);
      }
      read[side].merge(inputs.inputs);
    }
    for (FragmentId own : half.triple.of) {
      for (FragmentId each : (*half.tree)[own].linear) {
        if (!edits_.touches(side, each)) continue;
        for (std::uint32_t i = 0; i < (*half.tree)[each].layers.size(); ++i) {
          std::uint32_t edit = edits_.find(side, {each, i, Part::scripts, name});
          if (edit != EditTable::none && in_force(side, each, i)) out.edits.insert(edit);
        }
      }
    }
  }
  prune_scripts(slot, out);
  EditSet causes = std::move(out.edits);
  causes.insert(out.fixed.begin(), out.fixed.end());
  // What one side alone writes differs by the text, not by the value.
  for (std::uint32_t input : read[0]) {
    if (read[1].contains(input)) causes.merge(causes_of(input, false));
  }
  for (std::uint32_t fact : out.facts) causes.merge(causes_of(fact, false));
  return causes;
}

}  // namespace bindery
