// The comparison with a side that has no sources.
#include "changes/published.h"

#include <algorithm>
#include <set>

#include "base/parallel.h"
#include "changes/edits.h"
#include "changes/pool.h"

namespace bindery {

namespace {

class Comparison {
 public:
  Comparison(const Published& from, const Published& to, const View& view, const Side* tree)
      : from_(from), to_(to), view_(view), tree_(tree), pool_(out_) {
    if (tree != nullptr) resolver_.emplace(*tree->tree);
  }

  Changes run() {
    pool_.text(std::nullopt);
    name_settings();
    std::set<std::string> gone;
    for (const auto& [id, profile] : from_.profiles) {
      if (profile.tier <= view_.tier) gone.insert(id);
    }
    for (const auto& [id, profile] : to_.profiles) {
      if (profile.tier > view_.tier) continue;
      auto number = static_cast<std::uint32_t>(out_.profiles.size());
      out_.profiles.push_back({id, parts_of(id), true});
      std::string old = gone.contains(id) ? id : old_id(id, gone);
      if (old.empty()) {
        out_.added.push_back(number);
        if (view_.contents) add_content(number, profile);
        continue;
      }
      gone.erase(old);
      compare(number, id, old, profile);
    }
    for (const std::string& id : gone) {
      out_.removed.push_back(static_cast<std::uint32_t>(out_.profiles.size()));
      out_.profiles.push_back({id, parts_of(id), false});
    }
    for (std::size_t i = 0; i < out_.moved.size(); ++i) set_.moved.push_back(static_cast<std::uint32_t>(i));
    set_.added = out_.added;
    set_.removed = out_.removed;
    if (!set_.added.empty() || !set_.removed.empty() || !set_.moved.empty()) out_.sets.push_back(std::move(set_));
    auto by_causes = [](const auto& a, const auto& b) { return a.causes < b.causes; };
    std::sort(out_.changes.begin(), out_.changes.end(), by_causes);
    std::sort(out_.scripts.begin(), out_.scripts.end(), by_causes);
    return std::move(out_);
  }

 private:
  void name_settings() {
    auto all = to_.settings;
    all.insert(from_.settings.begin(), from_.settings.end());
    for (const auto& [key, setting] : all) {
      auto old = from_.settings.find(key);
      SettingName name;
      name.key = key;
      name.title = setting.title;
      name.unit = setting.unit;
      name.old_unit = old == from_.settings.end() ? setting.unit : old->second.unit;
      name.thermal = setting.thermal;
      name.points = setting.unit == "%";
      name.gone = !to_.settings.contains(key);
      numbers_.emplace(key, static_cast<std::uint32_t>(out_.settings.size()));
      out_.settings.push_back(std::move(name));
    }
  }

  // The three names of an id, each with its title where the tree is known.
  Parts parts_of(const std::string& id) {
    Parts parts{};
    std::size_t at = 0;
    for (std::size_t k = 0; k < kind_count; ++k) {
      std::size_t end = std::min(id.find('/', at), id.size());
      std::string name = id.substr(at, end - at);
      at = std::min(end + 1, id.size());
      Cast& cast = out_.cast[k];
      auto [known, fresh] = names_[k].emplace(name, static_cast<std::uint32_t>(cast.names.size()));
      parts[k] = known->second;
      if (!fresh) continue;
      FragmentId fragment = tree_ == nullptr ? no_fragment : tree_->tree->find(static_cast<Kind>(k), name);
      cast.titles.emplace_back(fragment == no_fragment ? std::string_view(name) : (*tree_->tree)[fragment].title);
      cast.nozzles.emplace_back();
      cast.names.push_back(std::move(name));
    }
    return parts;
  }

  // The id that a profile had, by `replaces`; empty where it is new.
  std::string old_id(const std::string& id, const std::set<std::string>& gone) const {
    if (tree_ == nullptr) return {};
    const Tree& tree = *tree_->tree;
    for (const std::string& old : gone) {
      std::string now;
      std::size_t at = 0;
      for (std::size_t k = 0; k < kind_count; ++k) {
        std::size_t end = std::min(old.find('/', at), old.size());
        std::string name = old.substr(at, end - at);
        at = std::min(end + 1, old.size());
        auto successor = tree.successors[k].find(name);
        if (successor != tree.successors[k].end()) name = tree[successor->second].name();
        now += (k == 0 ? "" : "/") + name;
      }
      if (now == id) return old;
    }
    return {};
  }

