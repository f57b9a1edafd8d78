#include "cli/prepare.h"

#include <chrono>
#include <cstdlib>
#include <future>
#include <memory>

#include <fmt/format.h>

#include "base/date.h"
#include "base/digest.h"
#include "base/failure.h"
#include "base/parallel.h"
#include "check/check.h"
#include "dialect/check.h"
#include "recall/recheck.h"
#include "release/story.h"
#include "release/version.h"

namespace bindery {

namespace {

constexpr std::int64_t no_time = 315532800;  // 1980-01-01, the first day that ZIP can tell

class Preparation {
 public:
  Preparation(const Options& options, const ReleaseWish& wish, ReleaseWriter* writer)
      : options_(options),
        wish_(wish),
        writer_(writer),
        root_(find_root(options.folder)),
        way_(options.jobs > 1 ? std::launch::async : std::launch::deferred),
        stock_later_(std::async(way_, open_stock, root_, wish.from_stock)),
        chronicle_(root_, options.jobs, options.cache) {}

  PreparedRelease run() {
    if (is_first() && prepare_again()) return std::move(out_);
    of_story_ = {};
    prepare_whole();
    return std::move(out_);
  }

 private:
  // Before a first release the profiles' names are all that is told of what changed.
  bool is_first() const {
    return wish_.from_stock && !wish_.since && !options_.at && chronicle_.releases().empty() && !chronicle_.shallow();
  }

  // Of a tree that is remembered, with what the last build packed: makes again what the edits since then reach. False
  // where the whole tree is to be read, which says all there is to say.
  bool prepare_again() {
    options_.progress->enter("recalling");
    recall_ = Recall::open(root_, options_.jobs);
    if (!recall_ || recall_->snapshot().published.empty()) return false;
    ask_git(recall_->edited());
    const Snapshot& now = recall_->snapshot();
    take_stock(now);
    std::vector<std::uint32_t> missing;
    for (std::uint32_t i = 0; i < now.published.size(); ++i) {
      if (!out_.stock->holds(i, false)) missing.push_back(i);
    }
    recall_->add(missing);
    if (!recall_->read()) return false;
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
    git_ = git_later_.get();
    Session& session = out_.session;
    session.root = root_;
    session.diagnostics = std::move(answer->reports);
    session.sources = std::make_unique<Sources>(std::move(answer->sources));
    out_.fragments = answer->fragments;
    refuse_changes();
    describe();
    options_.progress->enter("changelog");
    tell({to_, std::nullopt, [&](Tier tier) {
            std::vector<std::string> ids;
            for (const PackedProfile& each : packed_) {
              if (each.tier <= tier) ids.emplace_back(profile_of_path(each.entry.path));
            }
            return ids;
          }});
    session.diagnostics.join(std::move(of_story_));
    if (session.diagnostics.any_errors()) return false;
    bind(recall_->tree());
    return true;
  }

  void prepare_whole() {
    std::int64_t begun = now_in_nanoseconds();
    if (!git_asked_) ask_git({});
    out_.session = open_session(options_);
    if (git_later_.valid()) git_ = git_later_.get();
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
    refuse_changes();
    describe();
    // The changelog keeps no core busy for long: it is told meanwhile.
    std::future<void> story;
    if (!reports.any_errors()) {
      story = std::async(way_, [this] { tell({to_, Side{&out_.session.tree, &selection_}, names_of_selection()}); });
    }
    check_selection(tree, selection_, options_.jobs, reports, form);
    options_.progress->enter("dialects");
    dialects_ = read_dialects(tree, reports);
    check_dialects(tree, dialects_, selection_, {options_.jobs, false, false, false}, reports);
    std::future<void> kept = keep_snapshot(meetings);
    if (!reports.any_errors()) {
      options_.progress->enter("changelog");
      story.get();
      reports.join(std::move(of_story_));
    } else if (story.valid() && story.wait_for(std::chrono::seconds(0)) != std::future_status::deferred) {
      story.wait();  // it reads the tree, which the answer takes along
    }
    if (!reports.any_errors()) bind(tree);
    reports.settle();
    if (kept.valid()) kept.get();
  }

