// What the command line says, parsed once; and how a command answers.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/leftovers.h"
#include "base/progress.h"

namespace bindery {

enum class Exit : int { done = 0, sources = 1, usage = 2, system = 3 };

struct Options {
  std::filesystem::path folder = ".";
  unsigned jobs = 1;
  bool colour = false;  // for stderr
  std::string command;
  std::string format = "text";
  bool strict = false;
  bool list = false;               // changelog: name every profile
  bool cache = true;               // look into .bindery/, and keep what is found there
  bool snapshot = false;           // build: no release, though a version could be told
  bool any_version = false;        // build: take the version whatever the change asks for
  bool write = false;              // import: change the tree
  bool follow = false;             // import: let formulas follow what changes
  bool timings = false;            // print what each stage took
  std::vector<std::string> words;  // the command's own arguments, in order
  std::optional<std::string> at, version, tier, rebuild, since, overlay, dialect, like, into, fresh;
  std::filesystem::path out = "out";
  // Neither is null while a command runs.
  Progress* progress = nullptr;    // what run_command() watches
  Leftovers* leftovers = nullptr;  // what main() does not destroy
};

// Parses the arguments. Gives the exit code at once where there is nothing to run (help, version, a mistake,
// which it prints).
std::optional<Exit> parse_options(int count, char** arguments, Options& options);

// A contribution judged against its base; `validate` with --since or --overlay.
Exit judge_contribution(const Options& options);

// One file a command.
Exit run_validate(const Options& options);
Exit run_list(const Options& options);
Exit run_show(const Options& options);
Exit run_why(const Options& options);
Exit run_compare(const Options& options);
Exit run_build(const Options& options);
Exit run_changelog(const Options& options);
Exit run_next_version(const Options& options);
Exit run_verify(const Options& options);
Exit run_schema(const Options& options);
Exit run_dialect(const Options& options);
Exit run_import(const Options& options);

// Runs the command named in the options; turns failures into messages and exit codes. On a terminal it shows how far
// the command is.
Exit run_command(Options options);

}  // namespace bindery
