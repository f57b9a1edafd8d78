// The scripts of a profile, run by the virtual machine with the profile's values.
#pragma once

#include "base/diagnostic.h"
#include "resolve/profile.h"

namespace bindery {

using Hottest = std::array<std::optional<double>, heater_count>;

// Reports what running them would do wrong, at the lines they come from. Says nothing where the dictionary lists no
// codes. `axes` are the tables that the profile was resolved with. Gives what each heater is set to at most, in degC.
// `work`, if given, grows by the operations of formulas that it took.
Hottest check_scripts(const Tree& tree, const Profile& profile, const Resolver::Axes& axes, Diagnostics& out,
                      std::uint64_t* work = nullptr);

}  // namespace bindery
