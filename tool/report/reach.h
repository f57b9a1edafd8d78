// A set of profiles in words that a person would use: "all 0.4 mm machines with PETG".
#pragma once

#include <array>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "changes/changes.h"

namespace bindery {

class ReachTeller {
 public:
  // `changes` must outlive the teller.
  explicit ReachTeller(const Changes& changes);

  // `profiles` are indexes in Changes::profiles. The words start small and hold the number of profiles.
  const std::string& tell(std::vector<std::uint32_t> profiles);

 private:
  using Names = std::set<std::uint32_t>;
  using Box = std::array<Names, kind_count>;
  using Indexes = std::vector<std::uint32_t>;

  // Profiles that came, went or stayed, of which a set is a part, and the names that they have.
  struct Stage {
    Indexes all;
    Box names;
  };
  void choose_stage(const Indexes& profiles);

  std::string words_of(const Indexes& profiles);
  std::string fallback(const Indexes& profiles) const;
  Box box_of(const Indexes& profiles) const;
  std::size_t inside(const Box& box, const std::array<bool, kind_count>& bound) const;
  std::optional<Box> as_box(const Indexes& profiles) const;
  std::vector<Indexes> split(const Indexes& profiles) const;
  std::string box_words(const Box& box, std::size_t size) const;
  std::string machine_words(const Names& names) const;
  Names with_nozzle(const Names& names, const std::string& nozzle) const;
  Names on_stage(std::size_t kind, const Family& family) const;
  std::string names_words(std::size_t kind, const Names& names) const;
  std::string title_of(std::size_t kind, std::uint32_t name) const;

  const Changes& changes_;
  std::vector<int> came_;  // by profile: 0 stayed, 1 came, 2 went, -1 an alias
  std::map<int, Stage> stages_;
  const Stage* stage_ = nullptr;
  std::array<std::map<std::string, std::size_t>, kind_count> titles_;  // how many bear each
  std::map<Indexes, std::string> known_;
};

}  // namespace bindery
