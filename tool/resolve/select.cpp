#include "resolve/select.h"

#include <algorithm>
#include <atomic>
#include <unordered_map>

#include <fmt/format.h>

#include "base/parallel.h"
#include "base/words.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

using Bits = std::vector<bool>;

// The names of one kind that a fragment's linearisation admits; shared by fragments with the same lists.
struct Admitted {
  Bits bits;                        // by position in Tree::of_kind
  std::vector<std::uint32_t> list;  // the same, as positions
};

// The index over `fits`: which names of a kind a fragment admits.
class NameFilter {
 public:
  // `work` grows by what the tests of names take.
  NameFilter(const Tree& tree, std::uint64_t& work) : tree_(tree), work_(work) {
    for (auto& each : by_fragment_) each.resize(tree.fragments.size());
  }

  // Null: every name is admitted.
  const Admitted* of(FragmentId id, std::size_t kind) {
    Known& known = by_fragment_[kind][id];
    if (!known.sought) known = {find(id, kind), true};
    return known.names;
  }

 private:
  using Patterns = std::vector<NamePattern>;

  struct Known {
    const Admitted* names = nullptr;
    bool sought = false;
  };

  const Admitted* find(FragmentId id, std::size_t kind) {
    std::string key;
    std::vector<const Patterns*> lists;
    for (FragmentId each : tree_[id].linear) {
      const auto& fits = tree_[each].fits;
      if (!fits || fits->names[kind].empty()) continue;
      lists.push_back(&fits->names[kind]);
      for (const NamePattern& pattern : fits->names[kind])
        key.append(pattern.exclude ? "!" : "").append(pattern.glob).append(",");
      key += ';';
    }
    if (lists.empty()) return nullptr;
    auto [at, fresh] = known_[kind].try_emplace(std::move(key));
    if (fresh) fill(at->second, lists, kind);
    return &at->second;
  }

  void fill(Admitted& out, const std::vector<const Patterns*>& lists, std::size_t kind) {
    const auto& ids = tree_.of_kind[kind];
    out.bits.assign(ids.size(), false);
    auto test = [&](FragmentId id) {
      auto admitted = [&](const Patterns* list) { return admits(*list, tree_[id].name(), &work_); };
      if (std::all_of(lists.begin(), lists.end(), admitted)) out.list.push_back(id - ids.front());
    };
    auto names_all = std::find_if(lists.begin(), lists.end(), [](const Patterns* list) { return is_literal(*list); });
    if (names_all == lists.end()) {
      for (FragmentId id : ids) test(id);
    } else {
      // No other name is admitted by that list.
      std::vector<FragmentId> named;
      for (const NamePattern& pattern : **names_all) {
        FragmentId id = tree_.find(static_cast<Kind>(kind), pattern.glob);
        if (id != no_fragment && !pattern.exclude) named.push_back(id);
      }
      std::sort(named.begin(), named.end());
      named.erase(std::unique(named.begin(), named.end()), named.end());
      for (FragmentId id : named) test(id);
    }
    for (std::uint32_t each : out.list) out.bits[each] = true;
  }

  // Does the list include names, and none by a glob?
  static bool is_literal(const Patterns& list) {
    auto includes = [](const NamePattern& pattern) { return !pattern.exclude; };
    auto is_vague = [](const NamePattern& pattern) { return !pattern.exclude && is_glob(pattern.glob); };
    return std::any_of(list.begin(), list.end(), includes) && std::none_of(list.begin(), list.end(), is_vague);
  }

  const Tree& tree_;
  std::uint64_t& work_;
  std::array<std::unordered_map<std::string, Admitted>, kind_count> known_;
  std::array<std::vector<Known>, kind_count> by_fragment_;
};

// A condition's own list as positions, and which of them it names literally.
struct Taken {
  std::vector<std::uint32_t> list;  // ascending
  Bits bits, literal;
};

Tier tier_of(const Tree& tree, const Selected& selected) {
  if (selected.sets.empty()) return fragment_tier(tree, selected.triple);
  Tier lowest = Tier::supporter;
  for (std::uint32_t set : selected.sets) lowest = std::min(lowest, tree.plan.sets[set].tier);
  return std::max(lowest, fragment_tier(tree, selected.triple));
}

class Selector {
 public:
  Selector(const Tree& tree, Diagnostics& out, std::size_t most, unsigned jobs)
      : tree_(tree), out_(out), most_(most), jobs_(jobs), filter_(tree, work_) {}

