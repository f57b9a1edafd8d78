// The publisher's own files: profiles-src/bindery.yaml, release/plan.yaml and release/notes/*.yaml.
#pragma once

#include <array>
#include <deque>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/diagnostic.h"
#include "syntax/document.h"
#include "syntax/evidence.h"
#include "syntax/fragment.h"
#include "syntax/ledger.h"
#include "syntax/policy.h"

namespace bindery {

struct Publisher {
  std::string_view name, licence;
  Tier default_tier = Tier::free;
};

// A named selection of profiles.
struct PlanSet {
  Text name;
  std::string_view title;
  Tier tier = Tier::free;
  std::vector<Condition> take, leave;
};

// A hand-written note for the changelog. One without a version belongs to the next release.
struct Note {
  std::string_view section;  // Added, Changed, Fixed, Removed or Safety
  Tier tier = Tier::supporter;
  std::string_view text, version;
  std::string_view path;  // of its file
  Span span;
};

struct Plan {
  Publisher publisher;
  Policy policy;
  std::string_view name = "profiles";
  std::vector<PlanSet> sets;  // in the order of the file
  std::vector<Note> notes;    // in the order of their files' paths
  std::vector<LedgerEntry> ledger;
  std::vector<Evidence> evidence;
  bool broken = false;             // bindery.yaml or plan.yaml has an error
  std::deque<Document> documents;  // own the texts that are not bytes of the files
};

Plan read_plan(const Sources& sources, Diagnostics& out);

// The order of sections in a changelog; what can hurt comes first.
inline constexpr std::array<std::string_view, 5> note_sections = {"Safety", "Added", "Changed", "Fixed", "Removed"};

}  // namespace bindery
