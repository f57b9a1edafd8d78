#include "edit/propose.h"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"
#include "edit/candidates.h"

namespace bindery {

namespace {

constexpr int most_rounds = 24;

// Does a profile have what is wished?
bool holds(const Profile& profile, const Wish& wish) {
  const Value& value = profile.cells[wish.key].value;
  if (!wish.value) return value.is(Value::Tag::unset);
  auto same = [](const Value& own, const CellValue& wanted) {
    switch (wanted.of) {
      case CellValue::Of::number: return own.is(Value::Tag::number) && same_value(own.number(), wanted.number);
      case CellValue::Of::flag: return own.is(Value::Tag::flag) && own.flag() == wanted.flag;
      case CellValue::Of::word: return own.is(Value::Tag::word) && own.word() == wanted.word;
      case CellValue::Of::list: return false;
    }
    return false;
  };
  if (wish.value->of != CellValue::Of::list) return same(value, *wish.value);
  const auto& items = value.items();
  return value.is(Value::Tag::list) &&
         std::equal(items.begin(), items.end(), wish.value->items.begin(), wish.value->items.end(), same);
}

std::string value_text(const FragmentEdit& edit) {
  switch (edit.op) {
    case OpKind::unset: return "{ unset: true }";
    case OpKind::set: return edit.is_list ? fmt::format("[{}]", fmt::join(edit.items, ", ")) : edit.scalar;
    default: return fmt::format("{{ {}: {} }}", name_of(edit.op), edit.scalar);
  }
}

// A tree with some edits, and the profile that it gives; on the heap, since the resolver points into it.
struct Trial {
  std::unique_ptr<Sources> sources;
  Diagnostics diagnostics, of_profile;
  Tree tree;
  Triple triple;
  Profile profile;
  Resolver::Axes axes{};
  std::unique_ptr<Resolver> resolver;
};

class Proposer {
 public:
  Proposer(const Tree& tree, const Triple& triple, const ProposalForm& form, const Remaining& remaining,
           Diagnostics& out)
      : tree_(tree), triple_(triple), form_(form), remaining_(remaining), out_(out) {}

  std::optional<Proposal> run(std::vector<Wish> wishes) {
    for (Wish& wish : wishes) {
      asked_.insert(wish.key);
      pending_.push_back({std::move(wish), {}, 0, {}});
    }
    auto trial = lay_out({});
    if (!trial) return std::nullopt;
    for (int round = 0; round < most_rounds && !pending_.empty(); ++round) {
      if (!advance(*trial)) return std::nullopt;
      auto next = lay_out(pending_);
      if (!next) return std::nullopt;
      settle_round(*next);
      trial = pending_failed_ ? lay_out({}) : std::move(next);
      if (!trial) return std::nullopt;
      if (pending_.empty() && !form_.follow) wish_again(*trial);
    }
    if (!pending_.empty()) {
      for (const Pending& each : pending_) report_failed(each, *trial);
      return std::nullopt;
    }
    return finish(*trial);
  }

 private:
  struct Pending {
    Wish wish;
    std::vector<Candidate> left;
    std::size_t next = 0;
    std::optional<Candidate> tried;
  };
  struct Accepted {
    Wish wish;
    Candidate candidate;
  };

  // Gives each wish its next candidate, computed on the tree as it stands. False, after a report, where one has none.
  bool advance(const Trial& trial) {
    bool all = true;
    for (Pending& each : pending_) {
      if (holds(trial.profile, each.wish)) {
        each.tried.reset();
        continue;
      }
      auto found = candidates_on(trial, each.wish);
      if (each.next >= found.size()) {
        report_failed(each, trial);
        all = false;
      } else {
        each.tried = std::move(found[each.next]);
      }
    }
    return all;
  }

  std::vector<Candidate> candidates_on(const Trial& trial, const Wish& wish) const {
    std::optional<FragmentId> into;
    if (!form_.fresh.empty()) into = trial.triple.of[static_cast<std::size_t>(Kind::process)];
    else if (form_.into) into = trial.tree.find(tree_[*form_.into].kind(), tree_[*form_.into].name());
    return candidates(trial.tree, trial.profile, wish, into);
  }

