#include "source/history.h"

#include <strings.h>
#include <algorithm>
#include <map>

#include <fmt/format.h>

#include "base/failure.h"
#include "base/utf8.h"
#include "source/repository.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

using DiffHandle = Handle<git_diff, git_diff_free>;
using MailmapHandle = Handle<git_mailmap, git_mailmap_free>;
using WalkHandle = Handle<git_revwalk, git_revwalk_free>;

// A name without control and bidirectional characters; bytes that are no UTF-8 end it.
std::string without_hidden(std::string name) {
  while (auto hidden = find_hidden(name)) name.erase(hidden->at, hidden->length);
  while (!is_utf8(name)) name.pop_back();
  return name;
}

using Touched = std::map<std::string, TouchedFile>;

class HistoryReader {
 public:
  HistoryReader(const Place& place, const std::vector<std::string>& wanted) : place_(place) {
    for (const std::string& path : wanted) paths_.push_back(place.prefix + path);
    for (std::string& path : paths_) pointers_.push_back(path.data());
    git_mailmap* raw = nullptr;
    if (git_mailmap_from_repository(&raw, repository()) == 0) mailmap_.reset(raw);
  }

  History read(const std::string& from, const std::string& to) {
    History history;
    history.cut = git_repository_is_shallow(repository()) == 1;
    if (paths_.empty()) return history;
    git_revwalk* raw = nullptr;
    if (git_revwalk_new(&raw, repository()) != 0) git_failed("the history cannot be walked");
    WalkHandle walk(raw);
    // By topology first, so that equal times give one order.
    git_revwalk_sorting(walk.get(), GIT_SORT_TOPOLOGICAL | GIT_SORT_TIME | GIT_SORT_REVERSE);
    if (!start(walk.get(), from, to)) {
      if (history.cut) return history;
      git_failed("the history cannot be walked");
    }
    git_oid id;
    int step = 0;
    while ((step = git_revwalk_next(&id, walk.get())) == 0) {
      if (auto commit = look_at(id); !commit.touched.empty()) history.commits.push_back(std::move(commit));
    }
    if (step != GIT_ITEROVER && !history.cut) git_failed("the history cannot be walked");
    return history;
  }

 private:
  git_repository* repository() const { return place_.repository.get(); }

  static bool start(git_revwalk* walk, const std::string& from, const std::string& to) {
    git_oid id;
    if (git_oid_fromstr(&id, to.c_str()) != 0 || git_revwalk_push(walk, &id) != 0) return false;
    return from.empty() || (git_oid_fromstr(&id, from.c_str()) == 0 && git_revwalk_hide(walk, &id) == 0);
  }

  HistoryCommit look_at(const git_oid& id) {
    HistoryCommit out;
    git_commit* raw = nullptr;
    if (git_commit_lookup(&raw, repository(), &id) != 0) git_failed("a commit cannot be read");
    CommitHandle commit(raw);
    unsigned parents = git_commit_parentcount(commit.get());
    Touched touched = against(commit.get(), 0, parents > 0);
    // What a merge took from one of its sides was made there.
    for (unsigned i = 1; i < parents && !touched.empty(); ++i) {
      Touched other = against(commit.get(), i, true);
      std::erase_if(touched, [&](const auto& each) { return !other.contains(each.first); });
      for (auto& [path, file] : touched) file.olds.push_back(other.at(path).olds.front());
    }
    if (touched.empty()) return out;
    out.id = digits_of(&id);
    for (auto& [path, file] : touched) out.touched.push_back(std::move(file));
    name_people(commit.get(), out.people);
    return out;
  }

