// Which of several suspects a value needs: the new side is evaluated again with some of them as they were before.
#include <algorithm>
#include <deque>

#include "changes/trace.h"
#include "resolve/evaluator.h"

namespace bindery {

namespace {

// The new side's tables for one setting, with some of its edits undone.
class Trial {
 public:
  Trial(const std::array<Half, 2>& halves, const EditTable& edits, const FragmentMap& map, const CommonKeys& keys,
        KeyId key)
      : old_(halves[0]), now_(halves[1]), edits_(edits), map_(map), keys_(keys), key_(key) {
    for (std::size_t k = 0; k < kind_count; ++k) axes_[k] = now_.axes[k];
  }

  // Undoes an edit. False where this is none that can be undone alone.
  bool undo(std::uint32_t edit) { return alike(old_key(), key_) && undo_piece(edit) && !untranslated_; }

  // Undoes whatever happened to the setting on one axis: its operations and limits are those of the old side, in the
  // old order. False where these read what the new side does not have.
  bool undo_axis(std::size_t kind) {
    if (!alike(old_key(), key_)) return false;
    const AxisTable& old = *old_.axes[kind];
    AxisTable& own = table(kind);
    for (bool adjust : {false, true}) {
      std::uint32_t& head = adjust ? own.adjust[key_] : own.head[key_];
      std::vector<const Op*> chain;
      std::uint32_t link = adjust ? old.adjust[old_key()] : old.head[old_key()];
      for (; link != 0; link = old.links[link].below) chain.push_back(old.links[link].op);
      head = 0;
      for (auto op = chain.rbegin(); op != chain.rend(); ++op) {
        own.links.push_back({brought_over(**op, now_.triple.of[kind]), head});
        head = static_cast<std::uint32_t>(own.links.size() - 1);
      }
    }
    std::erase_if(own.bounds, [&](const Bound* bound) {
      return std::find(bound->keys.begin(), bound->keys.end(), key_) != bound->keys.end();
    });
    for (const Bound* bound : old.bounds) {
      if (std::find(bound->keys.begin(), bound->keys.end(), old_key()) == bound->keys.end()) continue;
      lay_bound(*brought_over(*bound, now_.triple.of[kind]), own);
    }
    index_bounds(own, now_.tree->dictionary.settings.size());
    return !untranslated_;
  }

  // Gives an input its old value. False where the new side has no such setting in that unit.
  bool undo_input(std::uint32_t number) {
    KeyId old = keys_.key[0][number], now = keys_.key[1][number];
    if (!alike(old, now)) return false;
    old_inputs_.emplace_back(old, now);
    return true;
  }

  // The value, and whether a limit holds it back.
  std::pair<Value, bool> result(Profile& scratch) {
    scratch.triple = now_.triple;
    Diagnostics silent;
    Resolver::Axes axes{};
    for (std::size_t k = 0; k < kind_count; ++k) axes[k] = own_[k] ? &*own_[k] : axes_[k];
    Evaluator evaluator(*now_.tree, axes, scratch, silent);
    for (const auto& [old, now] : old_inputs_) evaluator.pin(now, old_.profile->cells[old].value);
    Value value = evaluator.value_of(key_);
    return {value, scratch.cells[key_].cap >= 0};
  }

 private:
  using Places = std::array<std::optional<Address>, 2>;

  bool undo_piece(std::uint32_t edit) {
    const Places& places = edits_.places[edit];
    switch (edits_.edits[edit].part) {
      case Part::settings: return undo_write(places, false);
      case Part::adjust: return undo_write(places, true);
      case Part::limits: return undo_limit(places);
      case Part::standard: return undo_default();
      default: return false;
    }
  }

  AxisTable& table(std::size_t kind) {
    if (!own_[kind]) own_[kind] = *axes_[kind];
    return *own_[kind];
  }

  // The new fragment that an address belongs to, and its kind; no_fragment where the new side's chain lacks it.
  FragmentId home(const Places& places) const {
    FragmentId id = places[1] ? places[1]->fragment : map_.of(0, places[0]->fragment);
    if (id == no_fragment) return id;
    const auto& linear = (*now_.tree)[now_.triple.of[kind_of(id)]].linear;
    return std::find(linear.begin(), linear.end(), id) == linear.end() ? no_fragment : id;
  }

