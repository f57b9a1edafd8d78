#include "recall/recheck.h"

#include <algorithm>
#include <ctime>
#include <future>
#include <set>

#include "check/check.h"
#include "resolve/needed.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

// Stamps are as coarse as the system's clock ticks, 10 ms at most; twice that, to be safe.
constexpr std::int64_t grain = 20'000'000;

class Recheck {
 public:
  Recheck(const fs::path& root, unsigned jobs, std::int64_t begun, Snapshot snapshot, Listing listing)
      : root_(root), jobs_(jobs), begun_(begun), known_(std::move(snapshot)), listing_(std::move(listing)) {}

  bool run(Progress& progress) {
    if (!find_edited()) return false;
    if (edited_.empty()) {
      if (looked_) keep();
      return true;
    }
    find_touched();
    if (!worth_it()) return false;
    progress.enter("checking", again_.published.size() + again_.drafts.size());
    if (!is_sound()) return false;
    keep();
    return true;
  }

  Sound size() const { return {known_.parts.size(), known_.published.size()}; }

 private:
  struct Again {
    std::vector<Snapshot::Members> published, drafts, refused;
  };

  // Looks at each file; false where more than values of fragments was edited.
  bool find_edited() {
    if (listing_.paths.size() != known_.files.size()) return false;
    std::vector<std::string> doubtful;
    std::vector<std::uint32_t> indexes;
    for (std::uint32_t i = 0; i < known_.files.size(); ++i) {
      Snapshot::File& file = known_.files[i];
      if (listing_.paths[i] != file.path) return false;
      const FileStamp& stamp = listing_.stamps[i];
      if (stamp == file.stamp && stamp.changed < known_.begun - grain && stamp.modified < known_.begun - grain)
        continue;
      doubtful.push_back(file.path);
      indexes.push_back(i);
    }
    looked_ = !doubtful.empty();
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
    for (std::uint32_t part = 0; part < known_.parts.size(); ++part) {
      each_ancestor(part, [&](std::uint32_t each) {
        if (edited_.contains(known_.parts[each].file)) touched_[part] = true;
      });
    }
    auto take = [&](const std::vector<Snapshot::Members>& from, std::vector<Snapshot::Members>& into) {
      std::copy_if(from.begin(), from.end(), std::back_inserter(into), [&](const Snapshot::Members& members) {
        return std::any_of(members.begin(), members.end(), [&](std::uint32_t part) { return touched_[part]; });
      });
    };
    take(known_.published, again_.published);
    take(known_.drafts, again_.drafts);
    take(known_.refused, again_.refused);
  }

  // Where much is to be done again, all is done as fast, and by what has no limits.
  bool worth_it() const {
    std::size_t again = again_.published.size() + again_.drafts.size() + again_.refused.size();
    std::size_t all = known_.published.size() + known_.drafts.size() + known_.refused.size();
    auto parts = static_cast<std::size_t>(std::count(touched_.begin(), touched_.end(), true));
    return again <= std::max<std::size_t>(64, all / 8) && parts <= std::max<std::size_t>(64, touched_.size() / 8);
  }

  template <typename Visit>
  void each_ancestor(std::uint32_t part, Visit&& visit) const {
    std::uint32_t begin = part == 0 ? 0 : known_.linear_ends[part - 1];
    for (std::uint32_t i = begin; i < known_.linear_ends[part]; ++i) visit(known_.linear[i]);
  }

  // Reads what the touched parts and triples are made of, and checks these alone.
  bool is_sound() {
    Diagnostics reports;
    Sources sources = read_files(root_, needed(), reports);
    Tree tree = load_tree(sources, jobs_, reports, {.part = true});
    if (!reports.items().empty()) return false;
    Selection selection;
    Resolver resolver(tree);
    bool as_before = true;
    auto find = [&](const Snapshot::Members& members, bool refused) {
      Triple triple;
      for (std::size_t k = 0; k < kind_count; ++k) {
        const Snapshot::Part& part = known_.parts[members[k]];
        triple.of[k] = tree.find(part.kind, part.name);
        if (triple.of[k] == no_fragment) as_before = false;
      }
      if (as_before) as_before = resolver.refused(triple).has_value() == refused;
      return triple;
    };
    for (const auto& members : again_.published) {
      selection.profiles.emplace_back().triple = find(members, false);
      if (!as_before) return false;
    }
    for (const auto& members : again_.drafts) {
      selection.drafts.push_back(find(members, false));
      if (!as_before) return false;
    }
    for (const auto& members : again_.refused) {
      find(members, true);
      if (!as_before) return false;
    }
    check_selection(tree, selection, jobs_, reports);
    return reports.items().empty();
  }

  std::vector<std::string> needed() const {
    std::vector<bool> wanted(known_.files.size(), false);
    auto add = [&](std::uint32_t part) {
      each_ancestor(part, [&](std::uint32_t each) { wanted[known_.parts[each].file] = true; });
    };
    for (std::uint32_t part = 0; part < touched_.size(); ++part) {
      if (touched_[part]) add(part);
    }
    for (const auto* triples : {&again_.published, &again_.drafts, &again_.refused}) {
      for (const auto& members : *triples) std::for_each(members.begin(), members.end(), add);
    }
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
      if (wanted[i] || is_for_all_profiles(known_.files[i].path)) paths.push_back(known_.files[i].path);
    }
    return paths;
  }

  // The stamps of files that were looked into are new even where their bytes are not.
  void keep() {
    known_.begun = begun_;
    write_snapshot(root_, known_);
  }

  const fs::path& root_;
  unsigned jobs_;
  std::int64_t begun_;
  Snapshot known_;
  Listing listing_;
  bool looked_ = false;             // into a file, if only to see that its bytes are the same
  std::set<std::uint32_t> edited_;  // files
  std::vector<bool> touched_;       // parts
  Again again_;
};

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
  return true;
}

}  // namespace

std::int64_t now_in_nanoseconds() {
  timespec now{};
  clock_gettime(CLOCK_REALTIME, &now);
  return static_cast<std::int64_t>(now.tv_sec) * 1'000'000'000 + now.tv_nsec;
}

std::optional<Sound> recheck(const fs::path& root, unsigned jobs, Progress& progress) {
  progress.enter("recalling");
  std::int64_t begun = now_in_nanoseconds();
  auto later = std::async(jobs > 1 ? std::launch::async : std::launch::deferred, read_snapshot, root);
  Listing listing = list_folder(root, true);
  auto snapshot = later.get();
  if (!snapshot || !is_whole(*snapshot) || !listing.sound) return std::nullopt;
  Recheck run(root, jobs, begun, std::move(*snapshot), std::move(listing));
  if (!run.run(progress)) return std::nullopt;
  return run.size();
}

}  // namespace bindery
