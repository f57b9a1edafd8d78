#include "source/git.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/failure.h"
#include "base/parallel.h"
#include "base/utf8.h"
#include "base/words.h"
#include "source/repository.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

std::optional<Commit> head_of(const Place& place) {
  auto head = find_commit(place.repository.get(), "HEAD");
  if (!head && git_repository_head_unborn(place.repository.get()) == 1) return Commit{};
  if (!head || !tree_of(place.repository.get(), head.get(), place.prefix)) return std::nullopt;
  return describe_commit(head.get());
}

// The text of a file of a revision, from `like` where that has the same.
void read_file(const Place& place, const RevisionFile& each, const Sources* like, SourceFile& file) {
  file.path = each.path;
  file.blob = each.blob;
  if (each.oddity) return;
  FileId twin = like == nullptr ? no_file : like->find(each.path);
  if (twin != no_file && (*like)[twin].sound && (*like)[twin].blob == each.blob) {
    file.text = (*like)[twin].text;
    return;
  }
  git_oid name;
  git_blob* blob = nullptr;
  if (git_oid_fromstr(&name, each.blob.c_str()) != 0 || git_blob_lookup(&blob, place.repository.get(), &name) != 0)
    git_failed(fmt::format("{} cannot be read", each.path));
  auto size = std::min<std::size_t>(static_cast<std::size_t>(git_blob_rawsize(blob)), largest_text + 1);
  file.text.assign(static_cast<const char*>(git_blob_rawcontent(blob)), size);
  git_blob_free(blob);
}

// Is anything below these paths otherwise than in the commit?
bool has_changes(const Place& place, const std::vector<std::string>& paths) {
  git_status_options options = GIT_STATUS_OPTIONS_INIT;
  options.show = GIT_STATUS_SHOW_INDEX_AND_WORKDIR;
  options.flags = GIT_STATUS_OPT_INCLUDE_UNTRACKED | GIT_STATUS_OPT_RECURSE_UNTRACKED_DIRS |
                  GIT_STATUS_OPT_INCLUDE_IGNORED | GIT_STATUS_OPT_RECURSE_IGNORED_DIRS |
                  GIT_STATUS_OPT_DISABLE_PATHSPEC_MATCH;
  std::vector<std::string> below;
  for (const std::string& path : paths) below.push_back(place.prefix + path);
  std::vector<char*> names;
  for (std::string& path : below) names.push_back(path.data());
  options.pathspec = {names.data(), names.size()};
  git_status_list* list = nullptr;
  if (git_status_list_new(&list, place.repository.get(), &options) != 0) git_failed("the changes cannot be listed");
  bool any = false;
  for (std::size_t i = 0; i < git_status_list_entrycount(list) && !any; ++i) {
    const git_status_entry* entry = git_status_byindex(list, i);
    const git_diff_delta* delta = entry->index_to_workdir != nullptr ? entry->index_to_workdir : entry->head_to_index;
    // What git ignores counts where it would be read.
    std::string_view path = delta->new_file.path;
    std::string_view own = path.substr(place.prefix.size());
    any = own != ledger_path && ((entry->status & GIT_STATUS_IGNORED) == 0 || is_source_path(own));
  }
  git_status_list_free(list);
  return any;
}

int note_entry(const char* folder, const git_tree_entry* entry, void* payload) {
  auto& files = *static_cast<std::vector<RevisionFile>*>(payload);
  std::string path = std::string(folder) + git_tree_entry_name(entry);
  auto note_oddity = [&](Oddity oddity) { files.push_back({plain_name(path), {}, oddity}); };
  bool top = *folder == '\0';
  if (git_tree_entry_type(entry) == GIT_OBJECT_TREE) {
    if (top) return path == "profiles-src" || path == "schema" || path == "release" ? 0 : 1;  // 1 leaves the folder out
    if (!is_source_path(path)) return git_tree_entry_name(entry)[0] == '.' ? 1 : 0;
    note_oddity(Oddity::folder);
    return 1;
  }
  if (git_tree_entry_name(entry)[0] == '.') return 0;
  bool link = git_tree_entry_filemode(entry) == GIT_FILEMODE_LINK;
  if (is_stray_path(path)) note_oddity(link ? Oddity::link : Oddity::stray);
  else if (!is_source_path(path)) return 0;
  else if (!is_plain_name(path)) note_oddity(Oddity::hidden_name);
  else if (link) note_oddity(Oddity::link);
  else if (git_tree_entry_type(entry) == GIT_OBJECT_BLOB)
    files.push_back({path, digits_of(git_tree_entry_id(entry)), std::nullopt});
  return 0;
}

}  // namespace

