// The file of a profile in an archive.
#pragma once

#include <string>

#include "resolve/profile.h"
#include "resolve/select.h"

namespace bindery {

// A fragment in JSON, a setting a line, compact: values as the language writes them, in the dictionary's order and
// units.
std::string profile_file(const Tree& tree, const Selected& selected, const Profile& profile);

}  // namespace bindery
