// `validate --since` and `validate --overlay`: a contribution against the tree it is meant for.
#include <set>

#include <fmt/format.h>
#include <sys/stat.h>

#include "base/words.h"
#include "cli/session.h"
#include "judge/audience.h"
#include "judge/judge.h"
#include "release/version.h"
#include "report/diagnostics.h"
#include "report/impact.h"
#include "report/sarif.h"
#include "source/overlay.h"

namespace bindery {

namespace {

// A tree read and selected; the sources stand on the heap, since the tree points into them.
struct ReadSide {
  Sources sources;
  Diagnostics diagnostics;
  Tree tree;
  Selection selection;

  void link(unsigned jobs, const Tree* like) {
    tree = load_tree(sources, jobs, diagnostics, {.like = like});
    selection = select_profiles(tree, diagnostics, most_triples, jobs);
  }
  Side side() const { return {&tree, &selection}; }
};

class Judging {
 public:
  explicit Judging(const Options& options)
      : options_(options),
        root_(find_root(options.folder)),
        audience_(options.tier == "free" ? Tier::free : Tier::supporter) {}

  Exit run() {
    Verdict verdict = judged();
    tell(verdict);
    bool failed = verdict.brought.any_errors() || verdict.withheld[0] > 0;
    bool warned = verdict.brought.count(Severity::warning) > 0 || verdict.withheld[1] > 0;
    return failed || (options_.strict && warned) ? Exit::sources : Exit::done;
  }

 private:
  // What is unsafe or too large to be read is refused for that alone.
  Verdict judged() {
    Diagnostics faults;
    read(faults);
    if (faults.any_errors()) {
      Verdict refused;
      faults.settle();
      refused.brought = std::move(faults);
      return refused;
    }
    base_.link(options_.jobs, nullptr);
    proposal_.link(options_.jobs, &base_.tree);
    return judge({base_.side(), std::move(base_.diagnostics)}, {proposal_.side(), std::move(proposal_.diagnostics)},
                 contribution_, audience_, options_.jobs);
  }

  // The base is where the branch left, or the tree as it stands; the proposal is the tree, with what is laid over it.
  void read(Diagnostics& faults) {
    if (options_.since) {
      contribution_.branch = read_branch(root_, *options_.since);
      Revision revision = find_revision(root_, contribution_.branch->base.id);
      base_.sources = read_revision(root_, revision, base_.diagnostics, nullptr, options_.jobs);
      touched_.insert(contribution_.branch->touched.begin(), contribution_.branch->touched.end());
    }
    Diagnostics of_folder;
    Sources folder = read_folder(root_, options_.jobs, of_folder);
    if (options_.overlay) {
      overlay_ = read_overlay(*options_.overlay, faults);
      check_places(overlay_, root_, faults);
      if (faults.any_errors()) return;
      proposal_.sources = lay_over(folder, of_folder, overlay_, proposal_.diagnostics);
      for (std::string& path : touched_by(overlay_, root_)) touched_.insert(std::move(path));
    }
    if (!options_.since) {
      base_.sources = std::move(folder);
      base_.diagnostics = std::move(of_folder);
    } else if (!options_.overlay) {
      proposal_.sources = std::move(folder);
      proposal_.diagnostics = std::move(of_folder);
    }
    std::vector<std::string> paths(touched_.begin(), touched_.end());
    align(base_.sources, base_.diagnostics, proposal_.sources, proposal_.diagnostics, paths);
    note_touched();
    paths.assign(touched_.begin(), touched_.end());
    check_paths(paths, proposal_.sources, proposal_.diagnostics);
    check_size(faults);
  }

  // What is read counts, though git may ignore it.
  void note_touched() {
    for (FileId id = 0; id < proposal_.sources.files.size(); ++id) {
      const SourceFile &old = base_.sources[id], &now = proposal_.sources[id];
      if (old.present != now.present || old.text != now.text) touched_.insert(now.path);
    }
    for (const std::string& path : touched_) contribution_.touched.push_back({path, size_of(path)});
  }

