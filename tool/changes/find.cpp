// The comparison of two trees: pairs of profiles resolved as far as an edit can reach, on all cores.
#include <algorithm>

#include "base/json.h"
#include "base/parallel.h"
#include "changes/places.h"
#include "changes/pool.h"
#include "changes/reach.h"

namespace bindery {

namespace {

// What one pair of profiles brought to light.
struct Found {
  std::uint32_t pair = 0;
  struct Difference {
    std::uint32_t setting;
    PlainValue before, after;
    EditSet causes;
  };
  std::vector<Difference> values, caps;
  struct ScriptDifference {
    ScriptSlot slot;
    std::optional<std::string> before, after;
    EditSet causes;
  };
  std::vector<ScriptDifference> scripts;
  std::vector<std::pair<std::uint32_t, PlainValue>> content;  // of an added profile
  std::array<std::optional<std::string>, script_slots> texts;
  std::string nozzle;

  bool anything() const {
    return !values.empty() || !caps.empty() || !scripts.empty() || !content.empty() || !nozzle.empty();
  }
};

PlainValue plain_cap(const Setting& setting, const Profile& profile, const Cell& cell) {
  if (cell.cap < 0) return {};
  const Cap& cap = profile.caps[static_cast<std::size_t>(cell.cap)];
  JsonWriter json(0);
  json.open_object();
  json.field("bound", cap.bound == nullptr ? "flow_limit" : cap.upper ? "at_most" : "at_least");
  json.key("limit").number(cap.limit).key("uncapped").number(cap.uncapped);
  json.field_or_null("unit", setting.unit_text()).close();
  PlainValue out;
  out.json = json.finish();
  while (out.json.ends_with('\n')) out.json.pop_back();
  out.number = cap.limit;
  return out;
}

class Comparison {
 public:
  Comparison(const Side& from, const Side& to, const View& view, unsigned jobs)
      : from_(from),
        to_(to),
        view_(view),
        jobs_(jobs),
        map_(map_fragments(*from.tree, *to.tree)),
        keys_(common_keys(from.tree->dictionary, to.tree->dictionary)),
        edits_(view.first ? EditTable{} : find_edits(*from.tree, *to.tree, map_, view.tier)),
        pairs_(pair_profiles(from, to, map_, view.tier)) {
    if (!view.first) reach_.emplace(*from.tree, *to.tree, edits_, map_, keys_);
  }

  Changes run(Diagnostics& of_from, Diagnostics& of_to) {
    note_faces();
    std::size_t chunks = std::min<std::size_t>(std::max(1u, jobs_) * 8, std::max<std::size_t>(1, pairs_.size()));
    std::vector<std::vector<Found>> found(chunks);
    std::vector<std::array<Diagnostics, 2>> reports(chunks);
    parallel_for(chunks, jobs_, [&](std::size_t c) {
      Resolver old(*from_.tree), now(*to_.tree);
      std::optional<ReachFinder> reach = reach_;
      for (std::size_t i = pairs_.size() * c / chunks; i < pairs_.size() * (c + 1) / chunks; ++i) {
        if (view_.partial) reports[c] = {};
        Found each = look(static_cast<std::uint32_t>(i), reach, old, now, reports[c]);
        bool failed = reports[c][0].any_errors() || reports[c][1].any_errors();
        if (each.anything() && !(view_.partial && failed)) found[c].push_back(std::move(each));
      }
      if (view_.partial) reports[c] = {};
    });
    for (auto& report : reports) {
      of_from.join(std::move(report[0]));
      of_to.join(std::move(report[1]));
    }
    if (of_from.any_errors() || of_to.any_errors()) return {};
    return gather(found);
  }

 private:
  const Selected& old_profile(const Pair& pair) const { return from_.selection->profiles[*pair.old]; }
  const Selected& new_profile(const Pair& pair) const { return to_.selection->profiles[*pair.now]; }

  // The first profile of each machine tells its nozzle.
  void note_faces() {
    faces_.assign(pairs_.size(), false);
    std::set<FragmentId> seen;
    for (std::size_t i = 0; i < pairs_.size(); ++i) {
      if (pairs_[i].now) faces_[i] = seen.insert(new_profile(pairs_[i]).triple.of[0]).second;
    }
  }

