#include "changes/places.h"

#include <algorithm>

#include "resolve/names.h"

namespace bindery {

namespace {

constexpr std::size_t other(std::size_t side) { return 1 - side; }

bool whole(const Triple& triple) {
  return std::find(triple.of.begin(), triple.of.end(), no_fragment) == triple.of.end();
}

}  // namespace

PlaceTracer::PlaceTracer(const Side& from, const Side& to, const EditTable& edits, const FragmentMap& map,
                         const CommonKeys& keys, Tier audience)
    : sides_{from, to},
      trees_{from.tree, to.tree},
      edits_(edits),
      map_(map),
      keys_(keys),
      audience_(audience),
      resolvers_{Resolver(*from.tree), Resolver(*to.tree)} {}

EditSet PlaceTracer::causes_of(const Pair& pair) {
  out_.clear();
  auto triple = [&](std::size_t side, std::uint32_t index) { return sides_[side].selection->profiles[index].triple; };
  if (pair.old && pair.now) moved(triple(0, *pair.old), triple(1, *pair.now));
  else if (pair.now) alone(1, triple(1, *pair.now));
  else alone(0, triple(0, *pair.old));
  return std::move(out_);
}

bool PlaceTracer::add(std::size_t side, const Address& address) {
  std::uint32_t edit = edits_.find(side, address);
  return edit != EditTable::none && (out_.insert(edit), true);
}

const Selected* PlaceTracer::find(std::size_t side, const Triple& triple) const {
  const auto& profiles = sides_[side].selection->profiles;
  auto at = std::lower_bound(profiles.begin(), profiles.end(), triple,
                             [](const Selected& each, const Triple& wanted) { return each.triple < wanted; });
  return at != profiles.end() && at->triple == triple ? &*at : nullptr;
}

// A profile of one side that the other lacks. What came needed all that held it off to go; for what went one thing is
// enough, and the first is told.
void PlaceTracer::alone(std::size_t side, const Triple& here) {
  Triple twin;
  for (std::size_t k = 0; k < kind_count; ++k) twin.of[k] = map_.of(side, here.of[k]);
  bool came = side == 1;
  bool found = add_missing(side, here, twin);
  if (found && !came) return;
  // The other side has it, for another audience.
  if (!found && whole(twin) && find(other(side), twin) != nullptr)
    return side == 1 ? moved_tier(twin, here) : moved_tier(here, twin);
  if (whole(twin)) found |= add_unfit(side, here, twin);
  if (found && !came) return;
  add_sets(side, here, audience_, !came);
  if (!out_.empty()) return;
  for (FragmentId own : here.of) add(side, {own, 0, Part::replaces, "name"});
}

// Own fragments that the other side has not.
bool PlaceTracer::add_missing(std::size_t side, const Triple& here, const Triple& twin) {
  bool found = false;
  for (std::size_t k = 0; k < kind_count; ++k) {
    FragmentId opposite = twin.of[k];
    bool hidden = opposite != no_fragment && tree(other(side))[opposite].chain_tier > audience_;
    if (opposite == no_fragment || hidden) found |= add(side, {here.of[k], 0, Part::fragment, "fragment"});
  }
  return found;
}

// A header's edit: the fragment's own, or for a fitting that says nothing its base's.
void PlaceTracer::add_header(std::size_t side, FragmentId id, Part part, const char* name) {
  if (id == no_fragment || add(side, {id, 0, part, name})) return;
  const BoundFragment& fragment = tree(side)[id];
  if (fragment.raw->base) add(side, {tree(side).find(fragment.kind(), *fragment.raw->base), 0, part, name});
}

// Why the other side does not make the triple a profile, its plan aside.
bool PlaceTracer::add_unfit(std::size_t side, const Triple& here, const Triple& twin) {
  std::size_t before = out_.size();
  bool came = side == 1;
  const Tree& opposite = tree(other(side));
  for (std::size_t k = 0; k < kind_count; ++k) {
    const BoundFragment& fragment = opposite[twin.of[k]];
    if (!fragment.abstract) continue;
    if (!add(side, {here.of[k], 0, Part::abstract, "abstract"})) {
      // It has fittings there, or there alone none: these came or went.
      for (FragmentId each = 0; each < opposite.fragments.size(); ++each) {
        if (opposite[each].raw->base == fragment.name() && opposite[each].kind() == fragment.kind())
          add(other(side), {each, 0, Part::fragment, "fragment"});
      }
    }
    if (!came) return true;
  }
  if (out_.size() > before && !came) return true;
  if (add_status(side, here, twin) && !came) return true;
  for (const Refusal& refusal : resolvers_[other(side)].refusals(twin)) {
    add_refusal(side, here, twin, refusal);
    if (!came && out_.size() > before) return true;
  }
  // Sets for all leave out what is for supporters.
  bool higher = fragment_tier(opposite, twin) > fragment_tier(tree(side), here);
  if (higher && takers(other(side), other(side), twin, Tier::supporter).empty())
    add_tier(other(side), twin, here, came);
  return out_.size() > before;
}

// Drafts and what is retired are not taken.
bool PlaceTracer::add_status(std::size_t side, const Triple& here, const Triple& twin) {
  std::size_t before = out_.size();
  for (std::size_t k = 0; k < kind_count; ++k) {
    Status there = tree(other(side))[twin.of[k]].status;
    if ((there == Status::retired || there == Status::draft) && tree(side)[here.of[k]].status != there) {
      add_header(side, here.of[k], Part::status, "status");
      add_header(other(side), twin.of[k], Part::status, "status");
      if (side == 0 && out_.size() > before) return true;
    }
  }
  return out_.size() > before;
}

void PlaceTracer::add_refusal(std::size_t side, const Triple& here, const Triple& twin, const Refusal& refusal) {
  std::size_t there = other(side);
  if (add(there, {refusal.fragment, 0, Part::fits, "fits"})) return;
  const BoundFragment& fragment = tree(there)[refusal.fragment];
  auto kind = static_cast<std::size_t>(fragment.kind());
  FragmentId counterpart = map_.of(there, refusal.fragment);
  const auto& linear = tree(side)[here.of[kind]].linear;
  if (counterpart == no_fragment || std::find(linear.begin(), linear.end(), counterpart) == linear.end()) {
    auto found = inheritance_edits(trees_, map_, edits_, there, twin.of[kind], refusal.fragment);
    out_.insert(found.begin(), found.end());
    return;
  }
  if (fragment.fits->where) add_facts(side, here, twin, *fragment.fits->where);
}

// The edits because of which the facts differ that a condition of the other side reads.
void PlaceTracer::add_facts(std::size_t side, const Triple& here, const Triple& twin, const Formula& where) {
  std::array<Triple, 2> triples = side == 0 ? std::array{here, twin} : std::array{twin, here};
  std::array<Half, 2> halves;
  std::array<Profile, 2> profiles;
  Diagnostics silent;
  for (std::size_t at : {0u, 1u}) {
    std::vector<KeyId> wanted;
    for (KeyId key : where.keys) {
      KeyId own = keys_.key[at][keys_.number[other(side)][key]];
      if (own != no_key) wanted.push_back(own);
    }
    halves[at].tree = trees_[at];
    halves[at].triple = triples[at];
    profiles[at] = resolvers_[at].resolve_some(triples[at], wanted, false, silent, &halves[at].axes);
    halves[at].profile = &profiles[at];
  }
  Tracer tracer(halves, edits_, map_, keys_);
  for (KeyId key : where.keys) {
    std::uint32_t number = keys_.number[other(side)][key];
    if (tracer.differs(number)) out_.merge(tracer.causes_of(number, false));
  }
}

void PlaceTracer::moved(const Triple& old, const Triple& now) {
  if (find(0, old)->tier != find(1, now)->tier) moved_tier(old, now);
  if (find(0, old)->status != find(1, now)->status) moved_status(old, now);
}

// The tier is the highest of the fragments' and the lowest of the sets'. To go up one reason is enough; to come down
// all that held it up have to go.
void PlaceTracer::moved_tier(const Triple& old, const Triple& now) {
  Tier before = find(0, old)->tier, after = find(1, now)->tier;
  if (after > before) {
    if (fragment_tier(tree(1), now) > before && add_tier(1, now, old, false)) return;
    if (set_tier(1, now) > before && !add_sets(0, old, before, true)) add_draft(old, now);
    return;
  }
  if (fragment_tier(tree(0), old) > after) add_tier(0, old, now, true);
  if (set_tier(0, old) > after && !add_sets(1, now, after, false)) add_draft(old, now);
}

// A draft is taken by fewer sets.
void PlaceTracer::add_draft(const Triple& old, const Triple& now) {
  for (std::size_t k = 0; k < kind_count; ++k) {
    Status before = tree(0)[old.of[k]].status, after = tree(1)[now.of[k]].status;
    if (before == after || (before != Status::draft && after != Status::draft)) continue;
    add_header(0, old.of[k], Part::status, "status");
    add_header(1, now.of[k], Part::status, "status");
  }
}

// The supporter fragments of a chain whose counterparts are free, or not there.
bool PlaceTracer::add_tier(std::size_t side, const Triple& here, const Triple& twin, bool all) {
  std::size_t before = out_.size();
  for (std::size_t k = 0; k < kind_count; ++k) {
    for (FragmentId each : tree(side)[here.of[k]].linear) {
      if (tree(side)[each].tier != Tier::supporter) continue;
      FragmentId counterpart = map_.of(side, each);
      const auto& linear = tree(other(side))[twin.of[k]].linear;
      bool there = counterpart != no_fragment && std::find(linear.begin(), linear.end(), counterpart) != linear.end();
      if (!there) {
        auto found = inheritance_edits(trees_, map_, edits_, side, here.of[k], each);
        out_.insert(found.begin(), found.end());
      } else if (tree(other(side))[counterpart].tier == Tier::free) {
        std::size_t own = out_.size();
        add_header(side, each, Part::tier, "tier");
        if (out_.size() == own) add(side, {no_fragment, 0, Part::default_tier, "default_tier"});
      }
      if (!all && out_.size() > before) return true;
    }
  }
  return out_.size() > before;
}

void PlaceTracer::moved_status(const Triple& old, const Triple& now) {
  Status before = triple_status(tree(0), old), after = triple_status(tree(1), now);
  for (std::size_t k = 0; k < kind_count; ++k) {
    Status own_before = tree(0)[old.of[k]].status, own_after = tree(1)[now.of[k]].status;
    if (own_before == own_after) continue;
    bool lowered = after < before && own_after == after;
    bool raised = after > before && own_before < after;
    if (!lowered && !raised) continue;
    add_header(0, old.of[k], Part::status, "status");
    add_header(1, now.of[k], Part::status, "status");
    if (lowered) return;
  }
}

// The sets of one side's plan that take a triple of either side, by its names, for an audience.
std::vector<std::string> PlaceTracer::takers(std::size_t plan_of, std::size_t side, const Triple& triple,
                                             Tier most) const {
  std::vector<std::string> out;
  for (const PlanSet& set : tree(plan_of).plan.sets) {
    if (set.tier > most || (set.tier == Tier::free && fragment_tier(tree(side), triple) == Tier::supporter)) continue;
    auto holds = [&](const Condition& entry) { return names_hold(tree(side), name_condition(entry), triple.of); };
    bool taken = std::any_of(set.take.begin(), set.take.end(), [&](const Condition& entry) {
      return holds(entry) && drafts_named(tree(side), entry, triple);
    });
    bool left = std::any_of(set.leave.begin(), set.leave.end(), holds);
    if (taken && !left) out.emplace_back(set.name.text);
  }
  return out;
}

Tier PlaceTracer::set_tier(std::size_t side, const Triple& triple) const {
  return takers(side, side, triple, Tier::free).empty() ? Tier::supporter : Tier::free;
}

// The sets that take it on this side, where none of the other side's plan would. `all`: it went, so that all had to
// let it go.
bool PlaceTracer::add_sets(std::size_t side, const Triple& here, Tier most, bool all) {
  std::size_t before = out_.size();
  if (!takers(other(side), side, here, most).empty()) return false;
  for (Tier tier : {Tier::free, Tier::supporter}) {
    if (tier > most) break;
    for (const std::string& name : takers(side, side, here, tier)) {
      if (add(side, {no_fragment, 0, Part::set, name}) && !all) return true;
    }
  }
  return out_.size() > before;
}

}  // namespace bindery
