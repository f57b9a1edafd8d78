// Which of several edits a script needs: its texts put together again with some of them undone.
#include <fmt/format.h>

#include "changes/trace.h"

namespace bindery {

// The texts that make a script on the new side, before anything is filled in, with some edits undone.
std::string Tracer::script_texts(ScriptSlot slot, const EditSet& undone) const {
  std::string whole;
  auto lay = [&](const std::vector<RawScript>& scripts) {
    for (const RawScript& script : scripts) {
      if (script.slot != slot) continue;
      std::string text = fmt::format("{}\n", script.text.text);
      if (script.act == RawScript::Act::before) whole.insert(0, text);
      else if (script.act == RawScript::Act::after) whole += text;
      else whole = script.act == RawScript::Act::replace ? text : std::string();
    }
  };
  std::string name(name_of(slot));
  auto lay_layer = [&](FragmentId fragment, std::uint32_t layer) {
    for (std::uint32_t edit : undone) {
      const auto& [old, now] = edits_.places[edit];
      if (now && now->fragment == fragment && now->layer == layer) {
        if (old) lay((*halves_[0].tree)[old->fragment].raw->layers[old->layer].scripts);
        return;
      }
      if (now || !old || map_.of(0, old->fragment) != fragment) continue;
      auto block = edits_.blocks[0].find({old->fragment, old->layer});
      if ((block == edits_.blocks[0].end() ? old->layer : block->second) != layer) continue;
      lay((*halves_[0].tree)[old->fragment].raw->layers[old->layer].scripts);
      return;
    }
    lay((*halves_[1].tree)[fragment].raw->layers[layer].scripts);
  };
  for (std::size_t k = 0; k < kind_count; ++k) {
    const auto& linear = (*halves_[1].tree)[halves_[1].triple.of[k]].linear;
    for (auto each = linear.rbegin(); each != linear.rend(); ++each) {
      lay_layer(*each, 0);
      for (const LayerRef& block : halves_[1].axes[k]->blocks) {
        if (block.fragment == *each) lay_layer(*each, block.layer);
      }
    }
  }
  return whole;
}

// Leaves out the edits of scripts without which the new texts are the same.
void Tracer::prune_scripts(ScriptSlot slot, Suspects& suspects) const {
  if (suspects.edits.size() + suspects.fixed.size() < 2) return;
  std::string wanted = script_texts(slot, {});
  EditSet undone;
  for (std::uint32_t edit : suspects.edits) {
    undone.insert(edit);
    if (script_texts(slot, undone) != wanted) undone.erase(edit);
  }
  if (undone.size() == suspects.edits.size() && suspects.fixed.empty()) return;
  for (std::uint32_t edit : undone) suspects.edits.erase(edit);
}

}  // namespace bindery