  Selection run() {
    const auto& sets = tree_.plan.sets;
    for (std::uint32_t set = 0; set < sets.size(); ++set) {
      for (const Condition& entry : sets[set].leave)
        report_unmatched(tree_, name_condition(entry), Code::pattern_unmatched, search_, out_);
      std::vector<NameCondition> leave;
      for (const Condition& entry : sets[set].leave) leave.push_back(name_condition(entry));
      for (const Condition& entry : sets[set].take) take(set, entry, leave);
    }
    bool implicit = sets.empty() && !tree_.plan.broken;
    if (implicit) take(0, Condition{}, {});
    if (!overdone()) return gather(implicit);
    if (considered_ > most_)
      out_.add(Code::too_heavy, {}, fmt::format("more than {} triples would have to be looked at", most_))
          .with_help("send fewer fragments at a time, or say with `fits` what goes together");
    else
      out_.add(Code::too_heavy, {}, "to find out which triples fit takes more computation than is done for it")
          .with_help("send fewer fragments at a time, or shorter lists and formulas in `fits`, `take` and `leave`");
    return {};
  }

 private:
  struct Found {
    Triple triple;
    std::uint32_t set;
    auto operator<=>(const Found&) const = default;
  };

  // A triple that names admit and, once it was tested, the `where` that refuses it.
  struct Candidate {
    Triple triple;
    bool literal;
    std::optional<Refusal> refusal;
  };

  Selection gather(bool implicit) {
    std::sort(found_.begin(), found_.end());
    found_.erase(std::unique(found_.begin(), found_.end()), found_.end());
    for (auto* list : {&drafts_, &refused_}) {
      std::sort(list->begin(), list->end());
      list->erase(std::unique(list->begin(), list->end()), list->end());
    }
    Selection out;
    for (auto at = found_.begin(); at != found_.end();) {
      Selected& each = out.profiles.emplace_back();
      each.triple = at->triple;
      each.status = triple_status(tree_, each.triple);
      for (; at != found_.end() && at->triple == each.triple; ++at) {
        if (!implicit) each.sets.push_back(at->set);
      }
      each.tier = tier_of(tree_, each);
    }
    auto is_found = [&](const Triple& triple) {
      auto at = std::lower_bound(found_.begin(), found_.end(), Found{triple, 0});
      return at != found_.end() && at->triple == triple;
    };
    std::erase_if(drafts_, is_found);
    out.drafts = std::move(drafts_);
    out.refused = std::move(refused_);
    return out;
  }

  bool overdone() const { return considered_ > most_ || work_ > most_work(); }
  std::uint64_t most_work() const { return most_ * most::work_a_triple; }

  // Fragments are numbered by kind and name, so triples in order of ids are in order of names.
  FragmentId at(std::size_t kind, std::uint32_t position) const { return tree_.of_kind[kind][position]; }

  void take(std::uint32_t set, const Condition& entry, const std::vector<NameCondition>& leave) {
    NameCondition condition = name_condition(entry);
    report_unmatched(tree_, condition, Code::take_unmatched, search_, out_);
    std::array<Taken, kind_count> taken;
    for (std::size_t k = 0; k < kind_count; ++k) taken[k] = candidates(k, condition[k]);
    // From the process, which admits the fewest machines, to the machine, to the material.
    constexpr std::size_t at_once = 1u << 16;  // candidates, so that they take little memory
    for (std::uint32_t q : taken[2].list) {
      if (candidates_.size() > at_once) decide(set, entry);
      if (overdone()) return;
      std::vector<std::uint32_t> fitting = meet(taken[1], filter_.of(at(2, q), 1));
      for (std::uint32_t m : meet(taken[0], filter_.of(at(2, q), 0))) {
        const Admitted* processes = filter_.of(at(0, m), 2);
        bool refuses = processes != nullptr && !processes->bits[q];
        if (refuses && !(taken[0].literal[m] && taken[2].literal[q])) continue;
        const Admitted* materials = filter_.of(at(0, m), 1);
        for (std::uint32_t p : fitting) {
          bool literal = taken[0].literal[m] && taken[1].literal[p] && taken[2].literal[q];
          if (!literal && (refuses || (materials != nullptr && !materials->bits[p]))) continue;
          consider({{at(0, m), at(1, p), at(2, q)}}, literal, leave);
        }
      }
    }
    consider_literals_left_out(taken, leave);
    decide(set, entry);
  }

  // Fragments that may be part of a profile and whose names the list admits. Drafts by glob are kept apart.
  Taken candidates(std::size_t kind, const std::vector<NamePattern>& patterns) {
    Taken out;
    const auto& ids = tree_.of_kind[kind];
    out.literal.assign(ids.size(), false);
    out.bits.assign(ids.size(), false);
    for (std::uint32_t i = 0; i < ids.size(); ++i) {
      const BoundFragment& fragment = tree_[ids[i]];
      if (overdone()) break;
      if (!admits(patterns, fragment.name(), &work_)) continue;
      const NamePattern* literal = nullptr;
      for (const NamePattern& pattern : patterns) {
        if (!pattern.exclude && pattern.glob == fragment.name()) literal = &pattern;
      }
      if (literal != nullptr && !can_be_taken(fragment, *literal)) continue;
      if (fragment.abstract || fragment.status == Status::retired || !fragment.linked()) continue;
      out.literal[i] = literal != nullptr;
      out.bits[i] = true;
      out.list.push_back(i);
    }
    return out;
  }