  void add_content(std::uint32_t number, const PublishedProfile& profile) {
    Content& content = out_.contents.emplace_back();
    content.profile = number;
    content.tier = profile.tier;
    content.status = profile.status;
    for (const auto& [key, value] : profile.settings) content.values.emplace_back(numbers_.at(key), pool_.value(value));
    for (std::size_t slot = 0; slot < script_slots; ++slot) content.scripts[slot] = pool_.text(profile.scripts[slot]);
  }

  void compare(std::uint32_t number, const std::string& id, const std::string& old_id, const PublishedProfile& now) {
    const PublishedProfile& old = from_.profiles.at(old_id);
    if (old_id != id) {
      out_.renamed.emplace_back(static_cast<std::uint32_t>(out_.profiles.size()), number);
      out_.profiles.push_back({old_id, {}, false, true});
    }
    if (old.tier != now.tier || old.status != now.status)
      out_.moved.push_back({number, old.tier, now.tier, old.status, now.status});
    static const PlainValue unset;
    auto value_in = [](const PublishedProfile& profile, const std::string& key) -> const PlainValue& {
      auto at = profile.settings.find(key);
      return at == profile.settings.end() ? unset : at->second;
    };
    for (const auto& [key, setting] : numbers_) {
      const PlainValue &before = value_in(old, key), &after = value_in(now, key);
      const SettingName& name = out_.settings[setting];
      bool both = before.json != "null" && after.json != "null";
      if (before.json == after.json && (!both || name.unit == name.old_unit)) continue;
      with_causes(out_.changes, of_values_, cause_of(id, old_id, key))
          .effects.push_back({number, setting, pool_.value(before), pool_.value(after)});
    }
    for (std::size_t slot = 0; slot < script_slots; ++slot) {
      if (old.scripts[slot] == now.scripts[slot]) continue;
      with_causes(out_.scripts, of_scripts_, std::vector<std::uint32_t>())
          .effects.push_back(
              {number, static_cast<ScriptSlot>(slot), pool_.text(old.scripts[slot]), pool_.text(now.scripts[slot])});
    }
  }

  // The operations that make a new value: the topmost one, or where that is a formula, those of its inputs that differ.
  std::vector<std::uint32_t> cause_of(const std::string& id, const std::string& old_id, const std::string& key) {
    if (tree_ == nullptr) return {};
    const Tree& tree = *tree_->tree;
    if (resolved_ != id) {
      Diagnostics silent;
      Triple triple;
      Parts parts = parts_of(id);
      for (std::size_t k = 0; k < kind_count; ++k)
        triple.of[k] = tree.find(static_cast<Kind>(k), out_.cast[k].names[parts[k]]);
      profile_ = resolver_->resolve(triple, silent);
      resolved_ = id;
    }
    std::set<std::uint32_t> causes;
    std::set<std::string> seen;
    collect_causes(from_.profiles.at(old_id), to_.profiles.at(id), key, seen, causes);
    return {causes.begin(), causes.end()};
  }

  void collect_causes(const PublishedProfile& old, const PublishedProfile& now, const std::string& key,
                      std::set<std::string>& seen, std::set<std::uint32_t>& causes) {
    if (!seen.insert(key).second) return;
    const Dictionary& dictionary = tree_->tree->dictionary;
    KeyId number = dictionary.find(key);
    const Op* top = number == no_key ? nullptr : profile_.top(number);
    const Formula* formula = top != nullptr ? top->formula : nullptr;
    if (top == nullptr && number != no_key && dictionary.settings[number].formula_default)
      formula = &*dictionary.settings[number].formula_default;
    bool followed = false;
    for (KeyId input : formula == nullptr ? std::vector<KeyId>() : formula->keys) {
      std::string name(dictionary.settings[input].key);
      auto before = old.settings.find(name), after = now.settings.find(name);
      bool there = before != old.settings.end() && after != now.settings.end();
      if (there ? before->second == after->second : (before == old.settings.end()) == (after == now.settings.end()))
        continue;
      followed = true;
      collect_causes(old, now, name, seen, causes);
    }
    if (!followed) causes.insert(edit_of(key, number, top));
  }