  Found look(std::uint32_t index, std::optional<ReachFinder>& reach, Resolver& old, Resolver& now,
             std::array<Diagnostics, 2>& reports) {
    const Pair& pair = pairs_[index];
    Found out;
    out.pair = index;
    if (!pair.now) return out;
    // The new side is resolved whole, so that nothing is said of a tree with an error.
    std::array<Half, 2> halves;
    if (faces_[index]) out.nozzle = nozzle_of(new_profile(pair).triple, now);
    if (!pair.old) {
      if (view_.checked && !view_.contents) return out;
      Profile added = now.resolve(new_profile(pair).triple, reports[1]);
      if (view_.contents) add_content(added, out);
      return out;
    }
    const Reach& scope = reach->of(old_profile(pair).triple, new_profile(pair).triple);
    if (scope.nothing()) return out;
    Profile before = resolve(old, 0, old_profile(pair).triple, scope, reports[0], halves[0]);
    Profile after = resolve(now, 1, new_profile(pair).triple, scope, reports[1], halves[1]);
    if (reports[0].any_errors() || reports[1].any_errors()) return out;
    halves[0] = {from_.tree, before.triple, halves[0].axes, &before};
    halves[1] = {to_.tree, after.triple, halves[1].axes, &after};
    compare(halves, scope, out);
    return out;
  }

  // As far as an edit reaches.
  Profile resolve(Resolver& resolver, std::size_t side, const Triple& triple, const Reach& scope, Diagnostics& out,
                  Half& half) const {
    if (scope.all) return resolver.resolve(triple, out, &half.axes);
    std::vector<KeyId> wanted;
    for (std::uint32_t number : scope.numbers) {
      if (keys_.key[side][number] != no_key) wanted.push_back(keys_.key[side][number]);
    }
    return resolver.resolve_some(triple, wanted, scope.scripts, out, &half.axes);
  }

  std::string nozzle_of(const Triple& triple, Resolver& resolver) const {
    const Dictionary& dictionary = to_.tree->dictionary;
    KeyId key = dictionary.role(Role::nozzle);
    if (key == no_key) return {};
    Diagnostics silent;
    Profile profile = resolver.resolve_some(triple, {key}, false, silent);
    if (!profile.cells[key].value.has_value()) return {};
    return written(dictionary.settings[key], profile.cells[key].value);
  }

  void add_content(const Profile& profile, Found& out) const {
    for (KeyId key = 0; key < profile.cells.size(); ++key) {
      if (profile.cells[key].value.has_value())
        out.content.emplace_back(keys_.number[1][key], plain(profile.cells[key].value));
    }
    out.texts = profile.scripts;
  }

  void compare(const std::array<Half, 2>& halves, const Reach& scope, Found& out) const {
    Tracer tracer(halves, edits_, map_, keys_);
    auto look_at = [&](std::uint32_t number) { compare_setting(number, halves, tracer, out); };
    if (scope.all) {
      for (std::uint32_t number = 0; number < keys_.size(); ++number) look_at(number);
    } else {
      for (std::uint32_t number : scope.numbers) look_at(number);
    }
    if (!scope.all && !scope.scripts) return;
    for (std::size_t slot = 0; slot < script_slots; ++slot) {
      const auto &before = halves[0].profile->scripts[slot], &after = halves[1].profile->scripts[slot];
      if (before == after) continue;
      auto which = static_cast<ScriptSlot>(slot);
      out.scripts.push_back({which, before, after, tracer.causes_of(which)});
    }
  }

  void compare_setting(std::uint32_t number, const std::array<Half, 2>& halves, Tracer& tracer, Found& out) const {
    static const Cell nothing;
    KeyId old = keys_.key[0][number], now = keys_.key[1][number];
    const Cell& before = old == no_key ? nothing : halves[0].profile->cells[old];
    const Cell& after = now == no_key ? nothing : halves[1].profile->cells[now];
    const Setting* left = old == no_key ? nullptr : &from_.tree->dictionary.settings[old];
    const Setting* right = now == no_key ? nullptr : &to_.tree->dictionary.settings[now];
    bool equal =
        written_equal(left == nullptr ? *right : *left, before.value, right == nullptr ? *left : *right, after.value);
    if (!equal)
      out.values.push_back({number, plain(before.value), plain(after.value), tracer.causes_of(number, false)});
    if ((before.cap < 0) != (after.cap < 0) && left != nullptr && right != nullptr) {
      out.caps.push_back({number, plain_cap(*left, *halves[0].profile, before),
                          plain_cap(*right, *halves[1].profile, after), tracer.causes_of(number, true)});
    }
  }