  bool can_be_taken(const BoundFragment& fragment, const NamePattern& literal) {
    if (fragment.abstract) {
      out_.add(Code::take_abstract, literal.span,
               fmt::format("'{}' is abstract: it is there for others to extend", fragment.name()))
          .with_help(fragment.raw->has_fittings ? fmt::format("take its fittings: '{}+*'", fragment.name())
                                                : "take a fragment that extends it");
      return false;
    }
    if (fragment.status == Status::retired) {
      out_.add(Code::take_retired, literal.span, fmt::format("'{}' is retired and published no more", fragment.name()))
          .with_help("leave it out, or change its status");
      return false;
    }
    return true;
  }

  static std::vector<std::uint32_t> meet(const Taken& taken, const Admitted* admitted) {
    if (admitted == nullptr) return taken.list;
    std::vector<std::uint32_t> out;
    std::copy_if(admitted->list.begin(), admitted->list.end(), std::back_inserter(out),
                 [&](std::uint32_t each) { return taken.bits[each]; });
    return out;
  }

  // Do the lists of names in `fits` admit it, on all sides?
  bool names_admit(const Triple& triple) {
    for (std::size_t kind = 0; kind < kind_count; ++kind) {
      std::uint32_t position = triple.of[kind] - tree_.of_kind[kind].front();
      for (FragmentId id : triple.of) {
        const Admitted* names = filter_.of(id, kind);
        if (names != nullptr && !names->bits[position]) return false;
      }
    }
    return true;
  }

  // Takes a triple for a candidate, unless names keep it out.
  void consider(const Triple& triple, bool literal, const std::vector<NameCondition>& leave) {
    if (++considered_ > most_ || overdone()) return;
    if (!literal && !names_admit(triple)) return;
    for (const NameCondition& each : leave) {
      if (names_hold(tree_, each, triple.of, &work_)) return;
    }
    candidates_.push_back({triple, literal, {}});
  }

  // Tests the `where` of all candidates on all cores, until these have taken all operations that there may be.
  void test_candidates() {
    constexpr std::size_t block = 128;
    std::atomic<std::uint64_t> work = work_;
    parallel_for((candidates_.size() + block - 1) / block, jobs_, [&](std::size_t b) {
      Resolver resolver(tree_);
      for (std::size_t i = b * block; i < std::min((b + 1) * block, candidates_.size()); ++i) {
        Candidate& each = candidates_[i];
        std::uint64_t before = resolver.work();
        each.refusal = resolver.refused(each.triple, !each.literal);
        if ((work += resolver.work() - before) > most_work()) break;
      }
    });
    work_ = work;
  }

  // Puts the candidates of an entry where they belong.
  void decide(std::uint32_t set, const Condition& entry) {
    test_candidates();
    if (overdone()) return;
    for (const Candidate& each : candidates_) place(set, entry, each);
    candidates_.clear();
  }

  void place(std::uint32_t set, const Condition& entry, const Candidate& candidate) {
    const auto& [triple, literal, refusal] = candidate;
    if (refusal) {
      if (literal) report_misfit(entry, triple, *refusal);
      else refused_.push_back(triple);
      return;
    }
    bool implicit = tree_.plan.sets.empty();
    if (!implicit && tree_.plan.sets[set].tier == Tier::free && fragment_tier(tree_, triple) == Tier::supporter) {
      if (literal) report_tier(set, entry, triple);
      return;
    }
    if (drafts_named(tree_, entry, triple)) found_.push_back({triple, set});
    else drafts_.push_back(triple);
  }

  // A triple spelled out in full that the names of a `fits` refuse never came up in take().
  void consider_literals_left_out(const std::array<Taken, kind_count>& taken, const std::vector<NameCondition>& leave) {
    std::array<std::vector<std::uint32_t>, kind_count> literal;
    for (std::size_t k = 0; k < kind_count; ++k) {
      for (std::uint32_t i : taken[k].list) {
        if (taken[k].literal[i]) literal[k].push_back(i);
      }
    }
    for (std::uint32_t m : literal[0]) {
      for (std::uint32_t p : literal[1]) {
        for (std::uint32_t q : literal[2]) {
          const Admitted* machines = filter_.of(at(2, q), 0);
          const Admitted* materials = filter_.of(at(2, q), 1);
          bool came_up = (machines == nullptr || machines->bits[m]) && (materials == nullptr || materials->bits[p]);
          if (!came_up) consider({{at(0, m), at(1, p), at(2, q)}}, true, leave);
        }
      }
    }
  }