  // The wanted files that differ from a parent, or from nothing.
  Touched against(git_commit* commit, unsigned parent, bool has_parent) {
    TreeHandle now = whole_tree(commit), before;
    if (has_parent) {
      git_commit* raw = nullptr;
      // A shallow clone lacks the parents of its last commits.
      if (git_commit_parent(&raw, commit, parent) != 0) return {};
      before = whole_tree(CommitHandle(raw).get());
    }
    git_diff_options options = GIT_DIFF_OPTIONS_INIT;
    options.flags = GIT_DIFF_DISABLE_PATHSPEC_MATCH | GIT_DIFF_SKIP_BINARY_CHECK;
    options.pathspec = {pointers_.data(), pointers_.size()};
    git_diff* raw = nullptr;
    if (git_diff_tree_to_tree(&raw, repository(), before.get(), now.get(), &options) != 0)
      git_failed("two commits cannot be compared");
    DiffHandle diff(raw);
    Touched out;
    for (std::size_t i = 0; i < git_diff_num_deltas(diff.get()); ++i) {
      const git_diff_delta* delta = git_diff_get_delta(diff.get(), i);
      if (git_oid_equal(&delta->old_file.id, &delta->new_file.id) != 0) continue;  // the mode alone
      TouchedFile file;
      file.path = std::string(delta->new_file.path).substr(place_.prefix.size());
      file.olds.push_back(git_oid_is_zero(&delta->old_file.id) == 0 ? digits_of(&delta->old_file.id) : std::string());
      if (git_oid_is_zero(&delta->new_file.id) == 0) file.now = digits_of(&delta->new_file.id);
      out.emplace(file.path, std::move(file));
    }
    return out;
  }

  static TreeHandle whole_tree(git_commit* commit) {
    git_tree* raw = nullptr;
    if (git_commit_tree(&raw, commit) != 0) git_failed("a commit's tree cannot be read");
    return TreeHandle(raw);
  }

  void name_people(git_commit* commit, std::vector<std::string>& people) const {
    auto add = [&](const char* name, const char* address) {
      const char *real_name = name, *real_address = address;
      if (mailmap_) git_mailmap_resolve(&real_name, &real_address, mailmap_.get(), name, address);
      std::string clean = without_hidden(real_name);
      if (!clean.empty() && std::find(people.begin(), people.end(), clean) == people.end())
        people.push_back(std::move(clean));
    };
    const git_signature* author = git_commit_author(commit);
    add(author->name, author->email);
    git_message_trailer_array trailers{};
    if (git_message_trailers(&trailers, git_commit_message(commit)) != 0) return;
    for (std::size_t i = 0; i < trailers.count; ++i) {
      if (strcasecmp(trailers.trailers[i].key, "Co-authored-by") != 0) continue;
      std::string value = trailers.trailers[i].value, address;
      if (std::size_t open = value.find('<'); open != std::string::npos) {
        address = value.substr(open + 1, value.find('>', open) - open - 1);
        value.resize(open);
      }
      value.erase(value.find_last_not_of(" \t") + 1);
      value.erase(0, value.find_first_not_of(" \t"));
      add(value.c_str(), address.c_str());
    }
    git_message_trailer_array_free(&trailers);
  }

  const Place& place_;
  std::vector<std::string> paths_;
  std::vector<char*> pointers_;
  MailmapHandle mailmap_;
};

}  // namespace

History read_history(const fs::path& root, const std::string& from, const std::string& to,
                     const std::vector<std::string>& wanted) {
  use_git();
  auto place = open_at(root);
  if (!place) return {};
  return HistoryReader(*place, wanted).read(from, to);
}

std::string read_blob(const fs::path& root, const std::string& name) {
  if (name.empty()) return {};
  use_git();
  auto place = open_at(root);
  git_oid id;
  git_blob* blob = nullptr;
  if (!place || git_oid_fromstr(&id, name.c_str()) != 0 || git_blob_lookup(&blob, place->repository.get(), &id) != 0)
    git_failed(fmt::format("the file {} cannot be read", name));
  std::string text(static_cast<const char*>(git_blob_rawcontent(blob)),
                   static_cast<std::size_t>(git_blob_rawsize(blob)));
  git_blob_free(blob);
  return text;
}

}  // namespace bindery
