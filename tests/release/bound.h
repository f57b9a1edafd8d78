// A selection checked, packed and bound, as `build` does it.
#pragma once

#include "check/check.h"
#include "release/release.h"

namespace bindery::test {

inline Release bound(const Tree& tree, const Selection& selection, const Edition& edition, unsigned jobs = 1) {
  std::vector<PackedProfile> packed(selection.profiles.size());
  Diagnostics out;
  ProfilePacker packer(tree);
  CheckForm form;
  form.take = [&](std::size_t i, const Profile& profile) { packed[i] = packer.pack(selection.profiles[i], profile); };
  check_selection(tree, selection, jobs, out, form);
  return bind_release(tree, {}, selection, packed, edition, {"# Changelog\n", "# Changelog\n"}, {.jobs = jobs});
}

}  // namespace bindery::test
