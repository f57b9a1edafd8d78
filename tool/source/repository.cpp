#include "source/repository.h"

#include <mutex>

#include <fmt/format.h>

#include "base/failure.h"

namespace bindery {

namespace fs = std::filesystem;

void use_git() {
  static std::once_flag started;
  std::call_once(started, [] {
    git_libgit2_init();
    // A tree may be read by another user than its owner (a build as root); nothing of it is run.
    git_libgit2_opts(GIT_OPT_SET_OWNER_VALIDATION, 0);
    const char* extensions[] = {"worktreeconfig"};
    git_libgit2_opts(GIT_OPT_SET_EXTENSIONS, extensions, 1);
    // Objects carry zlib's checksum; hashing each again doubles the time of reading many.
    git_libgit2_opts(GIT_OPT_ENABLE_STRICT_HASH_VERIFICATION, 0);
  });
}

void git_failed(std::string_view what) {
  const git_error* error = git_error_last();
  throw SystemError(fmt::format("git: {}: {}", what, error == nullptr ? "unknown failure" : error->message),
                    "check the repository with `git fsck`");
}

std::optional<Place> open_at(const fs::path& root) {
  git_repository* raw = nullptr;
  int result = git_repository_open_ext(&raw, root.c_str(), 0, nullptr);
  if (result == GIT_ENOTFOUND) return std::nullopt;
  if (result != 0) git_failed("the repository cannot be opened");
  Place place{RepositoryHandle(raw), {}};
  const char* folder = git_repository_workdir(raw);
  if (folder == nullptr) return std::nullopt;
  std::error_code failure;
  fs::path inside = fs::relative(fs::canonical(root, failure), fs::canonical(folder, failure), failure);
  if (failure) return std::nullopt;
  if (inside != ".") place.prefix = inside.generic_string() + "/";
  return place;
}

CommitHandle find_commit(git_repository* repository, const std::string& revision) {
  git_object* object = nullptr;
  if (git_revparse_single(&object, repository, revision.c_str()) != 0) return nullptr;
  git_object* peeled = nullptr;
  int result = git_object_peel(&peeled, object, GIT_OBJECT_COMMIT);
  git_object_free(object);
  return CommitHandle(result == 0 ? reinterpret_cast<git_commit*>(peeled) : nullptr);
}

TreeHandle tree_of(git_repository* repository, git_commit* commit, const std::string& prefix) {
  git_tree* raw = nullptr;
  if (git_commit_tree(&raw, commit) != 0) git_failed("the commit's tree cannot be read");
  TreeHandle top(raw);
  if (!prefix.empty()) {
    git_tree_entry* entry = nullptr;
    if (git_tree_entry_bypath(&entry, top.get(), prefix.substr(0, prefix.size() - 1).c_str()) != 0) return nullptr;
    git_tree* below = nullptr;
    int result = git_tree_lookup(&below, repository, git_tree_entry_id(entry));
    git_tree_entry_free(entry);
    if (result != 0) return nullptr;
    top.reset(below);
  }
  return git_tree_entry_byname(top.get(), "profiles-src") == nullptr ? nullptr : std::move(top);
}

Commit describe_commit(git_commit* commit) { return {digits_of(git_commit_id(commit)), git_commit_time(commit)}; }

std::string digits_of(const git_oid* id) {
  char text[GIT_OID_HEXSZ + 1];
  git_oid_tostr(text, sizeof text, id);
  return text;
}

}  // namespace bindery
