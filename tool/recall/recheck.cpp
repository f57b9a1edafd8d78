#include "recall/recheck.h"

#include <algorithm>
#include <ctime>
#include <future>
#include <mutex>
#include <set>

#include <fmt/format.h>

#include "check/check.h"
#include "resolve/needed.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

// Stamps are as coarse as the system's clock ticks, 10 ms at most; twice that, to be safe.
constexpr std::int64_t grain = 20'000'000;

// As many files are looked into and triples checked in each run before what was found is kept.
constexpr std::size_t most_doubtful = 8, most_again = 32;

// Stamps of before that time tell all.
std::int64_t trusted(const Snapshot& snapshot) { return snapshot.begun - grain; }

// What the file system says now of all that was read.
std::optional<Stamps> stamp_again(const fs::path& root, unsigned jobs, const Snapshot& snapshot) {
  Before before{{}, snapshot.folders};
  for (const Snapshot::File& file : snapshot.files) before.paths.push_back(file.path);
  return bindery::stamp_again(root, jobs, before, trusted(snapshot));
}

}  // namespace

class Recall::Work {
 public:
  Work(const fs::path& root, unsigned jobs, std::int64_t begun, Snapshot snapshot, Stamps stamps)
      : root_(root), jobs_(jobs), begun_(begun), known_(std::move(snapshot)), stamps_(std::move(stamps)) {}

  const Snapshot& snapshot() const { return known_; }
  std::vector<std::string> edited() const {
    std::vector<std::string> paths;
    for (std::uint32_t file : edited_) paths.push_back(known_.files[file].path);
    return paths;
  }
  const Tree& tree() const { return tree_; }
  std::size_t triples() const { return triples_.size(); }

  // Looks at each file; false where more than values of fragments was edited.
  bool find_edits() {
    if (!find_edited()) return false;
    find_touched();
    return true;
  }

  void add(const std::vector<std::uint32_t>& triples) { again_.insert(triples.begin(), triples.end()); }

  std::optional<Recalled> answer() {
    Recalled out;
    out.fragments = known_.parts.size();
    out.profiles = known_.published.size();
    std::set<FileId> told;
    for (Snapshot::Standing& each : known_.standing) {
      each_place(each.report, [&](const Span& place) { told.insert(place.file); });
      out.reports.add(each.report);
    }
    if (told.empty()) return out;
    std::vector<std::string> paths;
    for (FileId file : told) paths.push_back(known_.files[file].path);
    Diagnostics reports;
    Sources texts = read_files(root_, paths, reports);
    if (texts.files.size() != paths.size()) return std::nullopt;  // one is gone by now
    for (const Snapshot::File& file : known_.files) out.sources.files.push_back({.path = file.path, .text = {}});
    std::size_t at = 0;
    for (FileId file : told) {
      if (digest_of_bytes(texts.files[at].text) != known_.files[file].bytes) return std::nullopt;
      out.sources.files[file] = std::move(texts.files[at++]);
    }
    return out;
  }

  // Reads what the touched parts and triples are made of. False where much is to be checked, a file was changed
  // meanwhile, or reading brings an error, or says anything of a touched file but for what it does to profiles.
  bool read() {
    add_next_tellers();
    if (!worth_it() || touches_standing()) return false;
    Diagnostics of_tree;
    sources_ = read_files(root_, needed(), of_tree);
    number_ = numbers_of(sources_);
    for (std::size_t i = 0; i < number_.size(); ++i) {
      bool known = number_[i] < known_.files.size();
      if (!known || digest_of_bytes(sources_.files[i].text) != known_.files[number_[i]].bytes) return false;
    }
    tree_ = load_tree(sources_, jobs_, of_tree, {.part = true});
    for (const Diagnostic& item : of_tree.items()) {
      // Of other files it stands already.
      if (item.severity == Severity::error || !item.span.known() || touched_files_.contains(number_[item.span.file]))
        return false;
    }
    Resolver resolver(tree_);
    triples_.assign(again_.begin(), again_.end());  // profiles before drafts, as there
    for (std::uint32_t each : triples_) {
      auto triple = find(known_.members(each));
      if (!triple || resolver.refused(*triple)) return false;
      if (each < known_.published.size()) selection_.profiles.push_back(place_in_plan(tree_, *triple));
      else selection_.drafts.push_back(*triple);
    }
    for (const Snapshot::Members& members : refused_) {
      auto triple = find(members);
      if (!triple || !resolver.refused(*triple)) return false;
    }
    for (std::uint32_t part = 0; part < known_.parts.size(); ++part) {
      if (!touched_[part]) continue;
      Snapshot::Part& own = known_.parts[part];
      FragmentId now = tree_.find(own.kind, own.name);
      if (now == no_fragment) return false;
      own.title = tree_[now].title;
    }
    return true;
  }