  std::size_t kind_of(FragmentId id) const { return static_cast<std::size_t>((*now_.tree)[id].kind()); }

  // The layer of the new side at which the piece stands or would stand.
  std::uint32_t layer_of_places(const Places& places) const {
    if (places[1]) return places[1]->layer;
    auto block = edits_.blocks[0].find({places[0]->fragment, places[0]->layer});
    return block == edits_.blocks[0].end() ? places[0]->layer : block->second;
  }

  // How high a layer stands in its axis: the root's own part is lowest.
  std::pair<std::ptrdiff_t, std::uint32_t> height(FragmentId id, std::uint32_t layer) const {
    const auto& linear = (*now_.tree)[now_.triple.of[kind_of(id)]].linear;
    return {linear.end() - std::find(linear.begin(), linear.end(), id), layer};
  }

  // Was the piece in force on the old side at all?
  bool was_in_force(const Address& place) const {
    if (place.layer == 0) return true;
    auto kind = static_cast<std::size_t>((*old_.tree)[place.fragment].kind());
    const ActiveBlocks& blocks = old_.axes[kind]->blocks;
    return std::find(blocks.begin(), blocks.end(), LayerRef{place.fragment, place.layer}) != blocks.end();
  }

  // Is it one setting, in one type and unit?
  bool alike(KeyId old, KeyId now) const {
    if (old == no_key || now == no_key) return false;
    const Setting &a = old_.tree->dictionary.settings[old], &b = now_.tree->dictionary.settings[now];
    return a.type == b.type && a.list == b.list && a.unit_text() == b.unit_text();
  }

  // A formula of the old side in the new side's numbers.
  const Formula* translated(const Formula* formula) {
    if (formula == nullptr) return nullptr;
    Formula& copy = formulas_.emplace_back(*formula);
    auto translate = [&](KeyId& key) {
      KeyId now = keys_.key[1][keys_.number[0][key]];
      untranslated_ |= !alike(key, now);
      key = now;
    };
    for (KeyId& key : copy.keys) translate(key);
    for (FormulaNode& node : copy.nodes) {
      if (node.key != no_key) translate(node.key);
    }
    return &copy;
  }

  // An operation or bound of the old side, as one of the new side's.
  const Op* brought_over(const Op& op, FragmentId fragment) {
    Op& copy = ops_.emplace_back(op);
    copy.fragment = fragment;
    copy.key = key_;
    copy.formula = translated(op.formula);
    return &copy;
  }
  const Bound* brought_over(const Bound& bound, FragmentId fragment) {
    Bound& copy = bounds_.emplace_back(bound);
    copy.fragment = fragment;
    copy.formula = translated(bound.formula);
    bool binds = std::find(bound.keys.begin(), bound.keys.end(), old_key()) != bound.keys.end();
    copy.keys = binds ? std::vector<KeyId>{key_} : std::vector<KeyId>{};
    return &copy;
  }

  KeyId old_key() const { return keys_.key[0][keys_.number[1][key_]]; }

  const Op* old_operation(const Places& places, bool adjust) {
    if (!places[0] || !was_in_force(*places[0])) return nullptr;
    const Layer& layer = (*old_.tree)[places[0]->fragment].layers[places[0]->layer];
    for (const Op& op : adjust ? layer.adjust : layer.settings) {
      if (op.key != old_key()) continue;
      return brought_over(op, home(places));
    }
    return nullptr;
  }

  // Does its block apply on the new side? One that is gone there would apply as it did.
  bool applies(const Places& places) const {
    std::uint32_t layer = layer_of_places(places);
    bool gone = !places[1] && !edits_.blocks[0].contains({places[0]->fragment, places[0]->layer});
    if (layer == 0 || gone) return true;
    FragmentId fragment = home(places);
    const ActiveBlocks& blocks = now_.axes[kind_of(fragment)]->blocks;
    return std::find(blocks.begin(), blocks.end(), LayerRef{fragment, layer}) != blocks.end();
  }

