#include "judge/policy.h"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "base/words.h"
#include "changes/edits.h"

namespace bindery {

namespace {

// Globs with `!` to exclude, as in a condition of names; an empty list admits all.
bool admits_text(const std::vector<Text>& patterns, std::string_view text) {
  bool any = false, admitted = false;
  for (const Text& pattern : patterns) {
    bool exclude = pattern.text.starts_with('!');
    std::string_view glob = exclude ? pattern.text.substr(1) : pattern.text;
    if (exclude && glob_match(glob, text)) return false;
    any |= !exclude;
    admitted |= !exclude && glob_match(glob, text);
  }
  return admitted || !any;
}

class PolicyCheck {
 public:
  PolicyCheck(const Tree& base, const Tree& proposal, const Contribution& contribution, Diagnostics& out)
      : base_(base),
        proposal_(proposal),
        policy_(base.plan.policy),
        contribution_(contribution),
        map_(map_fragments(base, proposal)),
        edits_(find_edits(base, proposal, map_, Tier::supporter)),
        out_(out) {
    for (FragmentId id = 0; id < proposal.fragments.size(); ++id) {
      FragmentId old = map_.of(1, id);
      if (old == no_fragment || base[old].raw != proposal[id].raw) changed_.push_back(id);
    }
  }

  void check(std::size_t reached) {
    check_paths();
    check_sizes(reached);
    check_sign_off();
    check_writes();
    for (FragmentId id : changed_) {
      check_headers(id);
      check_tier(id);
      check_evidence(id);
    }
  }

 private:
  const BoundFragment* before(FragmentId id) const {
    FragmentId old = map_.of(1, id);
    return old == no_fragment ? nullptr : &base_[old];
  }

  // The file at a path; one that the proposal lacks and the base has keeps its number.
  Span file_span(std::string_view path) const {
    const auto& files = proposal_.sources->files;
    auto at = std::lower_bound(files.begin(), files.end(), path,
                               [](const SourceFile& file, std::string_view p) { return file.path < p; });
    if (at == files.end() || at->path != path) return {};
    return {static_cast<FileId>(at - files.begin()), 0, 0};
  }

  Diagnostic& report(Code code, Span span, std::string message, std::string help) {
    Diagnostic& item = out_.add(code, span, std::move(message));
    item.help = std::move(help);
    if (policy_.span.known()) item.with_related(base_span(), "the policy of the base");
    return item;
  }

  // The policy stands in the base; its place is told where the proposal has the same text.
  Span base_span() const {
    const SourceFile& file = (*base_.sources)[policy_.span.file];
    bool same = (*proposal_.sources)[policy_.span.file].text == file.text;
    return same ? policy_.span : Span{policy_.span.file, 0, 0};
  }

  void check_paths() {
    for (const TouchedPath& touched : contribution_.touched) {
      if (admits_text(policy_.paths, touched.path)) continue;
      report(Code::policy_path, file_span(touched.path), fmt::format("a contribution may not touch '{}'", touched.path),
             "leave this file as it is, or ask the publisher");
    }
  }

  void check_sizes(std::size_t reached) {
    std::uint64_t bytes = 0;
    for (const TouchedPath& touched : contribution_.touched) {
      bytes += touched.size;
      check_size(Measure::file_bytes, touched.size, fmt::format("'{}' has", touched.path), "bytes",
                 file_span(touched.path));
    }
    check_size(Measure::files, contribution_.touched.size(), "the contribution touches", "files", {});
    check_size(Measure::bytes, bytes, "the contribution has", "bytes", {});
    check_size(Measure::fragments, changed_.size(), "the contribution adds or changes", "fragments", {});
    check_size(Measure::profiles, reached, "the contribution reaches", "profiles", {});
    Span script;
    std::uint64_t lines = script_lines(script);
    check_size(Measure::script_lines, lines, "the contribution writes", "lines of scripts", script);
  }

  void check_size(Measure measure, std::uint64_t number, std::string_view what, std::string_view unit, Span span) {
    const auto& most = policy_.at_most[static_cast<std::size_t>(measure)];
    if (!most || number <= *most) return;
    report(Code::policy_size, span, fmt::format("{} {} {}, and the policy admits {}", what, number, unit, *most),
           "send it in parts");
  }

