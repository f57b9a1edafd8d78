#include "source/git.h"

#include <algorithm>
#include <memory>

#include <fmt/format.h>
#include <git2.h>

#include "base/failure.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

// The library, for as long as something of it is in use.
struct Library {
  Library() {
    git_libgit2_init();
    // A tree may be read by another user than its owner (a build as root); nothing of it is run.
    git_libgit2_opts(GIT_OPT_SET_OWNER_VALIDATION, 0);
    const char* extensions[] = {"worktreeconfig"};
    git_libgit2_opts(GIT_OPT_SET_EXTENSIONS, extensions, 1);
  }
  ~Library() { git_libgit2_shutdown(); }
};

template <typename T, void (*Free)(T*)>
struct Freed {
  void operator()(T* handle) const { Free(handle); }
};
template <typename T, void (*Free)(T*)>
using Handle = std::unique_ptr<T, Freed<T, Free>>;
using Repository = Handle<git_repository, git_repository_free>;
using CommitHandle = Handle<git_commit, git_commit_free>;
using TreeHandle = Handle<git_tree, git_tree_free>;

[[noreturn]] void fail(std::string_view what) {
  const git_error* error = git_error_last();
  throw SystemError(fmt::format("git: {}: {}", what, error == nullptr ? "unknown failure" : error->message),
                    "check the repository with `git fsck`");
}

// A repository and where the tree stands in it ("" or "folder/").
struct Place {
  Repository repository;
  std::string prefix;
};

