#include "judge/judge.h"

#include <algorithm>
#include <atomic>
#include <map>
#include <set>

#include <fmt/format.h>

#include "base/parallel.h"
#include "base/words.h"
#include "check/check.h"
#include "dialect/check.h"
#include "judge/audience.h"
#include "judge/policy.h"
#include "judge/reached.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

constexpr std::size_t most_profiles = 20'000;
// Operations of formulas and the like (Profile::work), over all profiles. One of a small tree takes some thousand.
constexpr std::uint64_t most_work = 200'000'000;
constexpr std::size_t most_apart = 1'000'000;
constexpr std::array<std::string_view, ask_count> ask_names = {"nozzle_temperature", "bed_temperature",
                                                               "chamber_temperature", "flow"};
constexpr std::array<Role, heater_count> heater_roles = {Role::nozzle_temperature, Role::bed_temperature,
                                                         Role::chamber_temperature};

using Asked = std::array<std::optional<double>, ask_count>;

// What a profile asks for: of the heaters by settings and scripts, of the melt by its speeds.
Asked asked_by(const Dictionary& dictionary, const Profile& profile, const Hottest& hottest) {
  Asked out;
  auto number = [&](KeyId key) -> std::optional<double> {
    if (key == no_key || !profile.cells[key].value.is(Value::Tag::number)) return std::nullopt;
    const Unit* unit = dictionary.settings[key].unit;
    double value = profile.cells[key].value.number();
    return unit == nullptr ? value : unit->to_base(value);
  };
  for (std::size_t i = 0; i < heater_count; ++i) {
    out[i] = number(dictionary.role(heater_roles[i]));
    if (hottest[i]) out[i] = std::max(out[i].value_or(0), *hottest[i]);
  }
  double ratio = number(dictionary.role(Role::flow_ratio)).value_or(1);
  auto& flow = out[static_cast<std::size_t>(Ask::flow)];
  for (KeyId key = 0; key < dictionary.settings.size(); ++key) {
    const auto& extrusion = dictionary.settings[key].extrudes;
    auto speed = extrusion ? number(key) : std::nullopt;
    if (!speed) continue;
    std::optional<double> area = extrusion->area == no_key ? std::nullopt : number(extrusion->area);
    auto width = number(extrusion->width), height = number(extrusion->height);
    if (extrusion->area == no_key && width && height) area = bead_area(*width, *height);
    if (area) flow = std::max(flow.value_or(0), *area * *speed * ratio);
  }
  return out;
}

// By what two trees' reports are the same: the cause, and the words on it, wherever the lines have moved to.
using Cause = std::tuple<Code, std::string, std::string, std::string_view, std::string_view, std::string>;

// The line of a place; of a long one the part around the place, so that thousands of reports on one line stay cheap.
std::string_view line_around(std::string_view text, std::size_t at) {
  constexpr std::size_t most = 1000;  // bytes to each side
  at = std::min(at, text.size());
  if (at < text.size() && text[at] == '\n') return {};
  std::size_t first = at > most ? at - most : 0;
  std::string_view before = text.substr(first, at - first), after = text.substr(at, most);
  if (std::size_t end = before.rfind('\n'); end != std::string_view::npos) first += end + 1;
  return text.substr(first, at - first + std::min(after.find('\n'), after.size()));
}

std::string without_line(const std::string& message) {
  // "line 7 of the start script" is another line where one was added above it.
  std::string out;
  for (std::size_t at = 0; at < message.size();) {
    if (message.compare(at, 5, "line ") != 0) {
      out += message[at++];
      continue;
    }
    at += 5;
    out += "line ";
    while (at < message.size() && message[at] >= '0' && message[at] <= '9') ++at;
  }
  return out;
}

class Judgement {
 public:
  Judgement(JudgedSide base, JudgedSide proposal, const Contribution& contribution, Tier audience, unsigned jobs)
      : base_(std::move(base)),
        proposal_(std::move(proposal)),
        contribution_(contribution),
        audience_(audience),
        jobs_(jobs) {}

