// A scratch repository of git, for the tests that need a history.
#pragma once

#include <cstdlib>
#include <fstream>
#include <string>

#include "support.h"

namespace bindery::test {

// Made by the git program, in a folder that goes away with it; empty at first.
struct Repository {
  Folder folder;

  Repository() { git("init -q -b main"); }

  void git(const std::string& arguments) const {
    std::string command = fmt::format(
        "cd '{}' && git -c user.name=Tester -c user.email=tester@example.org -c commit.gpgsign=false {} >/dev/null "
        "2>&1",
        folder.path.string(), arguments);
    REQUIRE_MESSAGE(std::system(command.c_str()) == 0, command);
  }
  // Commits all that stands in the folder, with more arguments of `git commit` where they are given.
  void commit(const std::string& message, const std::string& date, const std::string& more = "") const {
    setenv("GIT_COMMITTER_DATE", date.c_str(), 1);
    git("add -A");
    git(fmt::format("commit -q -m '{}' {}", message, more));
    unsetenv("GIT_COMMITTER_DATE");
  }
  // The forty digits of a revision.
  std::string id(const std::string& revision = "HEAD") const {
    std::filesystem::path answer = folder.path / ".git" / "answer";
    git(fmt::format("rev-parse --verify '{}' 2>/dev/null | tee .git/answer", revision));
    std::ifstream in(answer);
    std::string out;
    in >> out;
    REQUIRE_MESSAGE(out.size() == 40, revision);
    return out;
  }
};

}  // namespace bindery::test