  bool undo_write(const Places& places, bool adjust) {
    FragmentId fragment = home(places);
    if (fragment == no_fragment) return false;
    if (!applies(places)) return true;
    AxisTable& own = table(kind_of(fragment));
    std::uint32_t& head = adjust ? own.adjust[key_] : own.head[key_];
    std::vector<const Op*> chain;  // lowest first
    for (std::uint32_t link = head; link != 0; link = own.links[link].below)
      chain.insert(chain.begin(), own.links[link].op);
    std::uint32_t layer = layer_of_places(places);
    auto height_of = [&](const Op* op) {
      auto placed = heights_.find(op);
      return placed != heights_.end() ? placed->second
                                      : height(op->fragment, layer_of((*now_.tree)[op->fragment], *op));
    };
    auto at = height(fragment, layer);
    std::erase_if(chain, [&](const Op* op) { return height_of(op) == at; });
    if (const Op* op = old_operation(places, adjust)) {
      heights_[op] = at;
      auto above = std::find_if(chain.begin(), chain.end(), [&](const Op* each) { return height_of(each) > at; });
      chain.insert(above, op);
    }
    head = 0;
    for (const Op* op : chain) {
      own.links.push_back({op, head});
      head = static_cast<std::uint32_t>(own.links.size() - 1);
    }
    return true;
  }

  // Lays all bounds of the axis again, with those of one layer and pattern as they were.
  bool undo_limit(const Places& places) {
    FragmentId fragment = home(places);
    if (fragment == no_fragment) return false;
    if (!applies(places)) return true;
    undone_limits_.push_back(places);
    std::size_t kind = kind_of(fragment);
    AxisTable& own = table(kind);
    own.bounds.clear();
    const auto& linear = (*now_.tree)[now_.triple.of[kind]].linear;
    for (auto each = linear.rbegin(); each != linear.rend(); ++each) {
      lay_layer(*each, 0, own);
      for (const LayerRef& block : own.blocks) {
        if (block.fragment == *each) lay_layer(*each, block.layer, own);
      }
    }
    index_bounds(own, now_.tree->dictionary.settings.size());
    return true;
  }

  void lay_layer(FragmentId fragment, std::uint32_t layer, AxisTable& own) {
    auto undone = [&](std::string_view pattern) -> const Places* {
      for (const Places& each : undone_limits_) {
        const Address& place = each[1] ? *each[1] : *each[0];
        if (place.name == pattern && home(each) == fragment && layer_of_places(each) == layer) return &each;
      }
      return nullptr;
    };
    for (const Bound& bound : (*now_.tree)[fragment].layers[layer].bounds) {
      if (undone(bound.pattern) == nullptr) lay_bound(bound, own);
    }
    for (const Places& each : undone_limits_) {
      if (!each[0] || home(each) != fragment || layer_of_places(each) != layer || !was_in_force(*each[0])) continue;
      for (const Bound& bound : (*old_.tree)[each[0]->fragment].layers[each[0]->layer].bounds) {
        if (bound.pattern != each[0]->name) continue;
        lay_bound(*brought_over(bound, fragment), own);
      }
    }
  }

  // Lays the old default at the bottom. One that was unset cannot be laid.
  bool undo_default() {
    const Setting& entry = old_.tree->dictionary.settings[old_key()];
    if (!entry.formula_default && !entry.literal_default.has_value()) return false;
    Op& op = ops_.emplace_back();
    op.key = key_;
    op.fragment = now_.triple.of[0];
    op.kind = entry.formula_default ? OpKind::calc : OpKind::set;
    op.literal = entry.literal_default;
    op.formula = entry.formula_default ? translated(&*entry.formula_default) : nullptr;
    heights_[&op] = {0, 0};
    AxisTable& own = table(0);
    std::vector<const Op*> chain = {&op};
    std::vector<const Op*> above;
    for (std::uint32_t link = own.head[key_]; link != 0; link = own.links[link].below)
      above.push_back(own.links[link].op);
    chain.insert(chain.end(), above.rbegin(), above.rend());
    own.head[key_] = 0;
    for (const Op* each : chain) {
      own.links.push_back({each, own.head[key_]});
      own.head[key_] = static_cast<std::uint32_t>(own.links.size() - 1);
    }
    return true;
  }

