// profiles-src/trial/*.yaml: which profile each trial is of. What it measured is not read yet.
#pragma once

#include <string>
#include <vector>

#include "base/diagnostic.h"
#include "source/source.h"

namespace bindery {

inline constexpr std::string_view trial_folder = "profiles-src/trial/";

// A trial and the id of the profile that was printed.
struct Evidence {
  std::string path, profile;
};

// Reports a trial that is no document of the language or names no profile.
std::vector<Evidence> read_evidence(const Sources& sources, Diagnostics& out);

}  // namespace bindery
