#include "cli/prepare.h"

#include <chrono>
#include <future>
#include <memory>

#include "base/failure.h"
#include "base/parallel.h"
#include "check/check.h"
#include "dialect/check.h"
#include "recall/recheck.h"

namespace bindery {

namespace {

class Preparation {
 public:
  Preparation(const Options& options, const ReleaseWish& wish, ReleaseWriter* writer)
      : options_(options),
        wish_(wish),
        writer_(writer),
        root_(find_root(options.folder)),
        way_(options.jobs > 1 ? std::launch::async : std::launch::deferred),
        stock_later_(std::async(way_, open_stock, root_, wish.from_stock)),
        teller_(options, wish, root_) {}

  PreparedRelease run() {
    if (!(wish_.from_stock && teller_.is_first() && prepare_again())) prepare_whole();
    return std::move(out_);
  }

 private:
  // Of a tree that is remembered, with what the last build packed: makes again what the edits since then reach. False
  // where the whole tree is to be read, which says all there is to say.
  bool prepare_again() {
    options_.progress->enter("recalling");
    recall_ = Recall::open(root_, options_.jobs);
    if (!recall_ || recall_->snapshot().published.empty()) return false;
    teller_.ask_git(recall_->edited());
    const Snapshot& now = recall_->snapshot();
    take_stock(now);
    std::vector<std::uint32_t> missing;
    for (std::uint32_t i = 0; i < now.published.size(); ++i) {
      if (!out_.stock->holds(i, false)) missing.push_back(i);
    }
    recall_->add(missing);
    if (!recall_->read() || recall_->tree().plan.sets.empty()) return false;
    options_.progress->enter("checking", recall_->triples());
    packed_.resize(now.published.size());
    ProfilePacker packer(recall_->tree());
    auto pack = [&](std::uint32_t triple, const Selected& selected, const Profile& profile) {
      packed_[triple] = packer.pack(selected, profile);
    };
    if (!recall_->check(pack)) return false;
    constexpr std::size_t block = 512;
    parallel_for((packed_.size() + block - 1) / block, options_.jobs, [&](std::size_t b) {
      for (std::size_t i = b * block; i < std::min((b + 1) * block, packed_.size()); ++i) {
        if (packed_[i].entry.path.empty()) out_.stock->take(i, false, packed_[i]);
      }
    });
    said_.assign(packed_.size(), 0);
    for (const Snapshot::Standing& each : now.standing) {
      for (std::uint32_t triple : each.triples) {
        if (triple < said_.size()) said_[triple] = 1;
      }
    }
    auto answer = recall_->answer();
    if (!answer) return false;
    Session& session = out_.session;
    session.root = root_;
    session.diagnostics = std::move(answer->reports);
    session.sources = std::make_unique<Sources>(std::move(answer->sources));
    out_.fragments = answer->fragments;
    options_.progress->enter("changelog");
    teller_.describe({}, session.diagnostics);
    teller_.tell({}, ids_of_packed(), session.diagnostics);
    if (session.diagnostics.any_errors()) return false;
    bind(recall_->tree());
    return true;
  }

  void prepare_whole() {
    std::int64_t begun = now_in_nanoseconds();
    teller_.ask_git({});
    out_.session = open_session(options_);
    const Tree& tree = out_.session.tree;
    Diagnostics& reports = out_.session.diagnostics;
    options_.progress->enter("selecting");
    selection_ = out_.session.select(options_.jobs);
    out_.fragments = tree.fragments.size();
    bool empty = tree.plan.sets.empty() || selection_.profiles.empty();
    if (empty && !reports.any_errors()) {
      reports.add(Code::nothing_taken, {}, "no set of release/plan.yaml takes a profile")
          .with_help("write a set with `take:` into release/plan.yaml");
    }
    options_.progress->enter("checking", selection_.profiles.size() + selection_.drafts.size());
    packed_.assign(selection_.profiles.size(), {});
    said_.assign(packed_.size(), 0);
    ProfilePacker packer(tree);
    Meetings meetings;
    CheckForm form;
    if (wish_.from_stock) {
      snapshot_ = take_snapshot(tree, selection_, begun, options_.jobs);
      take_stock(snapshot_);
      form.is_known = [&](std::size_t i) { return out_.stock->take(i, true, packed_[i]); };
      form.take_reports = [&](std::size_t i, const Diagnostics& said) {
        meetings.note(i, said);
        if (i < said_.size()) said_[i] = 1;
      };
    }
    form.progress = options_.progress;
    form.take = [&](std::size_t i, const Profile& profile) {
      packed_[i] = packer.pack(selection_.profiles[i], profile);
    };
    teller_.describe(out_.session.commit, reports);
    // The changelog keeps no core busy for long: it is told meanwhile.
    Diagnostics of_story;
    std::future<void> story;
    if (!reports.any_errors()) {
      Side side{&tree, &selection_};
      story = std::async(way_, [this, side, &of_story] { teller_.tell(side, ids_of_selection(), of_story); });
    }
    check_selection(tree, selection_, options_.jobs, reports, form);
    options_.progress->enter("dialects");
    dialects_ = read_dialects(tree, reports);
    check_dialects(tree, dialects_, selection_, {options_.jobs, false, false, false}, reports);
    std::future<void> kept = keep_snapshot(meetings);
    if (!reports.any_errors()) {
      options_.progress->enter("changelog");
      story.get();
      reports.join(std::move(of_story));
    } else if (story.valid() && story.wait_for(std::chrono::seconds(0)) != std::future_status::deferred) {
      story.wait();  // it reads the tree, which the answer takes along
    }
    if (!reports.any_errors()) bind(tree);
    reports.settle();
    if (kept.valid()) kept.get();
  }

