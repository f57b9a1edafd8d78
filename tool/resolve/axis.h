// One axis of a triple as a table: what a fragment's whole linearisation writes, for one choice of `when` blocks.
//
// A table serves every triple that shares the fragment and the blocks that match, so an axis is layered once.
#pragma once

#include <vector>

#include "resolve/tree.h"

namespace bindery {

// A layer of a fragment, by its place: fragment, then index in BoundFragment::layers.
struct LayerRef {
  FragmentId fragment = no_fragment;
  std::uint32_t layer = 0;
  auto operator<=>(const LayerRef&) const = default;
};

// The blocks of the axis whose conditions hold, in layering order (root first), less the fragments' own parts.
using ActiveBlocks = std::vector<LayerRef>;

struct AxisTable {
  // Operations on a key form a chain from the topmost down; index 0 ends it. What a hiding operation covers
  // stays in the chain, to be told, and is not evaluated.
  struct Link {
    const Op* op = nullptr;
    std::uint32_t below = 0;
  };
  std::vector<Link> links;                 // links[0] is unused
  std::vector<std::uint32_t> head;         // by key: the topmost link, or 0
  std::vector<std::uint32_t> adjust;       // by key: the topmost adjustment, which replaces those below it, or 0
  std::vector<const Bound*> bounds;        // those in force, the highest layer last
  std::vector<std::uint32_t> bound_start;  // by key: bound_of[bound_start[k] .. bound_start[k+1])
  std::vector<const Bound*> bound_of;
  std::vector<const ScriptOp*> scripts;  // lowest first
  std::vector<Lock> locks;
  FragmentId fragment = no_fragment;
  ActiveBlocks blocks;
};

AxisTable build_axis(const Tree& tree, FragmentId fragment, const ActiveBlocks& active);

// Its steps, for a table that differs from its tree: a bound replaces an equal pattern's equal bound, or drops it; then
// the bounds are indexed by key.
void lay_bound(const Bound& bound, AxisTable& table);
void index_bounds(AxisTable& table, std::size_t settings);

// Reports where a fragment writes, adjusts or limits what one of its ancestors has locked.
void check_axis_locks(const Tree& tree, FragmentId fragment, Diagnostics& out);

// Reports it where a later axis does (`upper` above `lower`).
void check_locks_between(const Tree& tree, const AxisTable& lower, const AxisTable& upper, Diagnostics& out);

}  // namespace bindery
