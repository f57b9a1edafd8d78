// `extends`: names to fragments, cycles, C3 linearisation; headers that a fitting takes from its base; old names.
#include <algorithm>
#include <map>
#include <utility>

#include <fmt/format.h>

#include "base/words.h"
#include "resolve/tree.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

// Of a circle of hundreds, so many are told.
constexpr std::size_t most_told = 12;

class Linker {
 public:
  Linker(Tree& tree, Diagnostics& out)
      : tree_(tree), out_(out), state_(tree.fragments.size(), State::fresh), failed_(tree.fragments.size()) {}

  void link() {
    Diagnostics all(most::reports_in_all);
    for (auto step : {&Linker::take_headers, &Linker::claim_old_names, &Linker::name_parents, &Linker::linearise_from,
                      &Linker::check_tier, &Linker::warn_empty}) {
      for (FragmentId id = 0; id < tree_.fragments.size(); ++id) {
        (this->*step)(id);
        if (reports_.items().empty()) continue;
        reports_.shorten(0, most::reports);
        reports_.attribute(0, tree_[id].id());
        all.join(std::exchange(reports_, Diagnostics(most::reports)));
      }
    }
    all.shorten(0, most::reports_in_all);
    out_.join(std::move(all));
  }

 private:
  enum class State : std::uint8_t { fresh, open, done };

  void take_headers(FragmentId id) {
    BoundFragment& bound = tree_.fragments[id];
    const Fragment& raw = *bound.raw;
    const Fragment* base = raw.base ? base_of(raw) : nullptr;
    bound.title = raw.title                        ? raw.title->text
                  : base != nullptr && base->title ? base->title->text
                                                   : std::string_view(raw.name);
    Tier tier = tree_.plan.publisher.default_tier;
    bound.tier = raw.tier.value_or(base != nullptr ? base->tier.value_or(tier) : tier);
    bound.status = raw.status.value_or(base != nullptr ? base->status.value_or(Status::beta) : Status::beta);
    bound.abstract = raw.abstract.value_or(raw.has_fittings);
  }

  const Fragment* base_of(const Fragment& fitting) const {
    FragmentId id = tree_.find(fitting.kind, *fitting.base);
    return id == no_fragment ? nullptr : tree_[id].raw;
  }

  void name_parents(FragmentId id) {
    BoundFragment& bound = tree_.fragments[id];
    const Fragment& raw = *bound.raw;
    if (!raw.parsed) failed_[id] = true;
    for (const Text& parent : raw.extends) {
      FragmentId found = tree_.find(raw.kind, parent.text);
      if (found == no_fragment) {
        unknown_parent(raw, parent);
        bound.broken = true;
        failed_[id] = true;
      } else if (std::find(bound.extends.begin(), bound.extends.end(), found) != bound.extends.end()) {
        reports_.add(Code::extends_twice, parent.span, fmt::format("'{}' is listed twice", parent.text))
            .with_help("keep the first one");
        bound.broken = true;
      } else {
        bound.extends.push_back(found);
      }
    }
    if (raw.base) {
      FragmentId base = tree_.find(raw.kind, *raw.base);
      if (base != no_fragment && std::find(bound.extends.begin(), bound.extends.end(), base) == bound.extends.end())
        bound.extends.push_back(base);
    }
  }

  void unknown_parent(const Fragment& raw, const Text& parent) {
    for (Kind kind : all_kinds) {
      if (kind == raw.kind || tree_.find(kind, parent.text) == no_fragment) continue;
      reports_
          .add(Code::extends_kind, parent.span,
               fmt::format("'{}' is a {}, and a {} extends a {} only", parent.text, name_of(kind), name_of(raw.kind),
                           name_of(raw.kind)))
          .with_help(fmt::format("extend a {}, or move this file to {}/", name_of(raw.kind), name_of(kind)));
      return;
    }
    if (tree_.may_be_unread(raw.kind, parent.text) || reports_.skip(Code::fragment_unknown)) return;
    std::vector<std::string_view> names;
    const auto& ids = tree_.of_kind[static_cast<std::size_t>(raw.kind)];
    search_.work += ids.size() * 4;
    if (!search_.spent()) {
      for (FragmentId id : ids) names.push_back(tree_[id].name());
    }
    std::string near = nearest(parent.text, names);
    const auto& successors = tree_.successors[static_cast<std::size_t>(raw.kind)];
    auto successor = successors.find(parent.text);
    reports_
        .add(Code::fragment_unknown, parent.span, fmt::format("no {} is named '{}'", name_of(raw.kind), parent.text))
        .with_help(successor != successors.end() ? fmt::format("its name is '{}' now", tree_[successor->second].name())
                   : near.empty()                ? "check the spelling; `extends` takes names of the same kind"
                                                 : fmt::format("did you mean '{}'", near));
  }