  bool check(const Take& take) {
    Meetings meetings;
    std::mutex guard;
    Diagnostics said, folded;
    CheckForm form;
    if (take) {
      form.take = [&](std::size_t i, const Profile& profile) { take(triples_[i], selection_.profiles[i], profile); };
    }
    form.take_reports = [&](std::size_t i, const Diagnostics& reports) {
      Diagnostics moved = reports;
      for (Diagnostic& item : moved.items()) each_place(item, [&](Span& place) { place.file = number_[place.file]; });
      meetings.note(triples_[i], moved);
      std::lock_guard lock(guard);
      said.join(std::move(moved));
    };
    check_selection(tree_, selection_, jobs_, folded, form);
    return join(std::move(said), meetings);
  }

  // The stamps of files that were looked into are new even where their bytes are not. To look into a few once more
  // costs less than to keep it all.
  void keep() {
    if (looked_into_ <= most_doubtful && again_.size() <= most_again) return;
    known_.begun = begun_;
    write_snapshot(root_, known_);
  }

 private:
  bool find_edited() {
    std::vector<std::string> doubtful;
    std::vector<std::uint32_t> indexes;
    for (std::uint32_t i = 0; i < known_.files.size(); ++i) {
      Snapshot::File& file = known_.files[i];
      const FileStamp& stamp = stamps_.files[i];
      if (stamp == file.stamp && stamp.is_before(trusted(known_))) continue;
      doubtful.push_back(file.path);
      indexes.push_back(i);
    }
    looked_into_ = doubtful.size();
    known_.folders = std::move(stamps_.folders);
    Diagnostics reports;
    Sources sources = read_files(root_, doubtful, reports);
    if (!reports.items().empty() || sources.files.size() != doubtful.size()) return false;
    for (std::size_t d = 0; d < indexes.size(); ++d) {
      Snapshot::File& file = known_.files[indexes[d]];
      const SourceFile& source = sources.files[d];
      if (source.path != file.path || !source.sound) return false;
      file.stamp = source.stamp;
      Snapshot::Digest bytes = digest_of_bytes(source.text);
      if (bytes == file.bytes) continue;
      file.bytes = bytes;
      if (file.shape == Snapshot::Digest{}) return false;  // no fragments: all may depend on it
      FragmentFile parsed = read_fragment(0, source, reports);
      if (!reports.items().empty() || digest_of_bytes(shape_of(parsed)) != file.shape) return false;
      edited_.insert(indexes[d]);
    }
    return true;
  }

  // The parts that hold or extend what was edited, and the triples that hold those.
  void find_touched() {
    touched_.assign(known_.parts.size(), false);
    touched_files_ = edited_;
    for (std::uint32_t part = 0; part < known_.parts.size(); ++part) {
      known_.each_ancestor(part, [&](std::uint32_t each) {
        if (edited_.contains(known_.parts[each].file)) touched_[part] = true;
      });
      if (touched_[part]) touched_files_.insert(known_.parts[part].file);
    }
    auto holds = [&](const Snapshot::Members& members) {
      return std::any_of(members.begin(), members.end(), [&](std::uint32_t part) { return touched_[part]; });
    };
    for (std::uint32_t triple = 0; triple < known_.published.size() + known_.drafts.size(); ++triple) {
      if (holds(known_.members(triple))) again_.insert(triple);
    }
    std::copy_if(known_.refused.begin(), known_.refused.end(), std::back_inserter(refused_), holds);
  }

  // A report is told by the first profile that meets it: where that one is looked at again, so is the first of the
  // others, which may be the first now.
  void add_next_tellers() {
    std::set<std::uint32_t> reached = again_;
    for (const Snapshot::Standing& each : known_.standing) {
      if (each.triples.empty() || !reached.contains(first_of(each.triples))) continue;
      std::vector<std::uint32_t> others = without(each.triples, reached);
      if (!others.empty()) again_.insert(first_of(others));
    }
  }

  static std::vector<std::uint32_t> without(const std::vector<std::uint32_t>& triples,
                                            const std::set<std::uint32_t>& those) {
    std::vector<std::uint32_t> out;
    std::copy_if(triples.begin(), triples.end(), std::back_inserter(out),
                 [&](std::uint32_t each) { return !those.contains(each); });
    return out;
  }

