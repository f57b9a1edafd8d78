#include "changes/reach.h"

#include <algorithm>

namespace bindery {

ReachFinder::ReachFinder(const Tree& from, const Tree& to, const EditTable& edits, const FragmentMap& map,
                         const CommonKeys& keys)
    : trees_{&from, &to}, map_(map), keys_(keys) {
  everything_.all = true;
  readers_.resize(keys.size());
  in_scripts_.assign(keys.size(), false);
  facts_.assign(keys.size(), false);
  for (std::size_t side : {0u, 1u}) add_readers(side);
  for (auto& each : readers_) {
    std::sort(each.begin(), each.end());
    each.erase(std::unique(each.begin(), each.end()), each.end());
  }
  touch_by(edits);
}

void ReachFinder::add_readers(std::size_t side) {
  const Tree& tree = *trees_[side];
  const Dictionary& dictionary = tree.dictionary;
  const auto& number = keys_.number[side];
  auto note = [&](const Formula* formula, std::uint32_t reader) {
    if (formula == nullptr) return;
    for (KeyId key : formula->keys) readers_[number[key]].push_back(reader);
  };
  for (KeyId key = 0; key < dictionary.settings.size(); ++key) {
    const Setting& entry = dictionary.settings[key];
    if (entry.fact) facts_[number[key]] = true;
    if (entry.formula_default) note(&*entry.formula_default, number[key]);
    if (!entry.extrudes) continue;
    for (KeyId input : {entry.extrudes->width, entry.extrudes->height, entry.extrudes->area,
                        dictionary.role(Role::flow_limit), dictionary.role(Role::flow_ratio)}) {
      if (input != no_key) readers_[number[input]].push_back(number[key]);
    }
  }
  for (const BoundFragment& fragment : tree.fragments) {
    for (const Layer& layer : fragment.layers) {
      for (const auto* ops : {&layer.settings, &layer.adjust}) {
        for (const Op& op : *ops) note(op.formula, number[op.key]);
      }
      for (const Bound& bound : layer.bounds) {
        for (KeyId key : bound.keys) note(bound.formula, number[key]);
      }
      for (const ScriptOp& script : layer.scripts) {
        if (!script.text) continue;
        for (const TemplatePiece& piece : script.text->pieces) {
          if (!piece.formula) continue;
          for (KeyId key : piece.formula->keys) in_scripts_[number[key]] = true;
        }
      }
    }
  }
}

void ReachFinder::touch_by(const EditTable& edits) {
  auto mark = [&](Touch& touch, std::size_t side, KeyId key) {
    if (touch.settings.empty()) touch.settings.assign(keys_.size(), false);
    touch.settings[keys_.number[side][key]] = true;
  };
  for (std::size_t i = 0; i < edits.edits.size(); ++i) {
    for (std::size_t side : {0u, 1u}) {
      const auto& place = edits.places[i][side];
      if (!place) continue;
      const Tree& tree = *trees_[side];
      bool schema = place->fragment == no_fragment;
      Touch& touch = schema ? common_ : own_[side][place->fragment];
      switch (place->part) {
        case Part::settings:
        case Part::adjust:
        case Part::standard:
          if (KeyId key = tree.dictionary.find(place->name); key != no_key) mark(touch, side, key);
          break;
        case Part::limits:
          for (const Bound& bound : tree[place->fragment].layers[place->layer].bounds) {
            if (bound.pattern != place->name) continue;
            for (KeyId key : bound.keys) mark(touch, side, key);
          }
          break;
        case Part::scripts: touch.scripts = true; break;
        case Part::extends:
        case Part::when:
        case Part::replaces:
        case Part::setting:
        case Part::unit:
        case Part::choices:
        case Part::fact:
        case Part::over_limit:
        case Part::extrudes:
        case Part::required:
        case Part::role: touch.all = true; break;
        default: break;
      }
    }
  }
}

void ReachFinder::merge(const Touch& touch, Touch& into) const {
  into.all |= touch.all;
  into.scripts |= touch.scripts;
  if (touch.settings.empty()) return;
  if (into.settings.empty()) into.settings.assign(keys_.size(), false);
  for (std::size_t i = 0; i < touch.settings.size(); ++i) {
    if (touch.settings[i]) into.settings[i] = true;
  }
}

const ReachFinder::Touch& ReachFinder::of_axis(FragmentId old, FragmentId now) {
  auto [at, fresh] = axes_.try_emplace({old, now});
  if (!fresh) return at->second;
  Touch& touch = at->second;
  const auto &before = (*trees_[0])[old].linear, &after = (*trees_[1])[now].linear;
  touch.all = before.size() != after.size();
  for (std::size_t i = 0; i < before.size() && !touch.all; ++i) touch.all = map_.of(0, before[i]) != after[i];
  for (std::size_t side : {0u, 1u}) {
    for (FragmentId each : side == 0 ? before : after) {
      auto own = own_[side].find(each);
      if (own != own_[side].end()) merge(own->second, touch);
    }
  }
  return touch;
}

Reach ReachFinder::close(const Touch& touch) const {
  Reach out;
  Bits seen = touch.settings;
  for (std::uint32_t i = 0; i < seen.size(); ++i) {
    if (seen[i]) out.numbers.push_back(i);
  }
  out.scripts = touch.scripts;
  for (std::size_t i = 0; i < out.numbers.size(); ++i) {
    // Conditions read facts.
    if (facts_[out.numbers[i]]) return everything_;
    out.scripts |= in_scripts_[out.numbers[i]];
    for (std::uint32_t reader : readers_[out.numbers[i]]) {
      if (seen[reader]) continue;
      seen[reader] = true;
      out.numbers.push_back(reader);
    }
  }
  std::sort(out.numbers.begin(), out.numbers.end());
  return out;
}

const Reach& ReachFinder::of(const Triple& old, const Triple& now) {
  Touch touch = common_;
  for (std::size_t k = 0; k < kind_count; ++k) {
    // Conditions match names.
    touch.all |= (*trees_[0])[old.of[k]].name() != (*trees_[1])[now.of[k]].name();
    merge(of_axis(old.of[k], now.of[k]), touch);
  }
  if (touch.all) return everything_;
  auto [at, fresh] = closed_.try_emplace({touch.settings, touch.scripts ? 1 : 0});
  if (fresh) at->second = close(touch);
  return at->second;
}

}  // namespace bindery
