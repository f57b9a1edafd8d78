// libgit2's handles, for the files beside this one alone.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include <git2.h>

#include "source/git.h"

namespace bindery {

// Makes the library ready, before anything of it is used; from any thread. It stays so until the process ends: to start
// it takes 10 ms, most of it to read the system's certificates.
void use_git();

template <typename T, void (*Free)(T*)>
struct Freed {
  void operator()(T* handle) const { Free(handle); }
};
template <typename T, void (*Free)(T*)>
using Handle = std::unique_ptr<T, Freed<T, Free>>;
using RepositoryHandle = Handle<git_repository, git_repository_free>;
using CommitHandle = Handle<git_commit, git_commit_free>;
using TreeHandle = Handle<git_tree, git_tree_free>;

// A repository and where the tree stands in it ("" or "folder/").
struct Place {
  RepositoryHandle repository;
  std::string prefix;
};

// Throws SystemError in git's own words.
[[noreturn]] void git_failed(std::string_view what);

// Nothing outside git.
std::optional<Place> open_at(const std::filesystem::path& root);

// The commit that a revision names, annotated tags followed; null where there is none.
CommitHandle find_commit(git_repository* repository, const std::string& revision);

// The git tree that holds profiles-src/, or null.
TreeHandle tree_of(git_repository* repository, git_commit* commit, const std::string& prefix);

Commit describe_commit(git_commit* commit);

// Forty hexadecimal digits.
std::string digits_of(const git_oid* id);

}  // namespace bindery