  std::string name_of_triple(std::uint32_t triple) const { return known_.id_of(known_.members(triple)); }

  // By name, as reports are settled.
  std::uint32_t first_of(const std::vector<std::uint32_t>& triples) const {
    return *std::min_element(triples.begin(), triples.end(),
                             [&](std::uint32_t a, std::uint32_t b) { return name_of_triple(a) < name_of_triple(b); });
  }

  // Where much is to be done again, all is done as fast, and by what has no limits.
  bool worth_it() const {
    std::size_t all = known_.published.size() + known_.drafts.size() + known_.refused.size();
    auto parts = static_cast<std::size_t>(std::count(touched_.begin(), touched_.end(), true));
    return again_.size() + refused_.size() <= std::max<std::size_t>(64, all / 8) &&
           parts <= std::max<std::size_t>(64, touched_.size() / 8);
  }

  template <typename Visit>
  static void each_place(Diagnostic& report, Visit&& visit) {
    if (report.span.known()) visit(report.span);
    for (Related& each : report.related) {
      if (each.span.known()) visit(each.span);
    }
  }

  // Does a report that is to stay speak of what was edited, so that its place may be another, or it may be gone?
  bool touches_standing() {
    for (Snapshot::Standing& each : known_.standing) {
      bool of_profiles = !each.triples.empty();
      if (of_profiles && without(each.triples, again_).empty()) continue;  // made anew
      bool touches = !of_profiles && !each.report.span.known();
      each_place(each.report, [&](const Span& place) {
        touches |= edited_.contains(place.file) || (!of_profiles && touched_files_.contains(place.file));
      });
      if (touches) return true;
    }
    return false;
  }

  std::optional<Triple> find(const Snapshot::Members& members) const {
    Triple triple;
    for (std::size_t k = 0; k < kind_count; ++k) {
      const Snapshot::Part& part = known_.parts[members[k]];
      triple.of[k] = tree_.find(part.kind, part.name);
      if (triple.of[k] == no_fragment) return std::nullopt;
    }
    return triple;
  }

  // By number in a part of the tree: the number in the whole.
  std::vector<FileId> numbers_of(const Sources& part) const {
    std::vector<FileId> out;
    FileId at = 0;
    for (const SourceFile& file : part.files) {
      while (at < known_.files.size() && known_.files[at].path != file.path) ++at;
      out.push_back(at);
    }
    return out;
  }

  // Puts what is said now of the triples that were looked at in the place of what was said of them.
  bool join(Diagnostics said, Meetings& meetings) {
    for (Snapshot::Standing& each : known_.standing) {
      if (!each.triples.empty()) {
        std::vector<std::uint32_t> others = without(each.triples, again_);
        if (others.empty()) continue;
        each.report.profiles = others.size();
        each.report.profile = name_of_triple(first_of(others));
        for (std::uint32_t triple : others) meetings.note_standing(triple, each.report);
      }
      said.add(each.report);
    }
    said.settle();
    auto standing = meetings.standing(said);
    if (!standing) return false;
    known_.standing = std::move(*standing);
    return true;
  }

  std::vector<std::string> needed() const {
    std::vector<bool> wanted(known_.files.size(), false);
    auto add = [&](std::uint32_t part) {
      known_.each_ancestor(part, [&](std::uint32_t each) { wanted[known_.parts[each].file] = true; });
    };
    for (std::uint32_t part = 0; part < touched_.size(); ++part) {
      if (touched_[part]) add(part);
    }
    for (std::uint32_t triple : again_)
      std::for_each(known_.members(triple).begin(), known_.members(triple).end(), add);
    for (const auto& members : refused_) std::for_each(members.begin(), members.end(), add);
    // A file is read whole, so all its parts need what they extend.
    for (std::size_t before = 0, now = 1; before != now;) {
      before = static_cast<std::size_t>(std::count(wanted.begin(), wanted.end(), true));
      for (std::uint32_t part = 0; part < known_.parts.size(); ++part) {
        if (wanted[known_.parts[part].file]) add(part);
      }
      now = static_cast<std::size_t>(std::count(wanted.begin(), wanted.end(), true));
    }
    std::vector<std::string> paths;
    for (std::uint32_t i = 0; i < known_.files.size(); ++i) {
      const std::string& path = known_.files[i].path;
      // With the publisher's own texts, which a release holds besides its profiles.
      if (wanted[i] || is_for_all_profiles(path) || path.starts_with("release/texts/")) paths.push_back(path);
    }
    return paths;
  }

