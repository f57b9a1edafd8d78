// From options to the command, and from failures to messages and exit codes.
#include <exception>

#include <fmt/format.h>

#include "base/failure.h"
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

}  // namespace

Exit run_command(const Options& options) {
  try {
    for (const Command& each : commands) {
      if (each.name == options.command) return each.run(options);
    }
    return Exit::usage;
  } catch (const UsageError& error) {
    return report(error.what(), error.help, Exit::usage);
  } catch (const SystemError& error) {
    return report(error.what(), error.help, Exit::system);
  } catch (const std::exception& error) {
    return report(error.what(), "this is a failure of the system or of the program itself", Exit::system);
  }
}

}  // namespace bindery