  // Depth first without recursion, so that a chain of any length is linearised, and each fragment once.
  void linearise_from(FragmentId start) {
    std::vector<std::pair<FragmentId, std::size_t>> path;
    auto open = [&](FragmentId id) {
      state_[id] = State::open;
      path.emplace_back(id, 0);
    };
    if (state_[start] == State::fresh) open(start);
    while (!path.empty()) {
      auto& [id, next] = path.back();
      const auto& parents = tree_[id].extends;
      if (next < parents.size()) {
        FragmentId parent = parents[next++];
        if (state_[parent] == State::fresh) open(parent);
        else if (state_[parent] == State::open) report_cycle(path, parent);
        continue;
      }
      FragmentId done = id;
      path.pop_back();
      state_[done] = State::done;
      linearise(done);
    }
  }

  void report_cycle(const std::vector<std::pair<FragmentId, std::size_t>>& path, FragmentId first) {
    auto at = std::find_if(path.begin(), path.end(), [&](const auto& step) { return step.first == first; });
    // Told from the fragment that sorts first, so that the report does not depend on where the walk began.
    std::vector<FragmentId> ring;
    for (auto each = at; each != path.end(); ++each) ring.push_back(each->first);
    std::rotate(ring.begin(), std::min_element(ring.begin(), ring.end()), ring.end());
    for (FragmentId each : ring) failed_[each] = true;
    if (++circles_ > most::reports) return;
    std::string told;
    for (std::size_t i = 0; i < std::min(ring.size(), most_told); ++i)
      told += fmt::format("{} -> ", tree_[ring[i]].name());
    if (ring.size() > most_told) told += fmt::format("{} more -> ", ring.size() - most_told);
    told += tree_[ring.front()].name();
    const Fragment& raw = *tree_[ring.front()].raw;
    std::string message = ring.size() == 1 ? fmt::format("'{}' extends itself", raw.name)
                                           : fmt::format("these extend each other in a circle: {}", told);
    Diagnostic& item = reports_.add(Code::extends_cycle, extends_place(ring.front(), ring[1 % ring.size()]), message)
                           .with_help(ring.size() == 1 ? "remove it" : "remove one of these `extends`");
    item.fragment = tree_[ring.front()].id();
    for (std::size_t i = 1; i < std::min(ring.size(), most_told); ++i)
      item.with_related(
          extends_place(ring[i], ring[(i + 1) % ring.size()]),
          fmt::format("'{}' extends '{}'", tree_[ring[i]].name(), tree_[ring[(i + 1) % ring.size()]].name()));
  }

  // Where `child` names `parent`.
  Span extends_place(FragmentId child, FragmentId parent) const {
    const Fragment& raw = *tree_[child].raw;
    for (const Text& name : raw.extends) {
      if (name.text == tree_[parent].name()) return name.span;
    }
    return raw.span;
  }

  // A list to merge: the linearisation of a parent, or the parents as they are listed.
  struct Demand {
    std::vector<FragmentId> list;
    std::size_t head = 0;
    FragmentId of;  // whose order it is
    bool empty() const { return head == list.size(); }
    FragmentId first() const { return list[head]; }
  };