  const fs::path root_;
  const unsigned jobs_;
  std::int64_t begun_;
  Snapshot known_;
  Stamps stamps_;
  std::size_t looked_into_ = 0;  // files, if only to see that their bytes are the same
  std::set<std::uint32_t> edited_, touched_files_;
  std::vector<bool> touched_;               // parts
  std::set<std::uint32_t> again_;           // triples, by their index in the snapshot
  std::vector<Snapshot::Members> refused_;  // that must be refused again
  // What was read of the tree.
  Sources sources_;
  Tree tree_;
  std::vector<FileId> number_;  // of its files in the whole
  Selection selection_;
  std::vector<std::uint32_t> triples_;  // those of the selection, by their index in the snapshot
};

namespace {

// Do the numbers in it name what is there? A snapshot of this program's always does; none is followed blindly.
bool is_whole(const Snapshot& snapshot) {
  std::size_t parts = snapshot.parts.size();
  auto below = [](std::size_t most) { return [most](std::uint32_t each) { return each < most; }; };
  if (snapshot.linear_ends.size() != parts || (parts > 0 && snapshot.linear_ends.back() != snapshot.linear.size()))
    return false;
  if (!std::is_sorted(snapshot.linear_ends.begin(), snapshot.linear_ends.end()) ||
      !std::all_of(snapshot.linear.begin(), snapshot.linear.end(), below(parts)))
    return false;
  for (const Snapshot::Part& part : snapshot.parts) {
    if (part.file >= snapshot.files.size()) return false;
  }
  for (const auto* triples : {&snapshot.published, &snapshot.drafts, &snapshot.refused}) {
    for (const auto& members : *triples) {
      if (!std::all_of(members.begin(), members.end(), below(parts))) return false;
    }
  }
  std::size_t triples = snapshot.published.size() + snapshot.drafts.size();
  auto names_file = [&](const Span& place) { return !place.known() || place.file < snapshot.files.size(); };
  auto is_sound = [&](const Related& related) { return names_file(related.span); };
  for (const Snapshot::Standing& each : snapshot.standing) {
    if (!std::all_of(each.triples.begin(), each.triples.end(), below(triples))) return false;
    const auto& related = each.report.related;
    if (!names_file(each.report.span) || !std::all_of(related.begin(), related.end(), is_sound)) return false;
  }
  return true;
}

}  // namespace

std::int64_t now_in_nanoseconds() {
  timespec now{};
  clock_gettime(CLOCK_REALTIME, &now);
  return static_cast<std::int64_t>(now.tv_sec) * 1'000'000'000 + now.tv_nsec;
}

Recall::Recall(std::unique_ptr<Work> work) : work_(std::move(work)) {}
Recall::~Recall() = default;
Recall::Recall(Recall&&) noexcept = default;
Recall& Recall::operator=(Recall&&) noexcept = default;

std::optional<Recall> Recall::open(const fs::path& root, unsigned jobs) {
  std::int64_t begun = now_in_nanoseconds();
  auto snapshot = read_snapshot(root);
  if (!snapshot || !is_whole(*snapshot)) return std::nullopt;
  auto stamps = stamp_again(root, jobs, *snapshot);
  if (!stamps) return std::nullopt;
  Recall out(std::make_unique<Work>(root, jobs, begun, std::move(*snapshot), std::move(*stamps)));
  if (!out.work_->find_edits()) return std::nullopt;
  return out;
}

const Snapshot& Recall::snapshot() const { return work_->snapshot(); }
std::vector<std::string> Recall::edited() const { return work_->edited(); }
void Recall::add(const std::vector<std::uint32_t>& triples) { work_->add(triples); }
bool Recall::read() { return work_->read(); }
const Tree& Recall::tree() const { return work_->tree(); }
std::size_t Recall::triples() const { return work_->triples(); }
bool Recall::check(const Take& take) {
  if (!work_->check(take)) return false;
  work_->keep();
  return true;
}
void Recall::keep() { work_->keep(); }
std::optional<Recalled> Recall::answer() { return work_->answer(); }

std::optional<Recalled> recheck(const fs::path& root, unsigned jobs, Progress& progress) {
  progress.enter("recalling");
  auto recall = Recall::open(root, jobs);
  if (!recall) return std::nullopt;
  if (!recall->edited().empty()) {
    if (!recall->read()) return std::nullopt;
    progress.enter("checking", recall->triples());
    if (!recall->check({})) return std::nullopt;
  } else {
    recall->keep();
  }
  return recall->answer();
}

}  // namespace bindery
