// Numbers for texts, values and sets of causes that recur.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "changes/changes.h"

namespace bindery {

// A value of a tree as plain JSON.
PlainValue plain(const Value& value);

class Pool {
 public:
  explicit Pool(Changes& changes) : changes_(changes) {}

  std::uint32_t value(const PlainValue& value) {
    auto [at, fresh] = values_.emplace(value.json, static_cast<std::uint32_t>(changes_.values.size()));
    if (fresh) changes_.values.push_back(value);
    return at->second;
  }

  // 0 for an absent text.
  std::uint32_t text(const std::optional<std::string>& text) {
    if (changes_.texts.empty()) changes_.texts.emplace_back();
    if (!text) return 0;
    auto [at, fresh] = texts_.emplace(*text, static_cast<std::uint32_t>(changes_.texts.size()));
    if (fresh) changes_.texts.push_back(*text);
    return at->second;
  }

 private:
  Changes& changes_;
  std::unordered_map<std::string, std::uint32_t> values_, texts_;
};

// The member of `list` with these causes, made where there is none; `index` remembers.
template <typename T, typename Causes>
T& with_causes(std::vector<T>& list, std::map<std::vector<std::uint32_t>, std::size_t>& index, const Causes& causes) {
  std::vector<std::uint32_t> key(causes.begin(), causes.end());
  auto [at, fresh] = index.emplace(key, list.size());
  if (fresh) list.emplace_back().causes = std::move(key);
  return list[at->second];
}

// Who is on stage, and the words for it.
void name_profiles(const Side& from, const Side& to, const std::vector<struct Pair>& pairs, Changes& out);
void name_settings(const Dictionary& from, const Dictionary& to, const struct CommonKeys& keys, Changes& out);

}  // namespace bindery
