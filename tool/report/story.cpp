// `why`: the story of one value, from the dictionary up.
#include <algorithm>

#include <fmt/format.h>

#include "base/words.h"
#include "report/profile.h"

namespace bindery {

namespace {

class Story {
 public:
  Story(const Tree& tree, const Profile& profile, KeyId key, Resolver& resolver)
      : tree_(tree),
        sources_(*tree.sources),
        profile_(profile),
        key_(key),
        setting_(tree.dictionary.settings[key]),
        axes_(resolver.axes_of(profile.triple)) {}

  std::string tell() {
    const Cell& cell = profile_.cells[key_];
    std::string source =
        cell.value.has_value() ? fmt::format("  ({})", source_of(tree_, profile_, key_)) : std::string();
    out_ += fmt::format("{} = {}{}\n", setting_.key, written(setting_, cell.value), source);
    out_ += fmt::format("in {}\n", profile_id(tree_, profile_.triple));
    if (!setting_.about.empty()) out_ += fmt::format("{}: {}\n", setting_.title, setting_.about);
    out_ += '\n';
    collect();
    tell_default();
    for (const Entry& entry : entries_) tell_entry(entry);
    if (entries_.empty() && cell.steps == 0) out_ += "no fragment sets it, and the dictionary has no default\n";
    tell_cap(cell);
    return std::move(out_);
  }

 private:
  struct Entry {
    const Op* op;
    bool adjust;
  };

  // Every operation on the key, lowest first, those that others hide included.
  void collect() {
    for (bool adjust : {false, true}) {
      for (const AxisTable* table : axes_) {
        std::vector<Entry> axis;
        for (std::uint32_t link = adjust ? table->adjust[key_] : table->head[key_]; link != 0;
             link = table->links[link].below)
          axis.push_back({table->links[link].op, adjust});
        entries_.insert(entries_.end(), axis.rbegin(), axis.rend());
      }
    }
    const Cell& cell = profile_.cells[key_];
    for (std::uint32_t i = 0; i < cell.steps; ++i) {
      const Step& step = profile_.steps[cell.first_step + i];
      taken_.push_back(&step);
    }
  }

  const Step* step_of(const Op* op) const {
    for (const Step* step : taken_) {
      if (step->op == op) return step;
    }
    return nullptr;
  }

  void tell_default() {
    const Step* step = step_of(nullptr);
    std::string text = setting_.default_text.empty() ? "none" : std::string(setting_.default_text);
    std::string_view verdict = step != nullptr ? "" : entries_.empty() ? "" : "  (hidden)";
    out_ += fmt::format("default{}\n    {}\n    default: {}\n", verdict, place_text(sources_, setting_.span),
                        setting_.formula_default ? fmt::format("{{ calc: {} }}", text) : text);
    if (step == nullptr) return;
    if (setting_.formula_default) tell_inputs(*setting_.formula_default, Value());
    out_ += fmt::format("    -> {}\n", written(setting_, step->after));
  }

  void tell_entry(const Entry& entry) {
    const Op& op = *entry.op;
    const Step* step = step_of(&op);
    out_ += fmt::format("{}{} by {}{}\n", entry.adjust ? "adjust: " : "", name_of(op.kind), tree_[op.fragment].id(),
                        step == nullptr ? "  (hidden)" : "");
    out_ += fmt::format("    {}\n", place_text(sources_, op.key_span));
    out_ += fmt::format("    {}\n", line_at(sources_, op.key_span));
    if (step == nullptr) return;
    if (op.formula != nullptr) tell_inputs(*op.formula, below(step));
    out_ += fmt::format("    -> {}\n", written(setting_, step->after));
  }

  Value below(const Step* step) const {
    auto at = std::find(taken_.begin(), taken_.end(), step);
    return at == taken_.begin() ? Value() : (*(at - 1))->after;
  }

  void tell_inputs(const Formula& formula, const Value& inherited) {
    if (formula.reads_inherited) out_ += fmt::format("      inherited = {}\n", written(setting_, inherited));
    for (KeyId key : formula.keys) tell_input(key);
  }

  void tell_input(KeyId key) {
    const Setting& setting = tree_.dictionary.settings[key];
    out_ += fmt::format("      {} = {}  ({})\n", setting.key, written(setting, profile_.cells[key].value),
                        source_of(tree_, profile_, key));
  }

  void tell_cap(const Cell& cell) {
    if (cell.cap < 0) return;
    const Cap& cap = profile_.caps[static_cast<std::size_t>(cell.cap)];
    std::string side = fmt::format("{} {}", cap.upper ? "at most" : "at least", written(setting_, cap.limit));
    if (cap.bound != nullptr) {
      out_ += fmt::format("capped by {}\n    {}\n    {}\n    {}: {}\n", tree_[cap.bound->fragment].id(),
                          place_text(sources_, cap.bound->span), line_at(sources_, cap.bound->span), cap.bound->pattern,
                          side);
      if (cap.bound->formula != nullptr) tell_inputs(*cap.bound->formula, Value());
    } else {
      out_ += fmt::format("capped by the flow limit: bead area x speed x flow ratio stays within it\n    {}\n    {}\n",
                          place_text(sources_, setting_.extrudes->span), side);
      for (KeyId key : {tree_.dictionary.role(Role::flow_limit), tree_.dictionary.role(Role::flow_ratio),
                        setting_.extrudes->width, setting_.extrudes->height, setting_.extrudes->area}) {
        if (key != no_key) tell_input(key);
      }
    }
    out_ += fmt::format("    {} -> {}\n", written(setting_, cap.uncapped), written(setting_, cap.limit));
  }

  const Tree& tree_;
  const Sources& sources_;
  const Profile& profile_;
  KeyId key_;
  const Setting& setting_;
  Resolver::Axes axes_;
  std::vector<Entry> entries_;
  std::vector<const Step*> taken_;
  std::string out_;
};

}  // namespace

std::string story_text(const Tree& tree, const Profile& profile, KeyId key, Resolver& resolver) {
  return Story(tree, profile, key, resolver).tell();
}

}  // namespace bindery