  Verdict run() {
    auto reached = reached_profiles(base_.side, proposal_.side);
    verdict_.reached = static_cast<std::size_t>(std::count_if(
        reached.begin(), reached.end(), [](const ReachedProfile& each) { return each.after.has_value(); }));
    for (const ReachedProfile& each : reached) {
      if (each.tier <= audience_) ++verdict_.tiers[static_cast<std::size_t>(each.tier)];
    }
    // Where the contribution makes it too much to find out what fits, its own report stands, and it is not known what
    // there is to judge. Where that stood before, what was found is judged.
    heavy_ = too_heavy(proposal_.diagnostics) && !too_heavy(base_.diagnostics);
    if (!heavy_ && reached.size() > most_profiles) {
      report_heavy(fmt::format("the contribution reaches {} profiles, and at most {} are judged", reached.size(),
                               most_profiles));
    } else if (std::size_t apart = settings_apart(); !heavy_ && apart * reached.size() > most_apart) {
      report_heavy(fmt::format(
          "the contribution adds or takes away {} of {}, and at most {} values of profiles may come or go that way",
          counted(apart, "setting"), counted(reached.size(), "profile"), most_apart));
    } else if (!heavy_) {
      check(reached);
    }
    if (!heavy_ && !proposal_.diagnostics.any_errors()) press();
    bool emptied = proposal_.side.selection->profiles.empty() && !base_.side.selection->profiles.empty();
    if (emptied && !proposal_.diagnostics.any_errors())
      proposal_.diagnostics.add(Code::nothing_taken, {}, "no set takes a profile any more")
          .with_help("leave something to be published");
    check_policy(tree(1), tree(0), contribution_, verdict_.reached, proposal_.diagnostics);
    split();
    bool readable = !tree(0).dictionary.broken && !tree(1).dictionary.broken && !heavy_;
    if (readable) {
      View view{audience_, false, true};
      Diagnostics of_base, of_proposal;
      verdict_.changes = find_changes(base_.side, proposal_.side, view, jobs_, of_base, of_proposal);
    }
    return std::move(verdict_);
  }

 private:
  const Tree& tree(std::size_t old) const { return old == 1 ? *base_.side.tree : *proposal_.side.tree; }

  static bool too_heavy(const Diagnostics& reports) {
    return std::any_of(reports.items().begin(), reports.items().end(),
                       [](const Diagnostic& item) { return item.code == Code::too_heavy; });
  }

  // How many settings one dictionary has and the other not: each is a value that comes or goes in every profile.
  std::size_t settings_apart() const {
    std::size_t both = 0;
    for (const Setting& setting : tree(0).dictionary.settings) both += tree(1).dictionary.find(setting.key) != no_key;
    return tree(0).dictionary.settings.size() + tree(1).dictionary.settings.size() - 2 * both;
  }

  void report_heavy(std::string message) {
    heavy_ = true;
    proposal_.diagnostics.add(Code::too_heavy, {}, std::move(message))
        .with_help("send it in parts; the publisher can judge the whole with `validate` and `changelog`");
  }

  // Both sides of what is reached, on all cores.
  void check(const std::vector<ReachedProfile>& reached) {
    if (tree(0).dictionary.broken || tree(1).dictionary.broken) return;
    constexpr std::size_t block = 32;
    std::size_t blocks = (reached.size() + block - 1) / block;
    struct Task {
      std::array<Diagnostics, 2> reports;  // of the proposal, of the base
      std::array<Highest, ask_count> highest;
    };
    constexpr std::size_t wave = 16;  // blocks: what they report is folded before the next are looked at
    Diagnostics of_proposal, of_base;
    std::atomic<std::uint64_t> work{0};
    for (std::size_t first = 0; first < blocks; first += wave) {
      std::vector<Task> tasks(std::min(wave, blocks - first));
      parallel_for(tasks.size(), jobs_, [&](std::size_t slot) {
        std::size_t b = first + slot;
        Resolver now(tree(0)), old(tree(1));
        Task& task = tasks[slot];
        for (std::size_t i = b * block; i < std::min((b + 1) * block, reached.size()) && work < most_work; ++i) {
          const ReachedProfile& each = reached[i];
          bool told = each.tier <= audience_;
          if (each.after) work += look(now, 0, *each.after, told, task.reports[0], task.highest);
          if (each.before) work += look(old, 1, *each.before, told, task.reports[1], task.highest);
        }
        for (Diagnostics& report : task.reports) report.settle();
      });
      if (work >= most_work) break;  // how far each came is chance, so nothing of this wave is told
      for (Task& task : tasks) {
        of_proposal.fold(std::move(task.reports[0]));
        of_base.fold(std::move(task.reports[1]));
        for (std::size_t i = 0; i < ask_count; ++i) {
          keep_higher(verdict_.highest[i].before, task.highest[i].before);
          keep_higher(verdict_.highest[i].after, task.highest[i].after);
        }
      }
    }
    of_proposal.settle();
    of_proposal.shorten(0, most::reports_in_all);
    proposal_.diagnostics.join(std::move(of_proposal));
    base_.diagnostics.join(std::move(of_base));
    if (work >= most_work) report_heavy("the contribution asks for more computation than is done for one");
  }

  // What goes lossy, or collides, in the files for other programs. A file may be shared by profiles that the
  // contribution does not reach, so all are pressed.
  void press() {
    for (JudgedSide* side : {&base_, &proposal_}) {
      const Tree& own = *side->side.tree;
      std::vector<Dialect> dialects = read_dialects(own, side->diagnostics);
      check_dialects(own, dialects, *side->side.selection, {jobs_, false, true, audience_ == Tier::free},
                     side->diagnostics);
    }
  }

  static void keep_higher(std::optional<Highest::Side>& kept, const std::optional<Highest::Side>& other) {
    if (other && (!kept || other->value > kept->value)) kept = other;
  }