std::optional<Commit> head_commit(const fs::path& root) {
  use_git();
  auto place = open_at(root);
  return place ? head_of(*place) : std::nullopt;
}

std::optional<GitState> git_state(const fs::path& root, const std::vector<std::string>& suspects) {
  use_git();
  auto place = open_at(root);
  auto head = place ? head_of(*place) : std::nullopt;
  if (!head) return std::nullopt;
  if (head->id.empty()) return GitState{{}, true, false};
  GitState state;
  state.head = *head;
  state.changed = (!suspects.empty() && has_changes(*place, suspects)) ||
                  has_changes(*place, {"profiles-src", "schema", "release"});
  state.shallow = git_repository_is_shallow(place->repository.get()) == 1;
  return state;
}

std::map<std::string, Commit> list_tags(const fs::path& root) {
  use_git();
  auto place = open_at(root);
  std::map<std::string, Commit> found;
  if (!place) return found;
  git_strarray names{};
  if (git_tag_list(&names, place->repository.get()) != 0) git_failed("the tags cannot be listed");
  for (std::size_t i = 0; i < names.count; ++i) {
    if (auto commit = find_commit(place->repository.get(), fmt::format("refs/tags/{}", names.strings[i])))
      found.emplace(names.strings[i], describe_commit(commit.get()));
  }
  git_strarray_dispose(&names);
  return found;
}

bool is_shallow(const fs::path& root) {
  use_git();
  auto place = open_at(root);
  return place && git_repository_is_shallow(place->repository.get()) == 1;
}

std::vector<std::string> missing_commits(const fs::path& root, const std::vector<std::string>& ids) {
  use_git();
  auto place = open_at(root);
  std::vector<std::string> missing;
  for (const std::string& id : ids) {
    if (!place || !find_commit(place->repository.get(), id)) missing.push_back(id);
  }
  return missing;
}

Revision find_revision(const fs::path& root, const std::string& name) {
  use_git();
  auto place = open_at(root);
  if (!place)
    throw UsageError(fmt::format("the tree is not in a git repository, so it has no revision '{}'", name),
                     "name a release archive, or run it in a clone of the repository");
  auto handle = find_commit(place->repository.get(), name);
  if (!handle) {
    std::map<std::string, Commit> tags = list_tags(root);
    std::vector<std::string_view> names;
    for (const auto& [tag, commit] : tags) names.push_back(tag);
    std::string near = nearest(name, names);
    throw UsageError(
        fmt::format("no commit is named '{}'", name),
        near.empty()
            ? "name a tag, a branch or a commit; a shallow clone gets the rest with `git fetch --unshallow --tags`"
            : fmt::format("did you mean '{}'; a shallow clone gets the rest with `git fetch --unshallow --tags`",
                          near));
  }
  auto tree = tree_of(place->repository.get(), handle.get(), place->prefix);
  if (!tree) throw UsageError(fmt::format("the commit '{}' holds no profiles-src/", name), "name a later revision");
  Revision revision;
  revision.commit = describe_commit(handle.get());
  if (git_tree_walk(tree.get(), GIT_TREEWALK_PRE, note_entry, &revision.files) < 0)
    git_failed("the revision's files cannot be listed");
  std::sort(revision.files.begin(), revision.files.end(),
            [](const RevisionFile& a, const RevisionFile& b) { return a.path < b.path; });
  return revision;
}

Sources read_revision(const fs::path& root, const Revision& revision, Diagnostics& out, const Sources* like,
                      unsigned jobs) {
  use_git();
  Sources sources;
  sources.files.resize(revision.files.size());
  constexpr std::size_t block = 512;
  parallel_for((revision.files.size() + block - 1) / block, jobs, [&](std::size_t b) {
    auto place = open_at(root);  // one handle a thread
    if (!place) throw SystemError("git: the repository is gone", "run it again");
    for (std::size_t i = b * block; i < std::min((b + 1) * block, revision.files.size()); ++i)
      read_file(*place, revision.files[i], like, sources.files[i]);
  });
  for (FileId id = 0; id < sources.files.size(); ++id) {
    if (revision.files[id].oddity) report_oddity(id, sources.files[id], *revision.files[id].oddity, out);
    else check_text(id, sources.files[id], out);
  }
  return sources;
}

std::string content_digest(const Revision& revision) {
  Sources list;
  for (const RevisionFile& each : revision.files)
    list.files.push_back({.path = each.path, .text = {}, .sound = !each.oddity, .blob = each.blob});
  return content_digest(list);
}

}  // namespace bindery
