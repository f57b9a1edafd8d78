// The texts of an archive that people read.
#pragma once

#include <string>
#include <string_view>

#include "release/release.h"

namespace bindery {

// READ-ME-FIRST.txt: what it is, how to use it, the cautions. The publisher's own words stand in the middle.
std::string read_me_first(const Tree& tree, const std::vector<Dialect>& dialects, Tier tier, const Edition& edition,
                          std::size_t profiles);

// LICENSE.txt: the publisher's text, or the name of the licence.
std::string licence_text(const Tree& tree);

}  // namespace bindery
