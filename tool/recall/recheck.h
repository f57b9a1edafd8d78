// Stage 5, again: a tree that was without errors when it was last checked whole, and of which a few values were edited
// since, is checked as far as these reach. The answer is what a check of the whole tree would say, or none.
#pragma once

#include <cstddef>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <vector>

#include "base/progress.h"
#include "recall/snapshot.h"

namespace bindery {

struct Recalled {
  std::size_t fragments = 0, profiles = 0;
  Diagnostics reports;  // warnings and notes, settled
  Sources sources;      // all paths of the tree, and the texts of the files that the reports speak of
};

// A tree that is remembered, and what was edited since. To be used in this order; wherever there is no answer, the
// whole tree is to be read.
class Recall {
 public:
  // Nothing where there is no snapshot, and where more than values was edited: a file came or went, names, parents,
  // conditions, the dictionary, the plan.
  static std::optional<Recall> open(const std::filesystem::path& root, unsigned jobs);
  ~Recall();
  Recall(Recall&&) noexcept;
  Recall& operator=(Recall&&) noexcept;

  // The tree as it is now; titles and what is said of it as of check().
  const Snapshot& snapshot() const;
  // The files that were edited, by path.
  std::vector<std::string> edited() const;

  // Published triples, by their index in the snapshot, that are to be resolved besides those that the edits reach.
  void add(const std::vector<std::uint32_t>& triples);

  // Reads what is to be resolved; false where much is, or a report that stands may be another.
  bool read();
  // After read(): the files that are for all profiles, the publisher's texts, and what the triples are made of.
  const Tree& tree() const;
  std::size_t triples() const;

  // Checks these alone; `take` gets those that are published, from several threads. False where an edit changes what
  // fits or brings an error. What it finds is kept, if it is much.
  using Take = std::function<void(std::uint32_t triple, const Selected& selected, const Profile& profile)>;
  bool check(const Take& take);

  // The same where nothing was edited: what was looked into for nothing is kept, if it is much.
  void keep();

  // What is to be said of the tree; nothing where a file was changed meanwhile.
  std::optional<Recalled> answer();

 private:
  class Work;
  explicit Recall(std::unique_ptr<Work> work);
  std::unique_ptr<Work> work_;
};

// All of that, for who wants the reports alone.
std::optional<Recalled> recheck(const std::filesystem::path& root, unsigned jobs, Progress& progress);

// Now, in nanoseconds since 1970, for take_snapshot().
std::int64_t now_in_nanoseconds();

}  // namespace bindery