  std::uint64_t look(Resolver& resolver, std::size_t old, const Triple& triple, bool told, Diagnostics& out,
                     std::array<Highest, ask_count>& highest) const {
    Diagnostics own(most::reports);
    Resolver::Axes axes;
    Profile profile = resolver.resolve(triple, own, &axes);
    Hottest hottest = check_profile(tree(old), profile, axes, own, &profile.work);
    own.shorten(0, most::reports);
    if (!told) mark_tier(own, 0, Tier::supporter);
    out.join(std::move(own));
    if (!told) return profile.work;
    Asked asked = asked_by(tree(old).dictionary, profile, hottest);
    for (std::size_t i = 0; i < ask_count; ++i) {
      if (!asked[i]) continue;
      auto& side = old == 1 ? highest[i].before : highest[i].after;
      if (!side || *asked[i] > side->value) side = Highest::Side{*asked[i], profile_id(tree(old), triple)};
    }
    return profile.work;
  }

  // --- what it brings, and what was there ---
  void split() {
    proposal_.diagnostics.settle();
    base_.diagnostics.settle();
    std::map<Cause, std::size_t> known;
    for (const Diagnostic& item : base_.diagnostics.items()) ++known[cause_of(item, *tree(1).sources)];
    Audience audience(audience_, {base_.side, proposal_.side});
    std::vector<std::pair<Cause, bool>> causes;  // of each report, and whether it stood there
    for (const Diagnostic& item : proposal_.diagnostics.items()) {
      Cause cause = cause_of(item, *tree(0).sources);
      auto at = known.find(cause);
      bool stood = at != known.end() && at->second > 0;
      if (stood) --at->second;
      causes.emplace_back(std::move(cause), stood);
    }
    find_elsewhere(causes);
    std::size_t index = 0;
    for (Diagnostic& item : proposal_.diagnostics.items()) {
      bool stood = causes[index++].second;
      // What the publisher is warned of, a stranger may not bring.
      if (!stood && item.code == Code::script_refused) item.severity = Severity::error;
      if (audience.may_be_told(item)) (stood ? verdict_.standing : verdict_.brought).add(std::move(item));
      else if (!stood) ++verdict_.withheld[static_cast<std::size_t>(item.severity)];
    }
  }

  // A cause in a file that the contribution leaves alone may stand in profiles that it does not reach, and meet new
  // ones through it: the base's other profiles are asked, until all such causes are found.
  void find_elsewhere(std::vector<std::pair<Cause, bool>>& causes) const {
    std::set<Cause> open;
    for (std::size_t i = 0; i < causes.size(); ++i) {
      const Diagnostic& item = proposal_.diagnostics.items()[i];
      bool untouched = item.span.known() && item.profiles > 0 &&
                       (*tree(0).sources)[item.span.file].text == (*tree(1).sources)[item.span.file].text;
      if (!causes[i].second && untouched) open.insert(causes[i].first);
    }
    if (open.empty() || tree(1).dictionary.broken || heavy_) return;
    std::set<Cause> found;
    constexpr std::size_t block = 32;
    const auto& profiles = base_.side.selection->profiles;
    std::size_t most = std::min(profiles.size(), most_profiles);
    for (std::size_t at = 0; at < most && found.size() < open.size(); at += block * 16) {
      std::size_t tasks = std::min<std::size_t>(16, (most - at + block - 1) / block);
      std::vector<Diagnostics> reports(tasks);
      parallel_for(tasks, jobs_, [&](std::size_t t) {
        Resolver resolver(tree(1));
        std::array<Highest, ask_count> unused;
        for (std::size_t i = at + t * block; i < std::min(at + (t + 1) * block, most); ++i)
          look(resolver, 1, profiles[i].triple, profiles[i].tier <= audience_, reports[t], unused);
      });
      for (const Diagnostics& report : reports) {
        for (const Diagnostic& item : report.items()) {
          Cause cause = cause_of(item, *tree(1).sources);
          if (open.contains(cause)) found.insert(std::move(cause));
        }
      }
    }
    for (auto& [cause, stood] : causes) stood |= found.contains(cause);
  }

  static Cause cause_of(const Diagnostic& item, const Sources& sources) {
    std::string_view path, line;
    if (item.span.known()) {
      const SourceFile& file = sources[item.span.file];
      path = file.path;
      bool whole = item.span.begin == 0 && item.span.end == 0;
      if (!whole) line = line_around(file.text, item.span.begin);
    }
    return {item.code, item.rule, item.setting, path, line, without_line(item.message)};
  }

  JudgedSide base_, proposal_;
  const Contribution& contribution_;
  Tier audience_;
  unsigned jobs_;
  Verdict verdict_;
  bool heavy_ = false;
};

}  // namespace

std::string_view name_of(Ask ask) { return ask_names[static_cast<std::size_t>(ask)]; }

Verdict judge(JudgedSide base, JudgedSide proposal, const Contribution& contribution, Tier audience, unsigned jobs) {
  return Judgement(std::move(base), std::move(proposal), contribution, audience, jobs).run();
}

}  // namespace bindery