  Span place_of(const Condition& entry, const Triple& triple) const {
    Span span = entry.span;
    for (std::size_t k = 0; k < kind_count; ++k) {
      for (const Text& name : entry.names[k]) {
        if (name.text == tree_[triple.of[k]].name()) span = name.span;
      }
    }
    return span;
  }

  void report_misfit(const Condition& entry, const Triple& triple, const Refusal& refusal) {
    const BoundFragment& fragment = tree_[refusal.fragment];
    out_.add(Code::take_misfit, place_of(entry, triple),
             fmt::format("'{}' does not fit: `fits` of {} refuses it ({})", profile_id(tree_, triple), fragment.id(),
                         refusal.reason))
        .with_help("leave the triple out, or widen that `fits`")
        .with_related(refusal.span, "refused here");
  }

  void report_tier(std::uint32_t set, const Condition& entry, const Triple& triple) {
    for (FragmentId own : triple.of) {
      if (tree_[own].chain_tier != Tier::supporter) continue;
      if (tree_[own].raw->tier == Tier::free) return;  // that it says so is reported at the fragment
      for (FragmentId each : tree_[own].linear) {
        const BoundFragment& fragment = tree_[each];
        if (fragment.tier != Tier::supporter) continue;
        std::string way;
        for (FragmentId step : extends_path(tree_, own, each))
          way += fmt::format("{}{}", way.empty() ? "" : " -> ", tree_[step].name());
        way = each == own ? std::string() : fmt::format(" ({})", way);
        out_.add(Code::tier_conflict, place_of(entry, triple),
                 fmt::format("'{}' is for supporters because of {}{}, and the set '{}' is free",
                             profile_id(tree_, triple), fragment.id(), way, tree_.plan.sets[set].name.text))
            .with_help("take it in a supporter set, or make that fragment free")
            .with_related(fragment.raw->tier_span.known() ? fragment.raw->tier_span : fragment.raw->span,
                          "made for supporters here");
        return;
      }
    }
  }

  const Tree& tree_;
  Diagnostics& out_;
  std::size_t most_, considered_ = 0;
  unsigned jobs_;
  std::uint64_t work_ = 0;
  NameSearch search_;
  NameFilter filter_;
  std::vector<Candidate> candidates_;  // of the entry that is looked at
  std::vector<Found> found_;
  std::vector<Triple> drafts_, refused_;
};

}  // namespace

bool drafts_named(const Tree& tree, const Condition& entry, const Triple& triple) {
  for (std::size_t k = 0; k < kind_count; ++k) {
    const BoundFragment& fragment = tree[triple.of[k]];
    auto literal = [&](const Text& text) { return text.text == fragment.name(); };
    if (fragment.status == Status::draft && std::none_of(entry.names[k].begin(), entry.names[k].end(), literal))
      return false;
  }
  return true;
}

Tier fragment_tier(const Tree& tree, const Triple& triple) {
  Tier tier = Tier::free;
  for (FragmentId id : triple.of) tier = std::max(tier, tree[id].chain_tier);
  return tier;
}

Status triple_status(const Tree& tree, const Triple& triple) {
  Status status = Status::stable;
  for (FragmentId id : triple.of) {
    Status own = tree[id].status;
    status = own == Status::retired || status == Status::retired ? Status::retired : std::min(status, own);
  }
  return status;
}

Selected place_in_plan(const Tree& tree, const Triple& triple) {
  Selected out;
  out.triple = triple;
  out.status = triple_status(tree, triple);
  const auto& sets = tree.plan.sets;
  for (std::uint32_t i = 0; i < sets.size() && out.status != Status::retired; ++i) {
    auto admits_it = [&](const Condition& entry) { return names_hold(tree, name_condition(entry), triple.of); };
    bool taken = std::any_of(sets[i].take.begin(), sets[i].take.end(), [&](const Condition& entry) {
      return admits_it(entry) && drafts_named(tree, entry, triple);
    });
    bool left = std::any_of(sets[i].leave.begin(), sets[i].leave.end(), admits_it);
    bool too_high = sets[i].tier == Tier::free && fragment_tier(tree, triple) == Tier::supporter;
    if (taken && !left && !too_high) out.sets.push_back(i);
  }
  out.tier = tier_of(tree, out);
  return out;
}

Selection select_profiles(const Tree& tree, Diagnostics& out, std::size_t most, unsigned jobs) {
  return Selector(tree, out, most, jobs).run();
}

}  // namespace bindery