  Changes gather(std::vector<std::vector<Found>>& found) {
    Changes out;
    Pool pool(out);
    pool.text(std::nullopt);
    name_profiles(from_, to_, pairs_, out);
    name_settings(from_.tree->dictionary, to_.tree->dictionary, keys_, out);
    place(out);
    std::map<std::vector<std::uint32_t>, std::size_t> of_values, of_caps, of_scripts;
    for (auto& chunk : found) {
      for (Found& each : chunk) {
        for (auto& d : each.values)
          with_causes(out.changes, of_values, d.causes)
              .effects.push_back({each.pair, d.setting, pool.value(d.before), pool.value(d.after)});
        for (auto& d : each.caps)
          with_causes(out.caps, of_caps, d.causes)
              .effects.push_back({each.pair, d.setting, pool.value(d.before), pool.value(d.after)});
        for (auto& d : each.scripts)
          with_causes(out.scripts, of_scripts, d.causes)
              .effects.push_back({each.pair, d.slot, pool.text(d.before), pool.text(d.after)});
        if (!each.content.empty()) keep_content(each, pool, out);
        if (!each.nozzle.empty()) out.cast[0].nozzles[out.profiles[each.pair].parts[0]] = each.nozzle;
        each = {};
      }
    }
    out.edits = edits_.edits;
    find_idle(out);
    auto by_causes = [](const auto& a, const auto& b) { return a.causes < b.causes; };
    std::sort(out.changes.begin(), out.changes.end(), by_causes);
    std::sort(out.caps.begin(), out.caps.end(), by_causes);
    std::sort(out.scripts.begin(), out.scripts.end(), by_causes);
    std::sort(out.sets.begin(), out.sets.end(), by_causes);
    return out;
  }

  void keep_content(const Found& found, Pool& pool, Changes& out) const {
    const Selected& selected = new_profile(pairs_[found.pair]);
    Content& content = out.contents.emplace_back();
    content.profile = found.pair;
    content.tier = selected.tier;
    content.status = selected.status;
    for (const auto& [setting, value] : found.content) content.values.emplace_back(setting, pool.value(value));
    for (std::size_t slot = 0; slot < script_slots; ++slot) content.scripts[slot] = pool.text(found.texts[slot]);
  }

  // Profiles that came, went, were renamed or moved.
  void place(Changes& out) const {
    std::map<std::vector<std::uint32_t>, std::size_t> index;
    PlaceTracer tracer(from_, to_, edits_, map_, keys_, view_.tier);
    for (std::uint32_t i = 0; i < pairs_.size(); ++i) {
      const Pair& pair = pairs_[i];
      if (pair.old && pair.now) {
        const Selected &old = old_profile(pair), &now = new_profile(pair);
        std::string old_id = profile_id(*from_.tree, old.triple);
        if (old_id != out.profiles[i].id) {
          out.renamed.emplace_back(static_cast<std::uint32_t>(out.profiles.size()), i);
          out.profiles.push_back({old_id, {}, false, true});
        }
        if (old.tier == now.tier && old.status == now.status) continue;
        out.moved.push_back({i, old.tier, now.tier, old.status, now.status});
      }
      if (pair.old && !pair.now) out.removed.push_back(i);
      if (!pair.old && pair.now) out.added.push_back(i);
      if (view_.first) continue;
      SetChange& change = with_causes(out.sets, index, tracer.causes_of(pair));
      if (!pair.old) change.added.push_back(i);
      else if (!pair.now) change.removed.push_back(i);
      else change.moved.push_back(static_cast<std::uint32_t>(out.moved.size() - 1));
    }
    auto by_id = [&](std::uint32_t a, std::uint32_t b) { return out.profiles[a].id < out.profiles[b].id; };
    std::sort(out.added.begin(), out.added.end(), by_id);
    std::sort(out.removed.begin(), out.removed.end(), by_id);
  }

