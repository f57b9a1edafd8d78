// A side that is known by what was published of it alone: the profiles of a release archive, without their sources.
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "changes/changes.h"

namespace bindery {

struct PublishedSetting {
  std::string title, unit;
  bool thermal = false;
};

struct PublishedProfile {
  Tier tier = Tier::free;
  Status status = Status::beta;
  std::map<std::string, PlainValue> settings;  // by key
  std::array<std::optional<std::string>, script_slots> scripts;
};

struct Published {
  std::string version, date;  // the date as its changelog tells it; empty where it does not
  Tier tier = Tier::free;     // whose archive it is
  std::map<std::string, PublishedSetting, std::less<>> settings;  // by key
  std::map<std::string, PublishedProfile> profiles;               // by id
};

// Is it a release archive (.zip), the release.json beside one, or the contents.json of an unpacked one?
bool is_published(const std::filesystem::path& path);

// Reads it. Throws UsageError where it is none, is damaged or lacks its archive.
Published read_published(const std::filesystem::path& path);

// What an audience gets of a tree.
Published publish(const Side& side, Tier audience, unsigned jobs, Diagnostics& out);

// Compares two published sides. Where the new one's tree is given, renames are followed by its `replaces`, and each
// difference has the operation for a cause that makes the new value; else there are no causes.
Changes compare_published(const Published& from, const Published& to, const View& view, const Side* tree);

}  // namespace bindery