  // A branch may not hold more than an overlay.
  void check_size(Diagnostics& faults) const {
    std::uint64_t bytes = 0;
    for (const TouchedPath& touched : contribution_.touched) bytes += touched.size;
    if (contribution_.touched.size() <= most_overlay_files && bytes <= most_overlay_bytes) return;
    faults
        .add(Code::too_heavy, {},
             fmt::format("the contribution touches {} files of {} KiB, and at most {} files of {} MiB are judged",
                         contribution_.touched.size(), bytes / 1024, most_overlay_files, most_overlay_bytes >> 20))
        .with_help("send it in parts; the publisher can judge the whole with `validate` and `changelog`");
  }

  std::uint64_t size_of(const std::string& path) const {
    for (const OverlayFile& file : overlay_.files) {
      if (file.path == path) return file.bytes.size();
    }
    struct stat info {};
    bool there = lstat((root_ / path).c_str(), &info) == 0 && S_ISREG(info.st_mode);
    return there ? std::min<std::uint64_t>(static_cast<std::uint64_t>(info.st_size), largest_text + 1) : 0;
  }

  std::string base_words() const {
    if (contribution_.branch) return fmt::format("commit {}", contribution_.branch->base.id.substr(0, 10));
    return "the tree as it stands";
  }

  // The files that the audience may know of.
  std::vector<std::string> files() const {
    if (proposal_.tree.sources == nullptr) return {};
    Audience audience(audience_, {base_.side(), proposal_.side()});
    std::set<std::string> hidden;
    for (FileId id = 0; id < proposal_.sources.files.size(); ++id) {
      if (audience.is_hidden(id)) hidden.insert(proposal_.sources[id].path);
    }
    std::vector<std::string> out;
    for (const std::string& path : touched_) {
      if (!hidden.contains(path)) out.push_back(path);
    }
    return out;
  }

  void tell(const Verdict& verdict) const {
    if (options_.format == "json") return tell_json(verdict);
    if (options_.format == "sarif") {
      fmt::print("{}", sarif_report(verdict.brought, proposal_.sources, tool_version()));
      return;
    }
    if (options_.format == "markdown") {
      ImpactView view{base_words(), files(), options_.strict};
      fmt::print("{}", impact_markdown(verdict, proposal_.sources, view));
      return;
    }
    print_diagnostics(verdict.brought, proposal_.sources, options_);
    fmt::print("{}, {} resolved: {}\n", counted(touched_.size(), "file"), counted(verdict.reached, "profile"),
               verdict_words(verdict));
  }

  void tell_json(const Verdict& verdict) const {
    JsonWriter json;
    auto whole = [](std::size_t number) { return static_cast<long long>(number); };
    json.open_object().key("diagnostics");
    diagnostics_json(verdict.brought, proposal_.sources, json);
    json.key("standing");
    diagnostics_json(verdict.standing, proposal_.sources, json);
    json.key("withheld").whole(whole(verdict.withheld[0] + verdict.withheld[1] + verdict.withheld[2]));
    json.key("fragments").whole(whole(proposal_.tree.fragments.size()));
    json.key("profiles").whole(whole(proposal_.selection.profiles.size()));
    json.field("base", contribution_.branch ? contribution_.branch->base.id : std::string());
    json.key("files").open_list();
    for (const std::string& path : files()) json.text(path);
    json.close().key("reached").whole(whole(verdict.reached)).key("impact");
    impact_json(verdict, json);
    json.close();
    fmt::print("{}", json.finish());
  }

  const Options& options_;
  std::filesystem::path root_;
  Tier audience_;
  ReadSide base_, proposal_;
  Overlay overlay_;
  Contribution contribution_;
  std::set<std::string> touched_;
};

}  // namespace

Exit judge_contribution(const Options& options) { return Judging(options).run(); }

}  // namespace bindery
