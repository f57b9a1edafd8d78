// Stage 7: a contribution judged against the tree it is meant for: what is wrong because of it, what it changes, and
// whether it keeps the publisher's policy.
//
// Only profiles that the contribution can reach are resolved: those one of whose fragments, in any of the three
// linearisations, has another text than in the base, and all where the dictionary has.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "changes/changes.h"
#include "source/branch.h"

namespace bindery {

// A path that a contribution changes, and how many bytes it has now.
struct TouchedPath {
  std::string path;
  std::uint64_t size = 0;
};

// How it came.
struct Contribution {
  std::vector<TouchedPath> touched;  // sorted
  std::optional<Branch> branch;      // absent for an overlay
};

// What the profiles ask for at most, before and after, and a profile that does.
struct Highest {
  struct Side {
    double value = 0;
    std::string profile;
  };
  std::optional<Side> before, after;
};

// The nozzle's, the bed's and the chamber's temperature in degC, from settings and scripts; the flow in mm^3/s.
enum class Ask : std::uint8_t { nozzle_temperature, bed_temperature, chamber_temperature, flow };
inline constexpr std::size_t ask_count = 4;
std::string_view name_of(Ask ask);

struct Verdict {
  Diagnostics brought;             // by the contribution; places are those of the proposal
  Diagnostics standing;            // there before, in what it reaches
  std::size_t reached = 0;         // profiles that were resolved
  std::optional<Changes> changes;  // absent where the dictionary or the plan cannot be read
  std::array<Highest, ask_count> highest;
  std::array<std::size_t, 3> withheld{};  // by severity: brought, and in what the audience does not get
  std::array<std::size_t, 2> tiers{};  // of the profiles reached, how many are in each; of those that the audience gets
};

// One side, with what reading, linking and selecting reported.
struct JudgedSide {
  Side side;
  Diagnostics diagnostics;
};

// The files of both sides were aligned; the policy is the base's. What `audience` may not have is left out of the
// verdict, and told by number alone.
Verdict judge(JudgedSide base, JudgedSide proposal, const Contribution& contribution, Tier audience, unsigned jobs);

// The most triples that are looked at for a contribution.
inline constexpr std::size_t most_triples = 400'000;

}  // namespace bindery