std::optional<Place> open_at(const fs::path& root) {
  git_repository* raw = nullptr;
  int result = git_repository_open_ext(&raw, root.c_str(), 0, nullptr);
  if (result == GIT_ENOTFOUND) return std::nullopt;
  if (result != 0) fail("the repository cannot be opened");
  Place place{Repository(raw), {}};
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

// The git tree that holds profiles-src/, or null.
TreeHandle tree_of(git_repository* repository, git_commit* commit, const std::string& prefix) {
  git_tree* raw = nullptr;
  if (git_commit_tree(&raw, commit) != 0) fail("the commit's tree cannot be read");
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

Commit describe_commit(git_commit* commit) {
  char id[GIT_OID_HEXSZ + 1];
  git_oid_tostr(id, sizeof id, git_commit_id(commit));
  return {id, git_commit_time(commit)};
}

bool has_changes(const Place& place) {
  git_status_options options = GIT_STATUS_OPTIONS_INIT;
  options.show = GIT_STATUS_SHOW_INDEX_AND_WORKDIR;
  options.flags = GIT_STATUS_OPT_INCLUDE_UNTRACKED | GIT_STATUS_OPT_RECURSE_UNTRACKED_DIRS |
                  GIT_STATUS_OPT_INCLUDE_IGNORED | GIT_STATUS_OPT_RECURSE_IGNORED_DIRS |
                  GIT_STATUS_OPT_DISABLE_PATHSPEC_MATCH;
  std::string folders[] = {place.prefix + "profiles-src", place.prefix + "schema", place.prefix + "release"};
  char* names[] = {folders[0].data(), folders[1].data(), folders[2].data()};
  options.pathspec = {names, 3};
  git_status_list* list = nullptr;
  if (git_status_list_new(&list, place.repository.get(), &options) != 0) fail("the changes cannot be listed");
  bool any = false;
  for (std::size_t i = 0; i < git_status_list_entrycount(list) && !any; ++i) {
    const git_status_entry* entry = git_status_byindex(list, i);
    const git_diff_delta* delta = entry->index_to_workdir != nullptr ? entry->index_to_workdir : entry->head_to_index;
    // What git ignores counts where it would be read.
    std::string_view path = delta->new_file.path;
    any = (entry->status & GIT_STATUS_IGNORED) == 0 || is_source_path(path.substr(place.prefix.size()));
  }
  git_status_list_free(list);
  return any;
}

struct Walk {
  git_repository* repository;
  std::vector<std::pair<std::string, git_oid>> files;  // regular ones
  std::vector<std::pair<std::string, Oddity>> odd;
};

int note_entry(const char* folder, const git_tree_entry* entry, void* payload) {
  Walk& walk = *static_cast<Walk*>(payload);
  std::string path = std::string(folder) + git_tree_entry_name(entry);
  bool top = *folder == '\0';
  if (git_tree_entry_type(entry) == GIT_OBJECT_TREE) {
    if (top) return path == "profiles-src" || path == "schema" || path == "release" ? 0 : 1;  // 1 leaves the folder out
    if (!is_source_path(path)) return git_tree_entry_name(entry)[0] == '.' ? 1 : 0;
    walk.odd.emplace_back(path, Oddity::folder);
    return 1;
  }
  if (git_tree_entry_name(entry)[0] == '.') return 0;
  bool link = git_tree_entry_filemode(entry) == GIT_FILEMODE_LINK;
  if (is_stray_path(path)) walk.odd.emplace_back(path, link ? Oddity::link : Oddity::stray);
  else if (!is_source_path(path)) return 0;
  else if (link) walk.odd.emplace_back(path, Oddity::link);
  else if (git_tree_entry_type(entry) == GIT_OBJECT_BLOB) walk.files.emplace_back(path, *git_tree_entry_id(entry));
  return 0;
}

}  // namespace

std::optional<GitState> git_state(const fs::path& root) {
  Library library;
  auto place = open_at(root);
  if (!place) return std::nullopt;
  auto head = find_commit(place->repository.get(), "HEAD");
  if (!head && git_repository_head_unborn(place->repository.get()) == 1) return GitState{{}, true, {}};
  if (!head || !tree_of(place->repository.get(), head.get(), place->prefix)) return std::nullopt;
  GitState state;
  state.head = describe_commit(head.get());
  state.changed = has_changes(*place);
  git_strarray names{};
  if (git_tag_list(&names, place->repository.get()) != 0) fail("the tags cannot be listed");
  state.tags.assign(names.strings, names.strings + names.count);
  git_strarray_dispose(&names);
  std::sort(state.tags.begin(), state.tags.end());
  return state;
}

Sources read_revision(const fs::path& root, const std::string& revision, Commit& commit, Diagnostics& out) {
  Library library;
  auto place = open_at(root);
  if (!place) throw UsageError("the tree is not in a git repository, so it has no revisions", "leave --at out");
  auto handle = find_commit(place->repository.get(), revision);
  if (!handle)
    throw UsageError(
        fmt::format("no commit is named '{}'", revision),
        "name a tag, a branch or a commit; a shallow clone gets the rest with `git fetch --unshallow --tags`");
  auto tree = tree_of(place->repository.get(), handle.get(), place->prefix);
  if (!tree) throw UsageError(fmt::format("the commit '{}' holds no profiles-src/", revision), "name a later revision");
  commit = describe_commit(handle.get());
  Walk walk{place->repository.get(), {}, {}};
  if (git_tree_walk(tree.get(), GIT_TREEWALK_PRE, note_entry, &walk) < 0) fail("the revision's files cannot be listed");
  Sources sources;
  for (auto& [path, id] : walk.files) {
    git_blob* blob = nullptr;
    if (git_blob_lookup(&blob, place->repository.get(), &id) != 0) fail(fmt::format("{} cannot be read", path));
    SourceFile& file = sources.files.emplace_back();
    file.path = path;
    auto size = std::min<std::size_t>(static_cast<std::size_t>(git_blob_rawsize(blob)), largest_text + 1);
    file.text.assign(static_cast<const char*>(git_blob_rawcontent(blob)), size);
    git_blob_free(blob);
  }
  for (const auto& [path, oddity] : walk.odd) sources.files.push_back({path, {}, false});
  std::sort(sources.files.begin(), sources.files.end(),
            [](const SourceFile& a, const SourceFile& b) { return a.path < b.path; });
  for (FileId id = 0; id < sources.files.size(); ++id) {
    SourceFile& file = sources.files[id];
    auto odd =
        std::find_if(walk.odd.begin(), walk.odd.end(), [&](const auto& each) { return each.first == file.path; });
    if (odd == walk.odd.end()) check_text(id, file, out);
    else report_oddity(id, file, odd->second, out);
  }
  return sources;
}

}  // namespace bindery
