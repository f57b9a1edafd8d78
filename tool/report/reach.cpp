#include "report/reach.h"

#include <algorithm>
#include <map>
#include <set>

#include <fmt/format.h>

#include "base/words.h"
#include "report/markdown.h"

namespace bindery {

namespace {

constexpr std::size_t few = 4;  // names that are told one by one

}  // namespace

ReachTeller::ReachTeller(const Changes& changes) : changes_(changes) {
  came_.assign(changes.profiles.size(), 0);
  for (std::uint32_t each : changes.added) came_[each] = 1;
  for (std::uint32_t i = 0; i < changes.profiles.size(); ++i) {
    if (changes.profiles[i].alias) came_[i] = -1;
    else if (!changes.profiles[i].now) came_[i] = 2;
  }
  for (std::size_t k = 0; k < kind_count; ++k) {
    for (const std::string& title : changes.cast[k].titles) ++titles_[k][title];
  }
}

// "All" means all that stayed; with those that came or went only where the set has such.
void ReachTeller::choose_stage(const Indexes& profiles) {
  std::array<bool, 3> wanted = {true, false, false};
  for (std::uint32_t each : profiles) wanted[static_cast<std::size_t>(came_[each])] = true;
  auto [at, fresh] = stages_.try_emplace((wanted[1] ? 1 : 0) + (wanted[2] ? 2 : 0));
  stage_ = &at->second;
  if (!fresh) return;
  for (std::uint32_t i = 0; i < changes_.profiles.size(); ++i) {
    if (came_[i] < 0 || !wanted[static_cast<std::size_t>(came_[i])]) continue;
    at->second.all.push_back(i);
    for (std::size_t k = 0; k < kind_count; ++k) at->second.names[k].insert(changes_.profiles[i].parts[k]);
  }
}

const std::string& ReachTeller::tell(Indexes profiles) {
  std::sort(profiles.begin(), profiles.end());
  profiles.erase(std::unique(profiles.begin(), profiles.end()), profiles.end());
  auto [at, fresh] = known_.try_emplace(profiles);
  if (fresh) at->second = words_of(profiles);
  return at->second;
}

std::string ReachTeller::words_of(const Indexes& profiles) {
  choose_stage(profiles);
  if (profiles.size() == 1) return code(changes_.profiles[profiles.front()].id);
  std::string number = counted(profiles.size(), "profile");
  if (profiles.size() == stage_->all.size()) return fmt::format("all {}", number);
  std::vector<std::string> boxes;
  for (const Indexes& part : split(profiles)) boxes.push_back(box_words(box_of(part), part.size()));
  if (boxes.empty()) return fallback(profiles);
  return fmt::format("{} ({})", fmt::join(boxes, "; "), number);
}

std::string ReachTeller::fallback(const Indexes& profiles) const {
  Box box = box_of(profiles);
  return fmt::format("{} of {}, such as {}", counted(profiles.size(), "profile"), counted(box[0].size(), "machine"),
                     code(changes_.profiles[profiles.front()].id));
}

ReachTeller::Box ReachTeller::box_of(const Indexes& profiles) const {
  Box box;
  for (std::uint32_t each : profiles) {
    for (std::size_t k = 0; k < kind_count; ++k) box[k].insert(changes_.profiles[each].parts[k]);
  }
  return box;
}

// How many profiles on stage have names of the box, in the kinds that are bound.
std::size_t ReachTeller::inside(const Box& box, const std::array<bool, kind_count>& bound) const {
  std::array<std::vector<char>, kind_count> has;
  for (std::size_t k = 0; k < kind_count; ++k) {
    has[k].assign(changes_.cast[k].names.size(), bound[k] ? 0 : 1);
    for (std::uint32_t each : box[k]) has[k][each] = 1;
  }
  std::size_t count = 0;
  for (std::uint32_t each : stage_->all) {
    const Parts& parts = changes_.profiles[each].parts;
    count += has[0][parts[0]] & has[1][parts[1]] & has[2][parts[2]];
  }
  return count;
}

// The names of each kind, if these are all profiles that they make.
std::optional<ReachTeller::Box> ReachTeller::as_box(const Indexes& profiles) const {
  Box box = box_of(profiles);
  if (inside(box, {true, true, true}) != profiles.size()) return std::nullopt;
  return box;
}

// Whole, or by machines that have the same materials and processes, or by materials in the same way, or by processes;
// empty where these are too many groups to tell.
std::vector<ReachTeller::Indexes> ReachTeller::split(const Indexes& profiles) const {
  if (as_box(profiles)) return {profiles};
  std::vector<Indexes> best;
  for (std::size_t k = 0; k < kind_count; ++k) {
    std::map<std::uint32_t, Indexes> members;
    for (std::uint32_t each : profiles) members[changes_.profiles[each].parts[k]].push_back(each);
    std::map<std::vector<Parts>, Indexes> groups;
    for (const auto& [name, own] : members) {
      std::vector<Parts> partners;
      for (std::uint32_t each : own) {
        Parts parts = changes_.profiles[each].parts;
        parts[k] = 0;
        partners.push_back(parts);
      }
      std::sort(partners.begin(), partners.end());
      Indexes& group = groups[std::move(partners)];
      group.insert(group.end(), own.begin(), own.end());
      if (groups.size() > few) break;
    }
    if (groups.size() > few || (!best.empty() && groups.size() >= best.size())) continue;
    bool boxes = std::all_of(groups.begin(), groups.end(), [&](const auto& g) { return as_box(g.second).has_value(); });
    if (!boxes) continue;
    best.clear();
    for (auto& [partners, group] : groups) best.push_back(std::move(group));
  }
  return best;
}

// Only the kinds that narrow it down are told.
std::string ReachTeller::box_words(const Box& box, std::size_t size) const {
  std::array<bool, kind_count> bound = {true, true, true};
  for (std::size_t k : {2u, 1u, 0u}) {
    bound[k] = false;
    if (inside(box, bound) != size) bound[k] = true;
  }
  std::string out = bound[0] ? machine_words(box[0]) : std::string();
  if (bound[1]) out += fmt::format("{}{}", out.empty() ? "all profiles with " : " with ", names_words(1, box[1]));
  if (bound[2]) out += fmt::format("{}{}", out.empty() ? "all profiles of " : ", ", names_words(2, box[2]));
  return out.empty() ? "all profiles" : out;
}

std::string ReachTeller::machine_words(const Names& names) const {
  const Cast& cast = changes_.cast[0];
  if (names.size() < 2) return names_words(0, names);
  const std::string& nozzle = cast.nozzles[*names.begin()];
  if (!nozzle.empty() && names == with_nozzle(stage_->names[0], nozzle)) return fmt::format("all {} machines", nozzle);
  if (names.size() <= 2) return names_words(0, names);
  for (const Family& family : cast.families) {
    Names members = on_stage(0, family);
    if (names == members) return fmt::format("all machines of \"{}\"", plain_text(family.title));
    if (!nozzle.empty() && names == with_nozzle(members, nozzle))
      return fmt::format("the {} machines of \"{}\"", nozzle, plain_text(family.title));
  }
  return names_words(0, names);
}

ReachTeller::Names ReachTeller::with_nozzle(const Names& names, const std::string& nozzle) const {
  Names out;
  for (std::uint32_t each : names) {
    if (changes_.cast[0].nozzles[each] == nozzle) out.insert(each);
  }
  return out;
}

ReachTeller::Names ReachTeller::on_stage(std::size_t kind, const Family& family) const {
  Names out;
  for (std::uint32_t each : family.members) {
    if (stage_->names[kind].contains(each)) out.insert(each);
  }
  return out;
}

std::string ReachTeller::names_words(std::size_t kind, const Names& names) const {
  const Cast& cast = changes_.cast[kind];
  constexpr std::string_view words[] = {"machine", "material", "process"};
  auto title = [&](std::uint32_t each) { return title_of(kind, each); };
  std::vector<std::string> titles;
  if (names.size() > 1) {
    for (const Family& family : cast.families) {
      bool ambiguous = titles_[kind].contains(family.title);
      if (kind != 0 && !ambiguous && names == on_stage(kind, family)) return plain_text(family.title);
    }
    for (std::uint32_t each : stage_->names[kind]) {
      if (!names.contains(each)) titles.push_back(title(each));
    }
    if (titles.size() <= 2 && names.size() > few)
      return fmt::format("every {} but {}", words[kind], join_words(titles));
    titles.clear();
  }
  for (std::uint32_t each : names) {
    if (titles.size() < few || names.size() <= few) titles.push_back(title(each));
  }
  std::sort(titles.begin(), titles.end());
  titles.erase(std::unique(titles.begin(), titles.end()), titles.end());
  if (names.size() > few)
    return fmt::format("{} ({} ...)", counted(names.size(), words[kind], kind == 2 ? "processes" : ""),
                       fmt::join(titles, ", "));
  return join_words(titles);
}

// Its title, and what tells it from others of that title.
std::string ReachTeller::title_of(std::size_t kind, std::uint32_t name) const {
  const Cast& cast = changes_.cast[kind];
  std::string title = plain_text(cast.titles[name]);
  if (titles_[kind].at(cast.titles[name]) == 1) return title;
  auto alike = [&](std::uint32_t each) {
    return cast.titles[each] == cast.titles[name] && cast.nozzles[each] == cast.nozzles[name];
  };
  std::size_t count = 0;
  for (std::uint32_t each = 0; each < cast.names.size(); ++each) count += alike(each) ? 1 : 0;
  if (!cast.nozzles[name].empty() && count == 1) return fmt::format("{} {}", title, cast.nozzles[name]);
  return code(cast.names[name]);
}

}  // namespace bindery
