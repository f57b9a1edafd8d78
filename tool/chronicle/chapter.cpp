#include "chronicle/chapter.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/digest.h"
#include "base/parallel.h"
#include "chronicle/store.h"

namespace bindery {

namespace {

// Belongs to the names of what is remembered: another form or another meaning asks for another number.
constexpr int store_form = 2;

std::string store_name(const std::string& from, const std::string& to, const View& view) {
  return sha256(fmt::format("{} {} {} {} {} {}", BINDERY_VERSION, store_form, from, to, name_of(view.tier),
                            view.contents ? "whole" : "names"));
}

std::vector<ChapterNote> chapter_notes(const Plan& plan) {
  std::vector<ChapterNote> out;
  for (const Note& note : plan.notes)
    out.push_back({std::string(note.section), std::string(note.text), std::string(note.path), std::string(note.version),
                   note.tier});
  return out;
}

// Nothing comes before a first release: its profiles are all there is to tell.
void forget_edits(Changes& changes) {
  changes.edits.clear();
  changes.idle.clear();
  changes.changes.clear();
  changes.caps.clear();
  changes.scripts.clear();
  changes.sets.clear();
  if (!changes.added.empty()) changes.sets.push_back({{}, changes.added, {}, {}});
}

// Nothing stood there before.
Changes all_came(std::vector<std::string> profiles) {
  Changes out;
  out.added.reserve(profiles.size());
  out.profiles.reserve(profiles.size());
  for (std::string& each : profiles) {
    out.added.push_back(static_cast<std::uint32_t>(out.profiles.size()));
    out.profiles.push_back({std::move(each), {}, true, false});
  }
  forget_edits(out);
  return out;
}

}  // namespace

// Two trees that were read to be compared, for an audience and then for the other.
struct Chronicle::Pair {
  std::string from, to;  // their digests; of the folder none
  const Side* open = nullptr;
  OpenSide old, now;
};

Chronicle::Chronicle(std::filesystem::path root, unsigned jobs, bool remember)
    : root_(std::move(root)),
      jobs_(jobs),
      remember_(remember),
      shallow_(is_shallow(root_)),
      releases_(known_releases(root_)) {}

Chronicle::~Chronicle() = default;

void Chronicle::close() { pair_.reset(); }

std::optional<SideSource> Chronicle::before(const std::optional<Version>& version) const {
  const PastRelease* of_version = version ? find_release(releases_, *version) : nullptr;
  const PastRelease* previous = release_before(releases_, version, true);
  if (of_version != nullptr && !of_version->since.empty()) {
    const PastRelease* told = find_release(releases_, *parse_version(of_version->since));
    if (told != nullptr && told->readable) previous = told;
  }
  if (previous == nullptr) return std::nullopt;
  return side(previous->version.text());
}

const PastRelease* Chronicle::passed_over(const std::optional<Version>& version) const {
  const PastRelease* highest = release_before(releases_, version, false);
  return highest == nullptr || highest->readable ? nullptr : highest;
}

Chapter Chronicle::begin(const SideSource* from, const SideSource& to, Tier audience) const {
  Chapter chapter;
  chapter.audience = audience;
  chapter.to = to.name;
  chapter.first = from == nullptr && release_before(releases_, to.version, false) == nullptr;
  chapter.to_version = to.version;
  chapter.date = to.date;
  if (from != nullptr) {
    chapter.from = from->name;
    chapter.from_version = from->version;
  }
  return chapter;
}

std::optional<Chapter> Chronicle::tell(const SideSource* from, const SideSource& to, const Side* open,
                                       const std::vector<ChapterNote>& today, const View& view,
                                       std::optional<BrokenSide>& broken) const {
  View seen = view;
  seen.checked = open != nullptr;
  seen.first = from == nullptr;
  // A free archive tells nothing of what supporters had.
  for (const SideSource* side : {from, &to}) {
    if (side != nullptr && side->published && side->published->tier == Tier::free) seen.tier = Tier::free;
  }
  Chapter chapter = begin(from, to, seen.tier);
  chapter.changes = differences(from, to, open, seen, broken);
  if (broken) return std::nullopt;
  finish(from, to, today, chapter);
  return chapter;
}

Chapter Chronicle::tell_first(const SideSource& to, std::vector<std::string> profiles,
                              const std::vector<ChapterNote>& today, Tier audience) const {
  Chapter chapter = begin(nullptr, to, audience);
  chapter.changes = all_came(std::move(profiles));
  finish(nullptr, to, today, chapter);
  return chapter;
}

void Chronicle::finish(const SideSource* from, const SideSource& to, const std::vector<ChapterNote>& today,
                       Chapter& chapter) const {
  std::vector<ChapterNote> before;
  if (from != nullptr) before = notes_of(*from);
  // An archive holds no notes; the release that it is may be known.
  if (from != nullptr && from->published && from->version) {
    const PastRelease* known = find_release(releases_, *from->version);
    if (known != nullptr && known->readable) before = notes_of(side(known->version.text()));
  }
  chapter.notes = notes_for(to.version, chapter.from_version, notes_of(to), before, today, chapter.audience);

  bool published = to.published || (from != nullptr && from->published);
  if (to.commit && !published && from != nullptr)
    credit(root_, from->commit ? &*from->commit : nullptr, *to.commit, chapter);
  chapter.commits.resize(chapter.changes.edits.size());

  chapter.level = level_of(chapter.changes);
  chapter.reason = reason_of(chapter.level, chapter.changes);
  if (chapter.level == Level::none && !chapter.notes.empty()) {
    chapter.level = Level::patch;
    chapter.reason = "patch: words alone changed";
  }
  if (from == nullptr) chapter.reason = "a first release";
  std::optional<Version> base = chapter.from_version;
  if (!base && from != nullptr) {
    if (const PastRelease* latest = release_before(releases_, std::nullopt, true)) base = latest->version;
  }
  // Pre-releases alone: what they prepare.
  if (!base && from == nullptr && !releases_.empty()) {
    base = releases_.back().version;
    chapter.level = std::max(chapter.level, Level::patch);
  }
  chapter.suggested = base ? next_version(*base, chapter.level).text() : "0.1.0";
}

Changes Chronicle::differences(const SideSource* from, const SideSource& to, const Side* open, const View& view,
                               std::optional<BrokenSide>& broken) const {
  if (to.published || (from != nullptr && from->published)) return of_published(*from, to, open, view, broken);
  return of_trees(from, to, open, view, broken);
}

Changes Chronicle::of_trees(const SideSource* from, const SideSource& to, const Side* open, const View& view,
                            std::optional<BrokenSide>& broken) const {
  std::string from_digest = from == nullptr ? "nothing" : from->revision ? content_digest(*from->revision) : "folder";
  std::string to_digest = to.revision ? content_digest(*to.revision) : "folder";
  bool at_hand = pair_ != nullptr && pair_->from == from_digest && pair_->to == to_digest && pair_->open == open;
  if (!at_hand) pair_ = std::make_unique<Pair>(Pair{from_digest, to_digest, open, {}, {}});
  OpenSide &old = pair_->old, &now = pair_->now;
  bool read = open == nullptr && !to.revision;
  if (read && !at_hand) read_side(root_, to, nullptr, jobs_, now);
  bool remember = remember_ && from_digest != "folder";
  if (remember && !to.revision) to_digest = content_digest(open != nullptr ? *open->tree->sources : *now.sources);
  ChangeStore store(root_);
  // What was found without the contents of added profiles serves both where none was added.
  for (bool contents : {false, true}) {
    if (!remember || (contents && !view.contents)) break;
    auto known = store.find(store_name(from_digest, to_digest, {view.tier, contents}));
    if (!known || (contents != view.contents && !known->added.empty())) continue;
    if (!at_hand) pair_.reset();
    return std::move(*known);
  }
  // A pair that fails is not at hand again.
  auto fails = [&](OpenSide& side, const std::string& called) {
    if (!side.diagnostics.any_errors()) return false;
    side.diagnostics.settle();
    broken.emplace(BrokenSide{called, std::move(side)});
    pair_.reset();
    return true;
  };
  if (!at_hand) {
    if (open == nullptr && !read) read_side(root_, to, nullptr, jobs_, now);
    if (from != nullptr) read_side(root_, *from, now.sources.get(), jobs_, old);
    if (open == nullptr) align(*old.sources, old.diagnostics, *now.sources, now.diagnostics);
    auto load = [&](OpenSide& side, const Tree* like) {
      side.tree = load_tree(*side.sources, jobs_, side.diagnostics, {.like = like});
    };
    if (open == nullptr) {
      load(now, nullptr);
      if (fails(now, to.name)) return {};
    }
    load(old, open == nullptr ? &now.tree : nullptr);
    // Neither plan needs the other.
    parallel_for(2, jobs_, [&](std::size_t task) {
      OpenSide& side = task == 0 ? old : now;
      if (task == 0 || open == nullptr) side.selection = select_profiles(side.tree, side.diagnostics);
    });
    // A tree without sets publishes nothing; where neither side has any, what fits is compared.
    const Tree& to_tree = open != nullptr ? *open->tree : now.tree;
    if (old.tree.plan.sets.empty() && !to_tree.plan.sets.empty()) old.selection = {};
    if (to_tree.plan.sets.empty() && !old.tree.plan.sets.empty()) now.selection = {};
    if (fails(now, to.name)) return {};
    if (from == nullptr) old.diagnostics = {};
    if (from != nullptr && fails(old, from->name)) return {};
  }
  Side to_side = open != nullptr ? *open : now.side();
  Changes changes = find_changes(old.side(), to_side, view, jobs_, old.diagnostics, now.diagnostics);
  if (from != nullptr && fails(old, from->name)) return {};
  if (fails(now, to.name)) return {};
  if (from == nullptr) forget_edits(changes);
  bool contents = view.contents && !changes.added.empty();
  if (remember) store.keep(store_name(from_digest, to_digest, {view.tier, contents}), changes);
  return changes;
}

Changes Chronicle::of_published(const SideSource& from, const SideSource& to, const Side* open, const View& view,
                                std::optional<BrokenSide>& broken) const {
  OpenSide trees[2];
  Published made[2];
  const SideSource* sources[2] = {&from, &to};
  std::optional<Side> side;
  for (std::size_t i : {0u, 1u}) {
    if (sources[i]->published) continue;
    if (i == 1 && open != nullptr) {
      side = *open;
    } else {
      read_side(root_, *sources[i], nullptr, jobs_, trees[i]);
      trees[i].tree = load_tree(*trees[i].sources, jobs_, trees[i].diagnostics);
      trees[i].selection = select_profiles(trees[i].tree, trees[i].diagnostics, most::triples, jobs_);
      side = trees[i].side();
    }
    if (!trees[i].diagnostics.any_errors()) made[i] = publish(*side, view.tier, jobs_, trees[i].diagnostics);
    if (!trees[i].diagnostics.any_errors()) continue;
    trees[i].diagnostics.settle();
    broken.emplace(BrokenSide{sources[i]->name, std::move(trees[i])});
    return {};
  }
  const Published& old = from.published ? *from.published : made[0];
  const Published& now = to.published ? *to.published : made[1];
  return compare_published(old, now, view, to.published ? nullptr : &*side);
}

std::vector<ChapterNote> Chronicle::notes_of(const SideSource& side) const {
  if (side.published) return {};
  OpenSide read;
  SideSource part = side;
  if (part.revision)
    std::erase_if(part.revision->files,
                  [](const RevisionFile& file) { return !file.path.starts_with("release/notes/"); });
  if (part.revision) read_side(root_, part, nullptr, 1, read);
  else *read.sources = read_notes(root_, read.diagnostics);
  return chapter_notes(read_plan(*read.sources, read.diagnostics));
}

}  // namespace bindery
