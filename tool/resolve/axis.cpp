#include "resolve/axis.h"

#include <algorithm>

#include <fmt/format.h>

namespace bindery {

namespace {

void lay_settings(const Layer& layer, AxisTable& table) {
  auto lay = [&](const Op& op, std::vector<std::uint32_t>& head) {
    auto link = static_cast<std::uint32_t>(table.links.size());
    table.links.push_back({&op, head[op.key]});
    head[op.key] = link;
  };
  for (const Op& op : layer.settings) lay(op, table.head);
  for (const Op& op : layer.adjust) lay(op, table.adjust);
}

void lay_scripts(const Layer& layer, AxisTable& table) {
  for (const ScriptOp& script : layer.scripts) table.scripts.push_back(&script);
}

void report_locked(const Tree& tree, const Lock& lock, std::string_view act, FragmentId by, Span span,
                   Diagnostics& out) {
  if (out.skip(Code::locked_write)) return;
  std::string_view key = tree.dictionary.settings[lock.key].key;
  out.add(Code::locked_write, span,
          fmt::format("{} {} '{}', which {} has locked", tree[by].id(), act, key, tree[lock.fragment].id()))
      .with_help("leave the value as it is, or unlock it where it is locked")
      .with_related(lock.span, "locked here");
}

}  // namespace

void lay_bound(const Bound& bound, AxisTable& table) {
  std::erase_if(table.bounds, [&](const Bound* b) { return b->side == bound.side && b->pattern == bound.pattern; });
  if (!bound.drop) table.bounds.push_back(&bound);
}

void index_bounds(AxisTable& table, std::size_t settings) {
  table.bound_start.assign(settings + 1, 0);
  for (const Bound* bound : table.bounds) {
    for (KeyId key : bound->keys) ++table.bound_start[key + 1];
  }
  for (std::size_t k = 0; k < settings; ++k) table.bound_start[k + 1] += table.bound_start[k];
  table.bound_of.resize(table.bound_start[settings]);
  std::vector<std::uint32_t> fill(table.bound_start.begin(), table.bound_start.end() - 1);
  for (const Bound* bound : table.bounds) {
    for (KeyId key : bound->keys) table.bound_of[fill[key]++] = bound;
  }
}

AxisTable build_axis(const Tree& tree, FragmentId fragment, const ActiveBlocks& active) {
  AxisTable table;
  std::size_t settings = tree.dictionary.settings.size();
  std::size_t operations = 1;
  for (FragmentId each : tree[fragment].linear) {
    for (const Layer& layer : tree[each].layers) operations += layer.settings.size() + layer.adjust.size();
  }
  table.links.reserve(operations);
  table.links.emplace_back();
  table.head.assign(settings, 0);
  table.adjust.assign(settings, 0);
  const auto& linear = tree[fragment].linear;
  auto block = active.begin();
  for (auto at = linear.rbegin(); at != linear.rend(); ++at) {
    const BoundFragment& each = tree[*at];
    auto lay = [&](const Layer& layer) {
      lay_settings(layer, table);
      for (const Bound& bound : layer.bounds) lay_bound(bound, table);
      lay_scripts(layer, table);
    };
    lay(each.layers.front());
    for (; block != active.end() && block->fragment == *at; ++block) lay(each.layers[block->layer]);
    table.locks.insert(table.locks.end(), each.locks.begin(), each.locks.end());
  }
  index_bounds(table, settings);
  table.fragment = fragment;
  table.blocks = active;
  return table;
}

void check_axis_locks(const Tree& tree, FragmentId fragment, Diagnostics& out) {
  const BoundFragment& own = tree[fragment];
  for (FragmentId ancestor : own.linear) {
    if (ancestor == fragment) continue;
    for (const Lock& lock : tree[ancestor].locks) {
      for (const Layer& layer : own.layers) {
        for (const Op& op : layer.settings) {
          if (op.sound && op.key == lock.key) report_locked(tree, lock, "writes", fragment, op.key_span, out);
        }
        for (const Op& op : layer.adjust) {
          if (op.sound && op.key == lock.key) report_locked(tree, lock, "adjusts", fragment, op.key_span, out);
        }
        for (const Bound& bound : layer.bounds) {
          bool binds = std::find(bound.keys.begin(), bound.keys.end(), lock.key) != bound.keys.end();
          if (binds) report_locked(tree, lock, "limits", fragment, bound.pattern_span, out);
        }
      }
    }
  }
}

void check_locks_between(const Tree& tree, const AxisTable& lower, const AxisTable& upper, Diagnostics& out) {
  std::vector<bool> seen(tree.dictionary.settings.size(), false);
  for (const Lock& lock : lower.locks) {
    if (seen[lock.key]) continue;  // told once, for the nearest that locks it
    seen[lock.key] = true;
    for (std::uint32_t link = upper.head[lock.key]; link != 0; link = upper.links[link].below) {
      const Op& op = *upper.links[link].op;
      if (op.sound) report_locked(tree, lock, "writes", op.fragment, op.key_span, out);
    }
    for (std::uint32_t link = upper.adjust[lock.key]; link != 0; link = upper.links[link].below) {
      const Op& op = *upper.links[link].op;
      if (op.sound) report_locked(tree, lock, "adjusts", op.fragment, op.key_span, out);
    }
    for (std::uint32_t i = upper.bound_start[lock.key]; i < upper.bound_start[lock.key + 1]; ++i) {
      report_locked(tree, lock, "limits", upper.bound_of[i]->fragment, upper.bound_of[i]->pattern_span, out);
    }
  }
}

}  // namespace bindery