  // Meanwhile. What was edited since the last build is looked at first: it is changed, for the most part.
  void ask_git(std::vector<std::string> edited) {
    git_asked_ = true;
    git_later_ = std::async(way_, [this, edited = std::move(edited)] { return git_state(root_, edited); });
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

  std::function<std::vector<std::string>(Tier)> names_of_selection() const {
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

  bool has_changes() const { return git_ && !options_.at && git_->changed; }

  void refuse_changes() {
    if (!wish_.version) return;
    if (has_changes()) {
      out_.session.diagnostics
          .add(Code::tree_changed, {},
               fmt::format("the tree has changes that no commit holds, so it is not version {}", wish_.version->text()))
          .with_help("commit them first, or leave --version out to build a snapshot");
    }
    if (git_ && git_->shallow) {
      out_.session.diagnostics
          .add(Code::history_missing, {},
               fmt::format("the clone is shallow, so the changelog of version {} would lack earlier releases",
                           wish_.version->text()))
          .with_help("get the rest with `git fetch --unshallow --tags`, or leave --version out");
    }
    if (wish_.any_version) return;
    for (const auto& [tag, commit] : list_tags(root_)) {
      auto version = version_of_tag(tag);
      if (!version || precedence(*version, *wish_.version) != 0 || commit.id == commit_id()) continue;
      out_.session.diagnostics
          .add(Code::version_taken, {},
               fmt::format("version {} exists: the tag '{}' names commit {}", wish_.version->text(), tag,
                           commit.id.substr(0, 10)))
          .with_help(
              fmt::format("choose a higher version, build that commit with `--at {}`, or say --any-version", tag));
      return;
    }
  }

  std::string commit_id() const {
    return out_.session.commit ? out_.session.commit->id : git_ ? git_->head.id : std::string();
  }

  // All of the edition but for a snapshot's name.
  void describe() {
    Edition& edition = out_.edition;
    std::optional<Commit> commit = options_.at ? out_.session.commit : git_ ? std::optional(git_->head) : std::nullopt;
    if (commit) edition.commit = commit->id;
    edition.changed = has_changes();
    std::int64_t own = commit && !commit->id.empty() ? commit->time : no_time;
    edition.time = wish_.time ? *wish_.time : epoch_from_environment().value_or(own);
    if (wish_.version) name_edition(*wish_.version);
    to_.of = out_.session.commit ? SideSource::Of::revision : SideSource::Of::folder;
    if (options_.at) to_.revision = find_revision(root_, *options_.at);
    to_.name = "working tree";
    to_.date = utc_date(edition.time);
    if (commit && !commit->id.empty()) to_.commit = commit;
  }

  void name_edition(const Version& version) {
    out_.edition.version = version.text();
    out_.edition.channel = version.is_pre_release() ? "beta" : "stable";
    to_.version = version;
    to_.name = out_.edition.version;
  }

  // The changelogs and, of a snapshot, the name.
  void tell(const StoryTeller::Publication& now) {
    StoryTeller teller(chronicle_, !wish_.version || wish_.any_version);
    from_ = previous(teller);
    StoryTeller::Latest latest = teller.latest(from_, now, of_story_);
    if (of_story_.any_errors()) return;
    if (!wish_.version) name_snapshot(latest);
    else refuse_low(latest);
    if (of_story_.any_errors()) return;
    for (Chapter& chapter : latest.chapters) {
      chapter.to = to_.name;
      chapter.to_version = to_.version;
    }
    changelogs_ = teller.changelogs(latest.chapters, from_, to_, of_story_);
    chronicle_.close();
  }

  void bind(const Tree& tree) {
    options_.progress->enter("binding");
    out_.name = tree.plan.name;
    out_.profiles = packed_.size();
    out_.settings = tree.dictionary.settings.size();
    TakeArchive take;
    if (writer_ != nullptr) {
      writer_->begin(out_.edition);
      take = [this](Tier tier, const std::string& name, std::string_view bytes) { writer_->take(tier, name, bytes); };
    }
    out_.release = bind_release(tree, dialects_, selection_, packed_, out_.edition, changelogs_, options_.jobs, take);
    if (out_.stock) {
      out_.stock->require_unchanged();
      out_.stock->replace(packed_, said_);
    }
    fill_entry();
  }

  std::optional<SideSource> previous(const StoryTeller& teller) {
    if (!wish_.since) return teller.before(wish_.version, of_story_);
    if (wish_.since->empty()) return std::nullopt;
    return chronicle_.side(*wish_.since);
  }

  // The name of a build that is no release: the version that would be next, the commit, and whether the tree has
  // changes. A pre-release that is out already is not passed under.
  void name_snapshot(const StoryTeller::Latest& latest) {
    Version version = latest.suggested;
    const auto& releases = chronicle_.releases();
    if (!releases.empty()) {
      Version after = next_version(releases.back().version, Level::patch);
      if (precedence(after, version) > 0) version = after;
    }
    version.build.clear();
    version.pre_release = {"snapshot"};
    if (!out_.edition.commit.empty()) version.pre_release.push_back("g" + out_.edition.commit.substr(0, 10));
    if (out_.edition.changed) version.pre_release.emplace_back("changed");
    name_edition(version);
  }

  void refuse_low(const StoryTeller::Latest& latest) {
    if (!from_ || wish_.any_version) return;
    Version core = *wish_.version;
    core.pre_release.clear();
    core.build.clear();
    if (precedence(core, latest.suggested) >= 0) return;
    of_story_
        .add(Code::version_low, {},
             fmt::format("version {} is lower than the changes since {} ask for ({})", wish_.version->text(),
                         from_->name, latest.reason))
        .with_help(fmt::format("name it {}, or say --any-version", latest.suggested.text()));
  }

  void fill_entry() {
    LedgerEntry& entry = out_.entry;
    entry.version = out_.edition.version;
    entry.date = utc_date(out_.edition.time);
    entry.time = out_.edition.time;
    entry.commit = out_.edition.commit;
    if (from_) entry.since = from_->name;
    entry.tool = tool_version();
    for (const TierRelease& tier : out_.release.tiers)
      entry.tiers[static_cast<std::size_t>(tier.tier)] = {tier.files.front().digest, tier.contents};
  }

  const Options& options_;
  const ReleaseWish& wish_;
  ReleaseWriter* writer_;
  const std::filesystem::path root_;
  const std::launch way_;  // of what can be done meanwhile
  bool git_asked_ = false;
  std::future<std::optional<GitState>> git_later_;
  std::future<std::optional<Stock>> stock_later_;
  PreparedRelease out_;
  std::optional<Recall> recall_;
  Snapshot snapshot_;  // of the whole tree, where its stock is to be kept
  Selection selection_;
  std::vector<PackedProfile> packed_;
  std::vector<char> said_;  // is anything to be said of the profile? A byte each, for several threads
  std::vector<Dialect> dialects_;
  Chronicle chronicle_;
  std::optional<GitState> git_;
  SideSource to_;
  std::optional<SideSource> from_;  // the release before; nothing for a first one
  std::array<std::string, 2> changelogs_;
  Diagnostics of_story_;
};

}  // namespace

std::optional<std::int64_t> epoch_from_environment() {
  const char* text = std::getenv("SOURCE_DATE_EPOCH");
  if (text == nullptr) return std::nullopt;
  std::string_view digits = text;
  bool sound =
      !digits.empty() && digits.size() <= 12 && digits.find_first_not_of("0123456789") == std::string_view::npos;
  if (!sound)
    throw UsageError(fmt::format("SOURCE_DATE_EPOCH is '{}', which is no number of whole seconds", digits),
                     "set it to the seconds since 1970, or unset it");
  return std::atoll(text);
}

PreparedRelease prepare_release(const Options& options, const ReleaseWish& wish, ReleaseWriter* writer) {
  return options.leftovers->keep(std::make_unique<Preparation>(options, wish, writer))->run();
}

}  // namespace bindery