  // Edits that no difference has for a cause. To the free audience, those of fragments alone that its profiles are made
  // of, and of the dictionary.
  void find_idle(Changes& out) const {
    EditSet used = out.causes();
    add_renames(used);
    add_bases(used);
    std::array<std::vector<bool>, 2> part;
    if (view_.tier == Tier::free) part = fragments_in_use();
    for (std::uint32_t i = 0; i < out.edits.size(); ++i) {
      bool told = view_.tier == Tier::supporter;
      for (std::size_t side : {0u, 1u}) {
        const auto& place = edits_.places[i][side];
        if (told || !place) continue;
        told = place->fragment == no_fragment ? out.edits[i].fragment != "plan" : part[side][place->fragment];
      }
      out.edits[i].told = told;
      if (told && !used.contains(i) && !is_told_apart(out.edits[i])) out.idle.push_back(i);
    }
  }

  // What the dictionary says of a setting besides its value is told as such, and no value comes of it.
  static bool is_told_apart(const Edit& edit) {
    return edit.fragment == "schema" && edit.part != Part::standard && edit.part != Part::unit;
  }

  // A base comes and goes with its fittings.
  void add_bases(EditSet& used) const {
    for (std::uint32_t i = 0; i < edits_.edits.size(); ++i) {
      if (edits_.edits[i].part != Part::fragment || !used.contains(i)) continue;
      for (std::size_t side : {0u, 1u}) {
        const auto& place = edits_.places[i][side];
        if (!place) continue;
        const Tree& tree = side == 0 ? *from_.tree : *to_.tree;
        const BoundFragment& fragment = tree[place->fragment];
        if (!fragment.raw->base) continue;
        FragmentId base = tree.find(fragment.kind(), *fragment.raw->base);
        std::uint32_t edit = edits_.find(side, {base, 0, Part::fragment, "fragment"});
        if (edit != EditTable::none) used.insert(edit);
      }
    }
  }

  // A rename changes the names of its profiles.
  void add_renames(EditSet& used) const {
    for (const Pair& pair : pairs_) {
      if (!pair.old || !pair.now) continue;
      const Triple& now = new_profile(pair).triple;
      for (std::size_t k = 0; k < kind_count; ++k) {
        const BoundFragment& fragment = (*to_.tree)[now.of[k]];
        if (fragment.name() == (*from_.tree)[old_profile(pair).triple.of[k]].name()) continue;
        FragmentId base = fragment.raw->base ? to_.tree->find(fragment.kind(), *fragment.raw->base) : now.of[k];
        for (FragmentId each : {now.of[k], base}) {
          for (const char* name : {"name", "replaces"}) {
            std::uint32_t edit = edits_.find(1, {each, 0, Part::replaces, name});
            if (edit != EditTable::none) used.insert(edit);
          }
        }
      }
    }
  }

  std::array<std::vector<bool>, 2> fragments_in_use() const {
    std::array<std::vector<bool>, 2> out;
    for (std::size_t side : {0u, 1u}) {
      const Side& each = side == 0 ? from_ : to_;
      out[side].assign(each.tree->fragments.size(), false);
      for (const Selected& selected : each.selection->profiles) {
        if (selected.tier > view_.tier) continue;
        for (FragmentId own : selected.triple.of) {
          for (FragmentId member : (*each.tree)[own].linear) out[side][member] = true;
        }
      }
    }
    return out;
  }

  const Side& from_;
  const Side& to_;
  const View& view_;
  unsigned jobs_;
  FragmentMap map_;
  CommonKeys keys_;
  EditTable edits_;
  std::vector<Pair> pairs_;
  std::optional<ReachFinder> reach_;  // of a first release, where no two profiles are compared, none
  std::vector<bool> faces_;
};

}  // namespace

std::set<std::uint32_t> Changes::causes() const {
  std::set<std::uint32_t> out;
  auto add = [&](const auto& list) {
    for (const auto& each : list) out.insert(each.causes.begin(), each.causes.end());
  };
  add(changes);
  add(caps);
  add(scripts);
  add(sets);
  return out;
}

bool Changes::empty() const {
  return edits.empty() && added.empty() && removed.empty() && renamed.empty() && moved.empty() && changes.empty() &&
         caps.empty() && scripts.empty();
}

Changes find_changes(const Side& from, const Side& to, const View& view, unsigned jobs, Diagnostics& of_from,
                     Diagnostics& of_to) {
  return Comparison(from, to, view, jobs).run(of_from, of_to);
}

}  // namespace bindery