  // Keeps what holds now; the rest goes to its next candidate.
  void settle_round(const Trial& trial) {
    pending_failed_ = false;
    std::vector<Pending> open;
    for (Pending& each : pending_) {
      if (holds(trial.profile, each.wish)) {
        if (each.tried) accept({each.wish, *each.tried});
        continue;
      }
      if (each.tried) pending_failed_ = true;
      if (each.tried) {
        ++each.next;
        note_fault(each, trial);
      }
      each.tried.reset();
      open.push_back(std::move(each));
    }
    // What held may hold no more, by an edit that came after it.
    for (auto at = accepted_.begin(); at != accepted_.end();) {
      if (holds(trial.profile, at->wish)) {
        ++at;
      } else {
        open.push_back({at->wish, {}, 0, {}});
        at = accepted_.erase(at);
        pending_failed_ = true;
      }
    }
    pending_ = std::move(open);
  }

  void accept(Accepted fresh) {
    std::erase_if(accepted_, [&](const Accepted& each) { return each.wish.key == fresh.wish.key; });
    accepted_.push_back(std::move(fresh));
  }

  // What the files still have otherwise, now that formulas have followed.
  void wish_again(const Trial& trial) {
    for (Wish& wish : remaining_(trial.tree, trial.profile, trial.axes)) {
      bool known =
          std::any_of(pending_.begin(), pending_.end(), [&](const Pending& each) { return each.wish.key == wish.key; });
      if (!known && !holds(trial.profile, wish)) pending_.push_back({std::move(wish), {}, 0, {}});
    }
  }

  // Why a candidate did not reach: a report that it brought, or what caps the value.
  void note_fault(const Pending& each, const Trial& trial) {
    auto& fault = faults_[each.wish.key];
    if (!fault.empty()) return;
    for (const Diagnostics* reports : {&trial.diagnostics, &trial.of_profile}) {
      for (const Diagnostic& item : reports->items()) {
        bool of_it = item.setting.empty() || item.setting == tree_.dictionary.settings[each.wish.key].key;
        if (item.severity != Severity::error || !of_it) continue;
        fault = item.message;
        return;
      }
    }
    std::int32_t cap = trial.profile.cells[each.wish.key].cap;
    if (cap < 0) return;
    const Cap& held = trial.profile.caps[static_cast<std::size_t>(cap)];
    const Setting& setting = tree_.dictionary.settings[each.wish.key];
    fault = held.bound == nullptr
                ? fmt::format("the flow limit holds it {} {}", held.upper ? "to at most" : "to at least",
                              written(setting, held.limit))
                : fmt::format("a limit of {} holds it {} {}", trial.tree[held.bound->fragment].id(),
                              held.upper ? "to at most" : "to at least", written(setting, held.limit));
  }

  void report_failed(const Pending& each, const Trial& trial) {
    const Setting& setting = tree_.dictionary.settings[each.wish.key];
    auto fault = faults_.find(each.wish.key);
    std::string why = fault != faults_.end() && !fault->second.empty() ? fault->second
                      : form_.into || !form_.fresh.empty() ? "nothing that may stand in that fragment reaches it"
                                                           : "no fragment of the profile may write it so that it holds";
    bool held = !asked_.contains(each.wish.key);
    std::string wanted = !each.wish.value                               ? "unset"
                         : each.wish.value->of == CellValue::Of::number ? written(setting, each.wish.value->number)
                         : each.wish.value->of == CellValue::Of::flag   ? (each.wish.value->flag ? "true" : "false")
                         : each.wish.value->of == CellValue::Of::word   ? each.wish.value->word
                                                                        : "that list";
    std::string now = written(setting, trial.profile.cells[each.wish.key].value);
    if (held) {
      out_.add(Code::import_conflict, each.wish.span,
               fmt::format("'{}' follows the other values to {}, and no edit holds it at {}: {}", setting.key, now,
                           wanted, why))
          .with_help("let it follow with --follow, or give the file the value that follows")
          .setting = setting.key;
      return;
    }
    out_.add(Code::import_conflict, each.wish.span, fmt::format("'{}' cannot become {}: {}", setting.key, wanted, why))
        .with_help(fmt::format("it is {} now; see `why {} {}`", now, profile_id(tree_, triple_), setting.key))
        .setting = setting.key;
  }

