#include "resolve/names.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

#include "base/words.h"
#include "resolve/tree.h"

namespace bindery {

NameCondition name_condition(const Condition& raw) {
  NameCondition out;
  for (std::size_t k = 0; k < kind_count; ++k) {
    for (const Text& name : raw.names[k]) {
      bool exclude = name.text.starts_with('!');
      out[k].push_back({name.text.substr(exclude ? 1 : 0), exclude, name.span});
    }
  }
  return out;
}

bool admits(const std::vector<NamePattern>& patterns, std::string_view name, std::uint64_t* work) {
  bool any_include = false, included = false;
  for (const NamePattern& pattern : patterns) {
    if (work != nullptr) *work += 1 + pattern.glob.size() * name.size() / 64;
    bool match = glob_match(pattern.glob, name);
    if (pattern.exclude && match) return false;
    any_include |= !pattern.exclude;
    included |= !pattern.exclude && match;
  }
  return included || !any_include;
}

bool names_hold(const Tree& tree, const NameCondition& condition, const std::array<FragmentId, kind_count>& triple,
                std::uint64_t* work) {
  for (std::size_t k = 0; k < kind_count; ++k) {
    if (!admits(condition[k], tree[triple[k]].name(), work)) return false;
  }
  return true;
}

void report_unmatched(const Tree& tree, const NameCondition& condition, Code code, NameSearch& search,
                      Diagnostics& out) {
  for (Kind kind : all_kinds) {
    auto k = static_cast<std::size_t>(kind);
    const auto& ids = tree.of_kind[k];
    for (const NamePattern& pattern : condition[k]) {
      if (search.spent()) {
        if (std::exchange(search.told, true)) return;
        out.add(Code::too_heavy, pattern.span,
                "to look for the names in conditions takes more computation than is done for it")
            .with_help("name fewer, or send fewer fragments at a time");
        return;
      }
      bool glob = is_glob(pattern.glob);
      auto matches = [&](FragmentId id) {
        search.work += 1 + pattern.glob.size() * tree[id].name().size() / 64;
        return !tree[id].abstract && glob_match(pattern.glob, tree[id].name());
      };
      FragmentId named = glob ? no_fragment : tree.find(kind, pattern.glob);
      bool found = glob ? std::any_of(ids.begin(), ids.end(), matches) : named != no_fragment && !tree[named].abstract;
      if (found || tree.may_be_unread(kind, pattern.glob)) continue;
      bool told_elsewhere = named != no_fragment && code == Code::take_unmatched;
      if (!told_elsewhere && out.skip(code)) continue;
      if (named != no_fragment) {
        if (code == Code::take_unmatched) continue;  // the selection tells that it is abstract
        out.add(code, pattern.span, fmt::format("'{}' is abstract, so no triple bears its name", pattern.glob))
            .with_help(tree[named].raw->has_fittings ? fmt::format("name its fittings: '{}+*'", pattern.glob)
                                                     : "name the fragments that extend it");
        continue;
      }
      std::vector<std::string_view> names;
      for (FragmentId id : ids) names.push_back(tree[id].name());
      search.work += names.size() * 4;
      std::string near = nearest(pattern.glob, names);
      out.add(code, pattern.span,
              fmt::format("no {} {} '{}'", name_of(kind), glob ? "matches" : "is named", pattern.glob))
          .with_help(near.empty() ? "check the spelling; a fitting is named with its `+`"
                                  : fmt::format("did you mean '{}'", near));
    }
  }
}

}  // namespace bindery
