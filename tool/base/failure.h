// What goes wrong outside the sources: a command line that cannot be served, a system that fails.
#pragma once

#include <stdexcept>
#include <string>

namespace bindery {

// The command line asks for what is not there (exit 2).
struct UsageError : std::runtime_error {
  explicit UsageError(const std::string& message, std::string cure = {})
      : std::runtime_error(message), help(std::move(cure)) {}
  std::string help;
};

// Input or output, git or a library failed (exit 3).
struct SystemError : std::runtime_error {
  explicit SystemError(const std::string& message, std::string cure = {})
      : std::runtime_error(message), help(std::move(cure)) {}
  std::string help;
};

}  // namespace bindery