  void linearise(FragmentId id) {
    BoundFragment& bound = tree_.fragments[id];
    if (failed_[id]) return;
    std::vector<Demand> demands;
    std::unordered_map<FragmentId, std::size_t> in_tails;  // how many lists still hold it behind their head
    auto demand = [&](std::vector<FragmentId> list, FragmentId of) {
      for (std::size_t i = 1; i < list.size(); ++i) ++in_tails[list[i]];
      demands.push_back({std::move(list), 0, of});
    };
    for (FragmentId parent : bound.extends) {
      if (!tree_[parent].linked()) return;  // its own report stands
      demand(tree_[parent].linear, parent);
    }
    demand(bound.extends, id);
    std::vector<FragmentId> linear = {id};
    for (;;) {
      FragmentId next = no_fragment;
      bool left = false;
      for (const Demand& each : demands) {
        if (each.empty()) continue;
        left = true;
        if (in_tails[each.first()] == 0) {
          next = each.first();
          break;
        }
      }
      if (!left) break;
      if (next == no_fragment) return report_order(id, demands);
      linear.push_back(next);
      for (Demand& each : demands) {
        if (each.empty() || each.first() != next) continue;
        ++each.head;
        if (!each.empty()) --in_tails[each.first()];
      }
    }
    bound.linear = std::move(linear);
    bound.chain_tier = bound.tier;
    for (FragmentId each : bound.linear) bound.chain_tier = std::max(bound.chain_tier, tree_[each].tier);
  }

  // Every head waits behind another list: two of the waits that form the circle are named.
  void report_order(FragmentId id, const std::vector<Demand>& demands) {
    auto holder_of = [&](FragmentId wanted) -> const Demand* {
      for (const Demand& each : demands) {
        if (!each.empty() && std::find(each.list.begin() + static_cast<std::ptrdiff_t>(each.head) + 1, each.list.end(),
                                       wanted) != each.list.end())
          return &each;
      }
      return nullptr;
    };
    std::vector<const Demand*> walk;
    const Demand* at = nullptr;
    for (const Demand& each : demands) {
      if (!each.empty()) {
        at = &each;
        break;
      }
    }
    while (at != nullptr && std::find(walk.begin(), walk.end(), at) == walk.end()) {
      walk.push_back(at);
      at = holder_of(at->first());
    }
    if (at != nullptr) walk.erase(walk.begin(), std::find(walk.begin(), walk.end(), at));
    // walk[i+1] holds the head of walk[i] behind its own head.
    const Fragment& raw = *tree_[id].raw;
    Span place = raw.extends.empty() ? raw.span : raw.extends.front().span;
    std::vector<std::string> demands_told;
    std::vector<Related> related;
    for (std::size_t i = 0; i < walk.size(); ++i) {
      const Demand& holder = *walk[(i + 1) % walk.size()];
      std::string told = fmt::format("'{}' puts '{}' before '{}'", tree_[holder.of].name(),
                                     tree_[holder.first()].name(), tree_[walk[i]->first()].name());
      demands_told.push_back(told);
      const Fragment& source = *tree_[holder.of].raw;
      related.push_back({source.extends.empty() ? source.span : source.extends.front().span, std::move(told)});
    }
    Diagnostic& item =
        reports_.add(Code::extends_order, place,
                     fmt::format("'{}' has no order of inheritance: {}", raw.name, join_words(demands_told)));
    item.help = "list the parents in one order everywhere";
    item.fragment = tree_[id].id();
    item.related = std::move(related);
    tree_.fragments[id].broken = true;
  }

  // A fragment that says it is free cannot stand on one that is not.
  void check_tier(FragmentId id) {
    const BoundFragment& bound = tree_[id];
    if (bound.raw->tier != Tier::free) return;
    for (FragmentId ancestor : bound.linear) {
      if (tree_[ancestor].tier != Tier::supporter) continue;
      std::string told;
      for (FragmentId each : extends_path(tree_, id, ancestor))
        told += fmt::format("{}{}", told.empty() ? "" : " -> ", tree_[each].name());
      reports_
          .add(Code::tier_conflict, bound.raw->tier_span,
               fmt::format("'{}' says it is free and extends '{}', which is for supporters: {}", bound.name(),
                           tree_[ancestor].name(), told))
          .with_help("drop `tier: free`, or extend a free fragment")
          .with_related(
              tree_[ancestor].raw->tier_span.known() ? tree_[ancestor].raw->tier_span : tree_[ancestor].raw->span,
              "made for supporters here");
      tree_.fragments[id].broken = true;
      return;
    }
  }

