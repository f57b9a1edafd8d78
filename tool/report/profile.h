// A resolved profile, as a table and as JSON; the story of one value; the difference of two profiles.
#pragma once

#include <string>

#include "report/diagnostics.h"
#include "resolve/profile.h"
#include "resolve/select.h"
#include "resolve/tree.h"

namespace bindery {

// A table by group, each value with its source.
std::string profile_text(const Tree& tree, const Selected& selected, const Profile& profile);

// The contract's object: profile, tier, status, settings, scripts.
std::string profile_json(const Tree& tree, const Selected& selected, const Profile& profile);

// Every operation in the chain of a value, what won, the formula with its inputs, what capped it.
std::string story_text(const Tree& tree, const Profile& profile, KeyId key, Resolver& resolver);

// The settings and scripts in which two profiles differ.
std::string comparison_text(const Tree& tree, const Profile& left, const Profile& right);
std::string comparison_json(const Tree& tree, const Profile& left, const Profile& right);

// Where a value comes from, in a few words: "set process/everyday:12", or "default".
std::string source_of(const Tree& tree, const Profile& profile, KeyId key);

}  // namespace bindery
