// Proof of a file: written, and read again.
#pragma once

#include <string>
#include <vector>

#include "dialect/press.h"

namespace bindery {

struct Reread {
  std::size_t bytes = 0;  // of the file
  std::string fault;      // what came back otherwise; empty where nothing did
};

// Writes a dialect's file from its parts, at least one, and reads it again.
Reread reread(const Press& press, std::size_t file, const std::vector<const PressedPart*>& parts);

}  // namespace bindery