  // `fittings: {}` makes a fragment abstract, and nothing of it can be printed.
  void warn_empty(FragmentId id) {
    const Fragment& raw = *tree_[id].raw;
    if (!raw.has_fittings || raw.abstract) return;
    auto next = id + 1;
    bool any = next < tree_.fragments.size() && tree_[next].kind() == raw.kind &&
               tree_[next].name().starts_with(raw.name + "+");
    if (!any && !raw.broken)
      reports_
          .add(Code::fittings_empty, raw.span,
               fmt::format("'{}' has no fitting in `fittings`, so it is abstract", raw.name))
          .with_help("write a fitting, or remove `fittings`");
  }

  // An old name is free only when its fragment is gone, and has one successor. A base's claim carries its fittings
  // along.
  void claim_old_names(FragmentId id) {
    const Fragment& raw = *tree_[id].raw;
    for (const Text& old : raw.replaces) {
      std::size_t plus = old.text.find('+');
      bool sound =
          is_name(old.text.substr(0, plus)) && (plus == std::string_view::npos || is_name(old.text.substr(plus + 1)));
      if (sound) {
        claim(id, std::string(old.text), old.span);
        continue;
      }
      reports_.add(Code::name_invalid, old.span, fmt::format("'{}' is no name of a fragment", old.text))
          .with_help("write the old name alone, without its kind");
      tree_.fragments[id].broken = true;
    }
    const Fragment* base = raw.base ? base_of(raw) : nullptr;
    if (base == nullptr) return;
    for (const Text& old : base->replaces)
      claim(id, fmt::format("{}{}", old.text, std::string_view(raw.name).substr(raw.name.find('+'))), old.span);
  }

  void claim(FragmentId id, const std::string& old, Span span) {
    const BoundFragment& bound = tree_[id];
    if (claims_.size() >= most::claims) {
      if (!std::exchange(overfull_, true))
        reports_.add(Code::too_many, span, fmt::format("there are more than {} old names in the tree", most::claims))
            .with_help("drop those that nobody uses any more");
      return;
    }
    FragmentId living = tree_.find(bound.kind(), old);
    auto [first, fresh] = claims_.emplace(std::pair{bound.kind(), old}, std::pair{id, span});
    if (living != no_fragment) {
      reports_
          .add(Code::replaces_living, span, fmt::format("'{}' replaces '{}', which is still there", bound.name(), old))
          .with_help("remove the claim, or the old fragment")
          .with_related(tree_[living].raw->span, "it stands here");
      tree_.fragments[id].broken = true;
    } else if (!fresh) {
      reports_
          .add(Code::replaces_twice, span,
               fmt::format("'{}' and '{}' both replace '{}'", tree_[first->second.first].name(), bound.name(), old))
          .with_help("one old name has one successor")
          .with_related(first->second.second, "first claimed here");
      tree_.fragments[id].broken = true;
    } else {
      tree_.successors[static_cast<std::size_t>(bound.kind())].emplace(old, id);
    }
  }

  Tree& tree_;
  Diagnostics& out_;
  Diagnostics reports_{most::reports};  // of one step on one fragment
  NameSearch search_;                   // spent: no near name is looked for any more
  std::vector<State> state_;
  std::map<std::pair<Kind, std::string>, std::pair<FragmentId, Span>> claims_;
  std::size_t circles_ = 0;
  bool overfull_ = false;
  std::vector<bool> failed_;  // a parent is missing, or it stands in a circle
};

}  // namespace

std::vector<FragmentId> extends_path(const Tree& tree, FragmentId from, FragmentId to) {
  std::map<FragmentId, FragmentId> came;
  std::vector<FragmentId> queue = {from};
  for (std::size_t i = 0; i < queue.size() && !came.contains(to); ++i) {
    for (FragmentId parent : tree[queue[i]].extends) {
      if (parent != from && came.emplace(parent, queue[i]).second) queue.push_back(parent);
    }
  }
  std::vector<FragmentId> path = {to};
  while (path.back() != from && came.contains(path.back())) path.push_back(came[path.back()]);
  std::reverse(path.begin(), path.end());
  return path;
}

void link_fragments(Tree& tree, Diagnostics& out) { Linker(tree, out).link(); }

}  // namespace bindery