  // The tree with what was accepted and what is tried.
  std::unique_ptr<Trial> lay_out(const std::vector<Pending>& tried) {
    auto laid = std::make_unique<Trial>();
    Trial& trial = *laid;
    trial.sources = std::make_unique<Sources>(*tree_.sources);
    if (!form_.fresh.empty()) lay_fresh(*trial.sources);
    std::vector<const Candidate*> edits;
    for (const Accepted& each : accepted_) edits.push_back(&each.candidate);
    for (const Pending& each : tried) {
      if (each.tried) edits.push_back(&*each.tried);
    }
    for (const Candidate* each : edits) {
      FileId id = file_of(each->edit, *each);
      SourceFile& file = trial.sources->files[id];
      auto text = apply_edit(id, file, each->edit, out_);
      if (!text) return nullptr;
      file.text = std::move(*text);
    }
    trial.tree = load_tree(*trial.sources, form_.jobs, trial.diagnostics);
    for (std::size_t k = 0; k < kind_count; ++k) {
      std::string_view name = tree_[triple_.of[k]].name();
      if (!form_.fresh.empty() && static_cast<Kind>(k) == Kind::process) name = form_.fresh;
      trial.triple.of[k] = trial.tree.find(static_cast<Kind>(k), name);
    }
    bool linked = std::all_of(trial.triple.of.begin(), trial.triple.of.end(),
                              [&](FragmentId id) { return id != no_fragment && trial.tree[id].linked(); });
    if (!linked) {
      out_.add(Code::import_conflict, {}, "the edited tree does not give the profile any more")
          .with_help("this is a fault of the program; edit the fragment by hand");
      return nullptr;
    }
    trial.resolver = std::make_unique<Resolver>(trial.tree);
    trial.profile = trial.resolver->resolve(trial.triple, trial.of_profile, &trial.axes);
    return laid;
  }

  FileId file_of(const FragmentEdit& edit, const Candidate& candidate) const {
    if (!form_.fresh.empty() && edit.fragment == form_.fresh) return fresh_file();
    return tree_[candidate.fragment].raw->file;
  }

  FileId fresh_file() const {
    std::string path = fmt::format("profiles-src/process/{}.yaml", form_.fresh);
    const auto& files = tree_.sources->files;
    auto at = std::find_if(files.begin(), files.end(), [&](const SourceFile& file) { return file.path == path; });
    return static_cast<FileId>(at - files.begin());
  }

  // A process that extends the profile's own, for the same audience.
  void lay_fresh(Sources& sources) const {
    const BoundFragment& own = tree_[triple_.of[static_cast<std::size_t>(Kind::process)]];
    SourceFile& file = sources.files[fresh_file()];
    file.present = true;
    file.text =
        fmt::format("title: {}\nabout: \"{}, as it was tuned.\"\nextends: {}\n", form_.fresh, own.name(), own.name());
    if (own.chain_tier != tree_.plan.publisher.default_tier)
      file.text += fmt::format("tier: {}\n", name_of(own.chain_tier));
  }

  Proposal finish(Trial& trial) {
    Proposal out;
    Resolver resolver(tree_);
    Diagnostics silent;
    Profile before = resolver.resolve(triple_, silent);
    std::stable_sort(accepted_.begin(), accepted_.end(),
                     [](const Accepted& a, const Accepted& b) { return a.wish.key < b.wish.key; });
    for (const Accepted& each : accepted_) {
      const Setting& setting = tree_.dictionary.settings[each.wish.key];
      Proposed line;
      line.key = each.wish.key;
      line.span = each.wish.span;

      bool fresh = !form_.fresh.empty();
      line.fragment = fresh ? no_fragment : each.candidate.fragment;
      line.where = fresh ? fmt::format("process/{}", form_.fresh) : tree_[each.candidate.fragment].id();
      line.line = fmt::format("{}{}: {}", each.candidate.edit.adjust ? "adjust " : "", each.candidate.edit.key,
                              value_text(each.candidate.edit));
      line.before = written(setting, before.cells[each.wish.key].value);
      line.after = written(setting, trial.profile.cells[each.wish.key].value);
      line.held = !asked_.contains(each.wish.key);
      line.note = each.candidate.note;
      out.lines.push_back(std::move(line));
    }
    trial.resolver.reset();
    out.sources = std::move(trial.sources);
    out.diagnostics = std::move(trial.diagnostics);
    out.tree = std::move(trial.tree);
    out.triple = trial.triple;
    return out;
  }

  const Tree& tree_;
  const Triple triple_;
  const ProposalForm& form_;
  const Remaining& remaining_;
  Diagnostics& out_;
  std::vector<Pending> pending_;
  std::vector<Accepted> accepted_;
  std::set<KeyId> asked_;
  std::map<KeyId, std::string> faults_;
  bool pending_failed_ = false;
};

}  // namespace

std::optional<Proposal> propose(const Tree& tree, const Triple& triple, std::vector<Wish> wishes,
                                const ProposalForm& form, const Remaining& remaining, Diagnostics& out) {
  return Proposer(tree, triple, form, remaining, out).run(std::move(wishes));
}

}  // namespace bindery
