// Values that a profile should have, to the smallest edit of the tree that gives them.
#pragma once

#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "dialect/cell.h"
#include "edit/edit.h"
#include "resolve/profile.h"

namespace bindery {

// A setting of the profile that should have another value.
struct Wish {
  KeyId key = no_key;
  std::optional<CellValue> value;  // in the setting's unit; absent: unset
  Span span;                       // where it was asked for
};

// One line of the edit.
struct Proposed {
  KeyId key = no_key;
  FragmentId fragment = no_fragment;  // in the tree before; of a new fragment no_fragment
  std::string where;                  // "process/everyday"
  std::string line;                   // what stands there then: "wall.outer.speed: 165 mm/s"
  std::string before, after;          // of the setting, as written
  Span span;                          // where the value was read
  bool held = false;  // not asked for: it is kept where the file has it, though its formula would follow
  std::string note;   // what the reader should know: a formula that is overwritten; empty for nothing
};

struct Proposal {
  std::vector<Proposed> lines;  // by the dictionary's order
  // The tree after the edit. Files and their numbers are those of the tree before; the new fragment's text stands in
  // the place that was kept for it.
  std::unique_ptr<Sources> sources;
  Diagnostics diagnostics;  // of reading and linking them
  Tree tree;
  Triple triple;  // the profile in that tree
};

struct ProposalForm {
  std::optional<FragmentId> into;  // the only fragment that may be edited
  std::string fresh;               // name of a process that is written instead; its file is absent in the sources
  bool follow = false;             // values that formulas make follow the wishes
  unsigned jobs = 1;
};

// What of a proposal is not as it should be: further wishes, for the profile as the edited tree resolves it.
using Remaining =
    std::function<std::vector<Wish>(const Tree& tree, const Profile& profile, const Resolver::Axes& axes)>;

// Looks for edits of the profile's own fragments, or of those that wrote the values, until all wishes hold and
// `remaining` has no more. Each edit is tried on the tree, and kept only if the profile then has the value. Reports a
// wish that no edit fulfils, with what holds the value back, and gives nothing.
std::optional<Proposal> propose(const Tree& tree, const Triple& triple, std::vector<Wish> wishes,
                                const ProposalForm& form, const Remaining& remaining, Diagnostics& out);

}  // namespace bindery
