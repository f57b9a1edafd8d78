// From options to the command, and from failures to messages and exit codes.
#include <exception>
#include <optional>

#include <unistd.h>

#include <fmt/format.h>

#include "base/failure.h"
#include "cli/bar.h"
#include "cli/options.h"

namespace bindery {

namespace {

struct Command {
  std::string_view name;
  Exit (*run)(const Options&);
};

constexpr Command commands[] = {{"validate", run_validate},   {"list", run_list},
                                {"show", run_show},           {"why", run_why},
                                {"compare", run_compare},     {"build", run_build},
                                {"changelog", run_changelog}, {"next-version", run_next_version},
                                {"verify", run_verify},       {"schema", run_schema},
                                {"dialect", run_dialect},     {"import", run_import}};

Exit report(std::string_view message, std::string_view help, Exit exit) {
  fmt::print(stderr, "error: {}\n", message);
  if (!help.empty()) fmt::print(stderr, "  help: {}\n", help);
  return exit;
}

Exit run_watched(const Options& options) {
  try {
    for (const Command& each : commands) {
      if (each.name == options.command) return each.run(options);
    }
    return Exit::usage;
  } catch (const UsageError& error) {
    options.progress->finish();
    return report(error.what(), error.help, Exit::usage);
  } catch (const SystemError& error) {
    options.progress->finish();
    return report(error.what(), error.help, Exit::system);
  } catch (const std::exception& error) {
    options.progress->finish();
    return report(error.what(), "this is a failure of the system or of the program itself", Exit::system);
  }
}

void print_timings(const Progress& progress) {
  double wall = 0, cpu = 0;
  fmt::print(stderr, "{:24}{:>10}{:>10}\n", "stage", "wall ms", "CPU ms");
  for (const Progress::Stage& stage : progress.stages()) {
    fmt::print(stderr, "{:24}{:10.1f}{:10.1f}\n", stage.name, stage.wall * 1e3, stage.cpu * 1e3);
    wall += stage.wall;
    cpu += stage.cpu;
  }
  fmt::print(stderr, "{:24}{:10.1f}{:10.1f}\n", "all", wall * 1e3, cpu * 1e3);
}

}  // namespace

Exit run_command(Options options) {
  Progress progress;
  options.progress = &progress;
  std::optional<Bar> bar;
  if (isatty(STDERR_FILENO) != 0) bar.emplace(progress);
  Exit exit = run_watched(options);
  progress.finish();
  if (options.timings) print_timings(progress);
  return exit;
}

}  // namespace bindery
