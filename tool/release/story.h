// What a release says of its past: the changelog of each tier, and the version that the changes ask for.
#pragma once

#include <array>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "chronicle/chapter.h"

namespace bindery {

// What cannot be told is reported: as an error, or where it may be `left_out`, as a warning.
class StoryTeller {
 public:
  StoryTeller(const Chronicle& chronicle, bool left_out) : chronicle_(chronicle), left_out_(left_out) {}

  // The release before that version, or before the next one.
  std::optional<SideSource> before(const std::optional<Version>& version, Diagnostics& out) const;

  // The ids of the profiles that an audience gets, sorted by their names.
  using Profiles = std::function<std::vector<std::string>(Tier)>;
  // What is to be released.
  struct Publication {
    SideSource source;
    std::optional<Side> side;  // its tree; not needed where nothing came before
    Profiles profiles;
  };

  // The chapter of what is to be released, for each tier, and the version that they ask for.
  struct Latest {
    std::array<Chapter, 2> chapters;  // by tier
    Version suggested;
    std::string reason;
  };
  Latest latest(const std::optional<SideSource>& from, const Publication& now, Diagnostics& out) const;

  // The whole changelog of each tier.
  std::array<std::string, 2> changelogs(const std::array<Chapter, 2>& latest, const std::optional<SideSource>& from,
                                        const SideSource& to, Diagnostics& out) const;

 private:
  std::string earlier_chapter(const SideSource& at, const std::optional<SideSource>& earlier, Tier audience,
                              const std::vector<ChapterNote>& notes, Diagnostics& out) const;
  void report(Code code, std::string message, std::string help, Diagnostics& out) const;

  const Chronicle& chronicle_;
  bool left_out_;
};

}  // namespace bindery
