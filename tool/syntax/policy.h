// `policy:` of profiles-src/bindery.yaml: what a contribution may do.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "syntax/fields.h"
#include "syntax/fragment.h"

namespace bindery {

// What a contribution may have at most of.
enum class Measure : std::uint8_t { files, file_bytes, bytes, fragments, profiles, script_lines };
inline constexpr std::size_t measure_count = 6;
std::string_view name_of(Measure measure);

// Each part that is absent asks for nothing.
struct Policy {
  bool stated = false;
  Span span;
  std::vector<Text> paths;  // globs over paths from the root, `!` excludes; empty: any
  std::array<std::optional<std::uint64_t>, measure_count> at_most;
  std::vector<Text> headers;               // those that a fragment states itself
  bool sign_off = false;                   // each commit carries the sign-off of its author
  std::vector<Text> may_not_write;         // globs over settings
  std::optional<std::vector<Tier>> tiers;  // those that a fragment may claim
  std::vector<Status> evidence;            // those that a fragment is raised to only with a trial
};

Policy read_policy(const Document& doc, const Field& field, Diagnostics& out);

}  // namespace bindery