  // Of texts that were added or changed; `first` is the place of the first.
  std::uint64_t script_lines(Span& first) const {
    std::uint64_t lines = 0;
    auto count = [&](const RawScript& script) {
      if (!first.known()) first = script.span;
      std::string_view text = script.text.text;
      lines += static_cast<std::uint64_t>(std::count(text.begin(), text.end(), '\n'));
      lines += !text.empty() && text.back() != '\n' ? 1 : 0;
    };
    for (FragmentId id : changed_) {
      const BoundFragment* old = before(id);
      std::multiset<std::string_view> known;
      if (old != nullptr) {
        for (const RawLayer& layer : old->raw->layers) {
          for (const RawScript& script : layer.scripts) known.insert(script.text.text);
        }
      }
      for (const RawLayer& layer : proposal_[id].raw->layers) {
        for (const RawScript& script : layer.scripts) {
          auto same = known.find(script.text.text);
          if (same == known.end()) count(script);
          else known.erase(same);
        }
      }
    }
    return lines;
  }

  void check_sign_off() {
    if (!policy_.sign_off || !contribution_.branch) return;
    for (const BranchCommit& commit : contribution_.branch->commits) {
      if (commit.signed_off) continue;
      report(Code::policy_signoff, {},
             fmt::format("commit {} ({}) has no sign-off of its author, {}", commit.id.substr(0, 10), commit.subject,
                         commit.author),
             "certify its origin with `git commit --amend --signoff`, or `git rebase --signoff` for several");
    }
  }

  bool kept(std::string_view key) const {
    return !policy_.may_not_write.empty() && admits_text(policy_.may_not_write, key);
  }

  // Settings, adjustments and limits, locks, and the dictionary's own entries.
  void check_writes() {
    if (policy_.may_not_write.empty()) return;
    for (std::uint32_t i = 0; i < edits_.edits.size(); ++i) {
      const Edit& edit = edits_.edits[i];
      if (std::string key = kept_by(edit); !key.empty()) report_write(i, key);
    }
    // What comes with a new fragment is no edit of a piece.
    for (FragmentId id : changed_) {
      if (before(id) == nullptr) check_new(id);
    }
  }

  // The kept setting that an edit writes; empty where it writes none.
  std::string kept_by(const Edit& edit) const {
    switch (edit.part) {
      case Part::settings:
      case Part::adjust:
      case Part::setting:
      case Part::unit:
      case Part::choices:
      case Part::standard:
      case Part::range:
      case Part::kinds:
      case Part::required:
      case Part::fact:
      case Part::over_limit: return kept(edit.setting) ? edit.setting : std::string();
      case Part::limits: return kept_of_pattern(edit.setting);
      case Part::locked: return kept_of_lists(edit.before + " " + edit.after);
      default: return {};
    }
  }

  std::string kept_of_pattern(std::string_view pattern) const {
    for (const Setting& setting : proposal_.dictionary.settings) {
      if (glob_match(pattern, setting.key) && kept(setting.key)) return std::string(setting.key);
    }
    return {};
  }

  std::string kept_of_lists(const std::string& text) const {
    constexpr std::string_view between = "[], \"";
    for (std::size_t at = 0; at < text.size();) {
      std::size_t begin = text.find_first_not_of(between, at);
      if (begin == std::string::npos) break;
      std::size_t end = std::min(text.find_first_of(between, begin), text.size());
      if (std::string key = kept_of_pattern(text.substr(begin, end - begin)); !key.empty()) return key;
      at = end;
    }
    return {};
  }

  void report_write(std::uint32_t index, const std::string& key) {
    const Edit& edit = edits_.edits[index];
    Span span = file_span(edit.file);
    const auto& place = edits_.places[index][1];
    if (place && place->fragment != no_fragment) {
      const BoundFragment& fragment = proposal_[place->fragment];
      span = fragment.raw->span;
      if (place->layer < fragment.raw->layers.size()) {
        const RawLayer& layer = fragment.raw->layers[place->layer];
        for (const auto* writes : {&layer.settings, &layer.adjust}) {
          for (const RawWrite& write : *writes) {
            if (write.key == edit.setting) span = write.key_span;
          }
        }
        for (const RawLimit& limit : layer.limits) {
          if (edit.part == Part::limits && limit.pattern.text == edit.setting) span = limit.pattern.span;
        }
      }
    }
    report_kept(span, edit.fragment, key).fragment = edit.fragment == "schema" ? std::string() : edit.fragment;
  }

  Diagnostic& report_kept(Span span, std::string_view where, std::string_view key) {
    Diagnostic& item = report(Code::policy_setting, span,
                              fmt::format("{} changes '{}', which a contribution may not write", where, key),
                              "leave it as it is, or ask the publisher");
    item.setting = key;
    return item;
  }