  const Half& old_;
  const Half& now_;
  const EditTable& edits_;
  const FragmentMap& map_;
  const CommonKeys& keys_;
  KeyId key_;
  std::deque<Formula> formulas_;
  bool untranslated_ = false;  // an old formula reads what the new side does not have
  Resolver::Axes axes_{};
  std::array<std::optional<AxisTable>, kind_count> own_;
  std::deque<Op> ops_;
  std::deque<Bound> bounds_;
  std::map<const Op*, std::pair<std::ptrdiff_t, std::uint32_t>> heights_;
  std::vector<Places> undone_limits_;
  std::vector<std::pair<KeyId, KeyId>> old_inputs_;
};

}  // namespace

// The kind that an edit belongs to; none for dictionary and plan.
std::optional<std::size_t> Tracer::axis_of(std::uint32_t edit) const {
  for (std::size_t side : {0u, 1u}) {
    const auto& place = edits_.places[edit][side];
    if (place && place->fragment != no_fragment)
      return static_cast<std::size_t>((*halves_[side].tree)[place->fragment].kind());
  }
  return std::nullopt;
}

// One after the other is left out for good if the value comes out the same without it: first whole axes, with their
// inheritance and conditions, then single edits, those first that the new side does not show, then inputs.
void Tracer::prune(std::uint32_t number, bool of_limit, Suspects& suspects) const {
  std::size_t count = suspects.edits.size() + suspects.inputs.size() + suspects.fixed.size() + suspects.facts.size();
  constexpr std::size_t most_suspects = 32;  // more are told as they are: each is a suspect in earnest
  if (keys_.key[0][number] == no_key || keys_.key[1][number] == no_key || count < 2 || count > most_suspects) return;
  KeyId key = keys_.key[1][number];
  const Setting& entry = setting(1, key);
  const Cell& wanted = cell(1, key);
  EditSet undone;
  std::set<std::size_t> axes;
  std::set<std::uint32_t> old_inputs;
  auto comes_out_the_same = [&] {
    Trial trial(halves_, edits_, map_, keys_, key);
    for (std::size_t axis : axes) {
      if (!trial.undo_axis(axis)) return false;
    }
    for (std::uint32_t edit : undone) {
      auto axis = axis_of(edit);
      if (!(axis && axes.contains(*axis)) && !trial.undo(edit)) return false;
    }
    for (std::uint32_t input : old_inputs) {
      if (!trial.undo_input(input)) return false;
    }
    Profile scratch;
    auto [value, held] = trial.result(scratch);
    return written_equal(entry, value, entry, wanted.value) && (!of_limit || held == (wanted.cap >= 0));
  };

  std::set<std::size_t> touched = suspects.by_facts;
  for (std::uint32_t edit : suspects.fixed) {
    if (auto axis = axis_of(edit)) touched.insert(*axis);
  }
  for (std::size_t axis : touched) {
    axes.insert(axis);
    if (!comes_out_the_same()) axes.erase(axis);
  }
  auto gone = [&](std::uint32_t edit) {
    auto axis = axis_of(edit);
    return axis && axes.contains(*axis);
  };
  const Half& half = halves_[1];
  auto shown = [&](std::uint32_t edit) {
    const auto& place = edits_.places[edit][1];
    if (!place || place->fragment == no_fragment) return false;
    for (std::uint32_t i = 0; i < wanted.steps; ++i) {
      const Op* op = half.profile->steps[wanted.first_step + i].op;
      if (op != nullptr && op->fragment == place->fragment) return true;
    }
    return false;
  };
  std::vector<std::uint32_t> order(suspects.edits.begin(), suspects.edits.end());
  std::stable_partition(order.begin(), order.end(), [&](std::uint32_t edit) { return !shown(edit); });
  for (std::uint32_t edit : order) {
    undone.insert(edit);
    if (!gone(edit) && !comes_out_the_same()) undone.erase(edit);
  }
  for (std::uint32_t input : std::set<std::uint32_t>(suspects.inputs)) {
    old_inputs.insert(input);
    if (!comes_out_the_same()) old_inputs.erase(input);
  }
  Suspects rest = suspects;
  for (std::uint32_t edit : undone) rest.edits.erase(edit);
  for (std::uint32_t input : old_inputs) rest.inputs.erase(input);
  std::erase_if(rest.fixed, gone);
  // Facts decide on blocks; where no axis with such is left, they decide on nothing.
  if (std::includes(axes.begin(), axes.end(), suspects.by_facts.begin(), suspects.by_facts.end())) rest.facts.clear();
  if (!rest.edits.empty() || !rest.inputs.empty() || !rest.fixed.empty() || !rest.facts.empty())
    suspects = std::move(rest);
}

}  // namespace bindery
