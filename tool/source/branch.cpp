#include "source/branch.h"

#include <algorithm>
#include <set>

#include <fmt/format.h>
#include <strings.h>

#include "base/failure.h"
#include "base/utf8.h"
#include "source/repository.h"

namespace bindery {

namespace {

using WalkHandle = Handle<git_revwalk, git_revwalk_free>;
using DiffHandle = Handle<git_diff, git_diff_free>;
using AnyTreeHandle = Handle<git_tree, git_tree_free>;

class BranchReader {
 public:
  BranchReader(const std::filesystem::path& root, const std::string& revision) : revision_(revision) {
    auto place = open_at(root);
    if (!place)
      throw UsageError(fmt::format("the tree is not in a git repository, so it has no revision '{}'", revision),
                       "run it in a clone, or judge a folder or a zip with --overlay");
    place_ = std::move(*place);
  }

  Branch read() {
    auto head = find_commit(place_.repository.get(), "HEAD");
    auto since = find_commit(place_.repository.get(), revision_);
    if (!since || !head)
      throw UsageError(fmt::format("no commit is named '{}'", head ? revision_ : "HEAD"),
                       "name a branch, a tag or a commit; a clone may lack it until `git fetch`");
    git_oid base;
    if (git_merge_base(&base, place_.repository.get(), git_commit_id(since.get()), git_commit_id(head.get())) != 0) {
      bool cut = git_repository_is_shallow(place_.repository.get()) == 1;
      throw UsageError(fmt::format("'{}' and the commit at hand have no commit in common", revision_),
                       cut ? "the clone is shallow: get the rest with `git fetch --unshallow`"
                           : "name a revision that the branch left from");
    }
    Branch branch;
    auto base_commit = find_commit(place_.repository.get(), digits_of(&base));
    if (!base_commit) git_failed("the merge base cannot be read");
    branch.base = describe_commit(base_commit.get());
    read_commits(git_commit_id(head.get()), git_commit_id(since.get()), branch);
    read_touched(base_commit.get(), branch);
    return branch;
  }

 private:
  void read_commits(const git_oid* head, const git_oid* since, Branch& branch) {
    git_revwalk* raw = nullptr;
    if (git_revwalk_new(&raw, place_.repository.get()) != 0) git_failed("the history cannot be walked");
    WalkHandle walk(raw);
    git_revwalk_sorting(raw, GIT_SORT_TOPOLOGICAL | GIT_SORT_TIME | GIT_SORT_REVERSE);
    if (git_revwalk_push(raw, head) != 0 || git_revwalk_hide(raw, since) != 0)
      git_failed("the history cannot be walked");
    git_oid id;
    while (git_revwalk_next(&id, raw) == 0) {
      auto commit = find_commit(place_.repository.get(), digits_of(&id));
      if (commit && git_commit_parentcount(commit.get()) < 2) branch.commits.push_back(describe(commit.get()));
    }
  }

  static BranchCommit describe(git_commit* commit) {
    BranchCommit out;
    out.id = digits_of(git_commit_id(commit));
    const char* subject = git_commit_summary(commit);
    if (subject != nullptr) out.subject = subject;
    const git_signature* author = git_commit_author(commit);
    out.author = fmt::format("{} <{}>", author->name, author->email);
    git_message_trailer_array trailers{};
    if (git_message_trailers(&trailers, git_commit_message(commit)) != 0) return out;
    for (std::size_t i = 0; i < trailers.count; ++i) {
      if (strcasecmp(trailers.trailers[i].key, "Signed-off-by") != 0) continue;
      std::string_view value = trailers.trailers[i].value;
      std::size_t open = value.rfind('<'), close = value.rfind('>');
      bool whole = open != std::string_view::npos && close != std::string_view::npos && close > open + 1;
      if (!whole || open == 0) continue;
      std::string address(value.substr(open + 1, close - open - 1));
      out.signed_off |= strcasecmp(address.c_str(), author->email) == 0;
    }
    git_message_trailer_array_free(&trailers);
    return out;
  }

  // Of the whole repository: what a contribution does beside the tree counts too. What git ignores counts where it
  // would be read.
  void read_touched(git_commit* base, Branch& branch) {
    git_tree* raw_tree = nullptr;
    if (git_commit_tree(&raw_tree, base) != 0) git_failed("the merge base cannot be read");
    AnyTreeHandle tree(raw_tree);
    git_diff_options options = GIT_DIFF_OPTIONS_INIT;
    options.flags = GIT_DIFF_INCLUDE_UNTRACKED | GIT_DIFF_RECURSE_UNTRACKED_DIRS | GIT_DIFF_IGNORE_SUBMODULES |
                    GIT_DIFF_INCLUDE_TYPECHANGE;
    std::set<std::string> paths;
    git_diff* raw_diff = nullptr;
    if (git_diff_tree_to_workdir_with_index(&raw_diff, place_.repository.get(), tree.get(), &options) != 0)
      git_failed("the changes cannot be listed");
    DiffHandle diff(raw_diff);
    for (std::size_t i = 0; i < git_diff_num_deltas(diff.get()); ++i) {
      const git_diff_delta* delta = git_diff_get_delta(diff.get(), i);
      for (const char* path : {delta->old_file.path, delta->new_file.path}) {
        if (path == nullptr) continue;
        std::string own = plain_name(own_path(path));
        // What git does not know is part of the proposal only where a tree has its files.
        bool counts = delta->status != GIT_DELTA_UNTRACKED || is_tree_path(own);
        if (counts) paths.insert(std::move(own));
      }
    }
    branch.touched.assign(paths.begin(), paths.end());
  }

  std::string own_path(std::string_view path) const {
    if (path.starts_with(place_.prefix)) return std::string(path.substr(place_.prefix.size()));
    return fmt::format("../{}", path);
  }

  const std::string& revision_;
  Place place_;
};

}  // namespace

Branch read_branch(const std::filesystem::path& root, const std::string& revision) {
  use_git();
  return BranchReader(root, revision).read();
}

}  // namespace bindery