  // The operation as an edit of which the old text is not known.
  std::uint32_t edit_of(const std::string& key, KeyId number, const Op* top) {
    const Tree& tree = *tree_->tree;
    Edit edit;
    edit.traced = false;
    edit.setting = key;
    if (number != no_key) edit.thermal = concerns_heat(tree.dictionary.settings[number]);
    if (top == nullptr) {
      edit.fragment = "schema";
      edit.part = Part::standard;
      if (number != no_key) {
        edit.after = tree.dictionary.settings[number].default_text;
        edit.file = (*tree.sources)[tree.dictionary.settings[number].span.file].path;
      }
    } else {
      edit.fragment = tree[top->fragment].id();
      edit.file = (*tree.sources)[top->key_span.file].path;
      for (const RawLayer& layer : tree[top->fragment].raw->layers) {
        for (const auto* writes : {&layer.settings, &layer.adjust}) {
          for (const RawWrite& write : *writes) {
            if (write.key_span != top->key_span) continue;
            edit.part = writes == &layer.adjust ? Part::adjust : Part::settings;
            edit.after = as_written(write.value);
            if (layer.condition) edit.condition = as_written(*layer.condition);
          }
        }
      }
    }
    auto at = std::find(out_.edits.begin(), out_.edits.end(), edit);
    if (at == out_.edits.end()) at = out_.edits.insert(at, std::move(edit));
    return static_cast<std::uint32_t>(at - out_.edits.begin());
  }

  const Published& from_;
  const Published& to_;
  const View& view_;
  const Side* tree_;
  Changes out_;
  Pool pool_;
  SetChange set_;
  std::map<std::string, std::uint32_t> numbers_;
  std::array<std::map<std::string, std::uint32_t>, kind_count> names_;
  std::map<std::vector<std::uint32_t>, std::size_t> of_values_, of_scripts_;
  std::optional<Resolver> resolver_;
  std::string resolved_;
  Profile profile_;
};

}  // namespace

Published publish(const Side& side, Tier audience, unsigned jobs, Diagnostics& out) {
  const Tree& tree = *side.tree;
  Published published;
  published.tier = audience;
  for (const Setting& setting : tree.dictionary.settings)
    published.settings.emplace(setting.key, PublishedSetting{std::string(setting.title),
                                                             std::string(setting.unit_text()), concerns_heat(setting)});
  const auto& selected = side.selection->profiles;
  std::vector<PublishedProfile> profiles(selected.size());
  constexpr std::size_t block = 64;
  std::vector<Diagnostics> reports((selected.size() + block - 1) / block);
  parallel_for(reports.size(), jobs, [&](std::size_t b) {
    Resolver resolver(tree);
    for (std::size_t i = b * block; i < std::min((b + 1) * block, selected.size()); ++i) {
      if (selected[i].tier > audience) continue;
      Profile profile = resolver.resolve(selected[i].triple, reports[b]);
      profiles[i].tier = selected[i].tier;
      profiles[i].status = selected[i].status;
      profiles[i].scripts = profile.scripts;
      for (KeyId key = 0; key < profile.cells.size(); ++key) {
        if (profile.cells[key].value.has_value())
          profiles[i].settings.emplace(tree.dictionary.settings[key].key, plain(profile.cells[key].value));
      }
    }
  });
  for (Diagnostics& report : reports) out.join(std::move(report));
  for (std::size_t i = 0; i < selected.size(); ++i) {
    if (selected[i].tier <= audience)
      published.profiles.emplace(profile_id(tree, selected[i].triple), std::move(profiles[i]));
  }
  return published;
}

Changes compare_published(const Published& from, const Published& to, const View& view, const Side* tree) {
  return Comparison(from, to, view, tree).run();
}

}  // namespace bindery
