#include "cli/prepare.h"

#include <chrono>
#include <cstdlib>
#include <future>
#include <memory>

#include <fmt/format.h>

#include "base/date.h"
#include "base/digest.h"
#include "base/failure.h"
#include "check/check.h"
#include "dialect/check.h"
#include "release/story.h"
#include "release/version.h"

namespace bindery {

namespace {

constexpr std::int64_t no_time = 315532800;  // 1980-01-01, the first day that ZIP can tell

class Preparation {
 public:
  Preparation(const Options& options, const ReleaseWish& wish)
      : options_(options),
        wish_(wish),
        git_later_(std::async(options.jobs > 1 ? std::launch::async : std::launch::deferred, git_state,
                              find_root(options.folder))),
        stock_later_(std::async(options.jobs > 1 ? std::launch::async : std::launch::deferred, open_stock,
                                find_root(options.folder), wish.from_stock)),
        out_{open_session(options), {}, {}, {}, {}, {}},
        chronicle_(out_.session.root, options.jobs, options.cache),
        git_(git_later_.get()) {}

  PreparedRelease run() {
    Diagnostics& reports = out_.session.diagnostics;
    options_.progress->enter("selecting");
    out_.selection = out_.session.select(options_.jobs);
    bool empty = out_.session.tree.plan.sets.empty() || out_.selection.profiles.empty();
    if (empty && !reports.any_errors()) {
      reports.add(Code::nothing_taken, {}, "no set of release/plan.yaml takes a profile")
          .with_help("write a set with `take:` into release/plan.yaml");
    }
    options_.progress->enter("checking", out_.selection.profiles.size() + out_.selection.drafts.size());
    packed_.resize(out_.selection.profiles.size());
    said_.assign(packed_.size(), 0);
    ProfilePacker packer(out_.session.tree);
    CheckForm form;
    out_.stock = stock_later_.get();
    if (out_.stock) {
      out_.stock->match(out_.session.tree, out_.selection, options_.jobs);
      form.is_known = [&](std::size_t i) { return out_.stock->take(i, packed_[i]); };
      form.take_reports = [&](std::size_t i, const Diagnostics&) {
        if (i < said_.size()) said_[i] = 1;
      };
    }
    form.progress = options_.progress;
    form.take = [&](std::size_t i, const Profile& profile) {
      packed_[i] = packer.pack(out_.selection.profiles[i], profile);
    };
    refuse_changes();
    describe();
    // The changelog keeps no core busy for long: it is told meanwhile.
    std::future<void> story;
    if (!reports.any_errors())
      story = std::async(options_.jobs > 1 ? std::launch::async : std::launch::deferred, [this] { tell(); });
    check_selection(out_.session.tree, out_.selection, options_.jobs, reports, form);
    options_.progress->enter("dialects");
    dialects_ = read_dialects(out_.session.tree, reports);
    check_dialects(out_.session.tree, dialects_, out_.selection, {options_.jobs, false, false, false}, reports);
    if (!reports.any_errors()) {
      options_.progress->enter("changelog");
      story.get();
      reports.join(std::move(of_story_));
    } else if (story.valid() && story.wait_for(std::chrono::seconds(0)) != std::future_status::deferred) {
      story.wait();  // it reads the tree, which the answer takes along
    }
    if (!reports.any_errors()) bind();
    reports.settle();
    return std::move(out_);
  }

 private:
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
    for (const auto& [tag, commit] : list_tags(out_.session.root)) {
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
    if (options_.at) to_.revision = find_revision(out_.session.root, *options_.at);
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
  void tell() {
    StoryTeller teller(chronicle_, !wish_.version || wish_.any_version);
    from_ = previous(teller);
    Side side{&out_.session.tree, &out_.selection};
    StoryTeller::Latest latest = teller.latest(from_, to_, side, of_story_);
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

  void bind() {
    options_.progress->enter("binding");
    out_.release =
        bind_release(out_.session.tree, dialects_, out_.selection, packed_, out_.edition, changelogs_, options_.jobs);
    if (out_.stock) out_.stock->replace(packed_, said_);
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
  // While the tree is read.
  std::future<std::optional<GitState>> git_later_;
  std::future<std::optional<Stock>> stock_later_;
  PreparedRelease out_;
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

PreparedRelease prepare_release(const Options& options, const ReleaseWish& wish) {
  return options.leftovers->keep(std::make_unique<Preparation>(options, wish))->run();
}

}  // namespace bindery