  // Looks what of these profiles was packed before.
  void take_stock(const Snapshot& now) {
    if (stock_later_.valid()) out_.stock = stock_later_.get();
    out_.stock->match(now, options_.jobs);
  }

  // What dialects write is not checked in parts.
  std::future<void> keep_snapshot(Meetings& meetings) {
    if (!wish_.from_stock || !dialects_.empty()) return {};
    Diagnostics settled = out_.session.diagnostics;
    settled.settle();
    auto standing = meetings.standing(settled);
    if (!standing) return {};
    snapshot_.standing = std::move(*standing);
    return std::async(way_, [this] { write_snapshot(root_, snapshot_); });
  }

  StoryTeller::Profiles ids_of_packed() const {
    return [this](Tier tier) {
      std::vector<std::string> ids;
      ids.reserve(packed_.size());
      for (const PackedProfile& each : packed_) {
        if (each.tier <= tier) ids.emplace_back(profile_of_path(each.entry.path));
      }
      return ids;
    };
  }

  StoryTeller::Profiles ids_of_selection() const {
    return [this](Tier tier) {
      std::vector<std::string> ids;
      for (const Selected& each : selection_.profiles) {
        if (each.tier <= tier) ids.push_back(profile_id(out_.session.tree, each.triple));
      }
      return ids;
    };
  }

  static std::optional<Stock> open_stock(const std::filesystem::path& root, bool wanted) {
    if (!wanted) return std::nullopt;
    Stock stock(root);
    stock.open();
    return stock;
  }

  void bind(const Tree& tree) {
    options_.progress->enter("binding");
    out_.name = tree.plan.name;
    out_.profiles = packed_.size();
    out_.settings = tree.dictionary.settings.size();
    BindForm form{.jobs = options_.jobs};
    if (writer_ != nullptr) {
      writer_->begin(teller_.edition());
      form.take = [this](Tier tier, const std::string& name, std::string_view bytes) {
        writer_->take(tier, name, bytes);
      };
    }
    if (out_.stock)
      form.find = [this](const std::string& digest, std::string& out) { return out_.stock->append(digest, out); };
    try {
      out_.release = bind_release(tree, dialects_, selection_, packed_, teller_.edition(), teller_.changelogs(), form);
    } catch (const SystemError&) {
      if (out_.stock) out_.stock->require_unchanged();  // it is the cause, where it was
      throw;
    }
    out_.edition = teller_.edition();
    out_.entry = teller_.entry(out_.release);
    if (out_.stock) {
      out_.stock->require_unchanged();
      out_.stock->replace(packed_, said_);
    }
  }

  const Options& options_;
  const ReleaseWish& wish_;
  ReleaseWriter* writer_;
  const std::filesystem::path root_;
  const std::launch way_;  // of what can be done meanwhile
  std::future<std::optional<Stock>> stock_later_;
  PreparedRelease out_;
  std::optional<Recall> recall_;
  Snapshot snapshot_;  // of the whole tree, where its stock is to be kept
  Selection selection_;
  std::vector<PackedProfile> packed_;
  std::vector<char> said_;  // is anything to be said of the profile? A byte each, for several threads
  std::vector<Dialect> dialects_;
  EditionTeller teller_;
};

}  // namespace

PreparedRelease prepare_release(const Options& options, const ReleaseWish& wish, ReleaseWriter* writer) {
  return options.leftovers->keep(std::make_unique<Preparation>(options, wish, writer))->run();
}

}  // namespace bindery