  void check_new(FragmentId id) {
    const BoundFragment& fragment = proposal_[id];
    for (const RawLayer& layer : fragment.raw->layers) {
      for (const auto* writes : {&layer.settings, &layer.adjust}) {
        for (const RawWrite& write : *writes) {
          if (kept(write.key)) report_kept(write.key_span, fragment.id(), write.key).fragment = fragment.id();
        }
      }
      for (const RawLimit& limit : layer.limits) {
        if (std::string key = kept_of_pattern(limit.pattern.text); !key.empty())
          report_kept(limit.pattern.span, fragment.id(), key).fragment = fragment.id();
      }
    }
  }

  void check_headers(FragmentId id) {
    const Fragment& raw = *proposal_[id].raw;
    if (raw.base || !raw.parsed) return;
    std::vector<std::string> missing;
    for (const Text& header : policy_.headers) {
      bool there = header.text == "title"   ? raw.title.has_value()
                   : header.text == "about" ? raw.about.has_value()
                                            : !raw.authors.empty();
      if (!there) missing.push_back(fmt::format("`{}`", header.text));
    }
    if (missing.empty()) return;
    report(Code::policy_header, raw.span,
           fmt::format("{} states no {}", proposal_[id].id(), join_words(missing, "and no")),
           "add what is missing at the top of the file")
        .fragment = proposal_[id].id();
  }

  void check_tier(FragmentId id) {
    if (!policy_.tiers) return;
    const BoundFragment& fragment = proposal_[id];
    const BoundFragment* old = before(id);
    if (!fragment.raw->parsed || (old != nullptr && old->tier == fragment.tier)) return;
    auto may = [&](Tier tier) {
      return std::find(policy_.tiers->begin(), policy_.tiers->end(), tier) != policy_.tiers->end();
    };
    if (may(fragment.tier) && (old == nullptr || may(old->tier))) return;
    bool inherited = fragment.raw->base && !fragment.raw->tier;  // told at its base
    if (inherited) return;
    Span span = fragment.raw->tier_span.known() ? fragment.raw->tier_span : fragment.raw->span;
    report(Code::policy_tier, span,
           old == nullptr ? fmt::format("{} claims the tier {}, which a contribution may not", fragment.id(),
                                        name_of(fragment.tier))
                          : fmt::format("{} moves from the tier {} to {}, which a contribution may not", fragment.id(),
                                        name_of(old->tier), name_of(fragment.tier)),
           "leave the tier to the publisher")
        .fragment = fragment.id();
  }

  void check_evidence(FragmentId id) {
    const BoundFragment& fragment = proposal_[id];
    const BoundFragment* old = before(id);
    bool asked = std::find(policy_.evidence.begin(), policy_.evidence.end(), fragment.status) != policy_.evidence.end();
    bool raised = old == nullptr || old->status < fragment.status || old->status == Status::retired;
    bool inherited = fragment.raw->base && !fragment.raw->status;  // told at its base
    if (!fragment.raw->parsed || !asked || !raised || inherited || has_evidence(fragment)) return;
    if (fragment.abstract && !fragment.raw->has_fittings) return;  // its status is nobody's
    Span span = fragment.raw->status_span.known() ? fragment.raw->status_span : fragment.raw->span;
    report(Code::policy_evidence, span,
           fmt::format("{} is {}, and no trial is of a profile with it", fragment.id(), name_of(fragment.status)),
           fmt::format("add a trial to {}, with `profile:`, or claim a lower status", trial_folder))
        .fragment = fragment.id();
  }

  // A trial of a fitting serves its base.
  bool has_evidence(const BoundFragment& fragment) const {
    for (const Evidence& trial : proposal_.plan.evidence) {
      std::string_view rest = trial.profile;
      for (std::size_t k = 0; k < static_cast<std::size_t>(fragment.kind()); ++k) {
        std::size_t slash = rest.find('/');
        rest = slash == std::string_view::npos ? std::string_view() : rest.substr(slash + 1);
      }
      std::string_view name = rest.substr(0, rest.find('/'));
      if (name == fragment.name() || name.substr(0, name.find('+')) == fragment.name()) return true;
    }
    return false;
  }

  const Tree& base_;
  const Tree& proposal_;
  const Policy& policy_;
  const Contribution& contribution_;
  FragmentMap map_;
  EditTable edits_;
  Diagnostics& out_;
  std::vector<FragmentId> changed_;
};

}  // namespace

void check_policy(const Tree& base, const Tree& proposal, const Contribution& contribution, std::size_t reached,
                  Diagnostics& out) {
  if (base.plan.policy.stated) PolicyCheck(base, proposal, contribution, out).check(reached);
}

}  // namespace bindery
