// What most commands begin with: the tree read and linked, its plan applied.
#pragma once

#include <memory>
#include <string>

#include "base/diagnostic.h"
#include "cli/options.h"
#include "resolve/profile.h"
#include "resolve/select.h"
#include "resolve/tree.h"
#include "source/git.h"

namespace bindery {

struct Session {
  std::filesystem::path root;
  std::unique_ptr<Sources> sources;  // on the heap: the tree points into it
  std::optional<Commit> commit;      // of --at
  Tree tree;
  Diagnostics diagnostics;  // of reading, linking and, after select(), of the plan

  // Does a report speak of the dictionary?
  bool of_dictionary(const Diagnostic& item) const;

  // Applies the plan.
  Selection select(unsigned jobs) { return select_profiles(tree, diagnostics, most::triples, jobs); }
};

// Reads the tree at options.folder, or its revision options.at. Throws UsageError where there is none. `more` gets
// places among the sources, sorted in by path, and is no part of the tree.
Session open_session(const Options& options, std::vector<SourceFile> more = {});

// The same for commands that tell of some profiles alone: reads no more than these are made of, where that is enough to
// say the same of them.
Session open_profiles(const Options& options, const std::vector<std::string>& profiles);

// The triple that `id` names ("machine/material/process"). Throws UsageError, with the nearest names, where a
// name is unknown or the triple does not fit.
Triple find_profile(const Session& session, Resolver& resolver, const std::string& id);

// One profile and what is wrong with it: the reports of its own fragments and of its resolution, settled.
struct Answer {
  Profile profile;
  Diagnostics diagnostics;
  bool whole() const { return profile.whole && !diagnostics.any_errors(); }
};
Answer resolve_one(const Session& session, Resolver& resolver, const Triple& triple);

// Prints to stderr.
void print_diagnostics(const Diagnostics& diagnostics, const Sources& sources, const Options& options);

}  // namespace bindery
