// Which settings of which profiles an edit could change at all, so that the rest is not resolved.
#pragma once

#include <map>
#include <vector>

#include "changes/trace.h"

namespace bindery {

// What may differ in a pair of profiles. A bound from above: whatever is not in it is equal.
struct Reach {
  bool all = false;                    // every setting and script
  std::vector<std::uint32_t> numbers;  // settings, by common number, ascending
  bool scripts = false;

  bool nothing() const { return !all && numbers.empty() && !scripts; }
};

// Answers for pairs of triples; not shared between threads.
class ReachFinder {
 public:
  ReachFinder(const Tree& from, const Tree& to, const EditTable& edits, const FragmentMap& map, const CommonKeys& keys);

  const Reach& of(const Triple& old, const Triple& now);

 private:
  using Bits = std::vector<bool>;
  struct Touch {
    bool all = false, scripts = false;
    Bits settings;  // empty: none
  };

  void add_readers(std::size_t side);
  void touch_by(const EditTable& edits);
  void merge(const Touch& touch, Touch& into) const;
  const Touch& of_axis(FragmentId old, FragmentId now);
  Reach close(const Touch& touch) const;

  std::array<const Tree*, 2> trees_;
  const FragmentMap& map_;
  const CommonKeys& keys_;
  std::vector<std::vector<std::uint32_t>> readers_;  // by setting: those whose value it may enter
  Bits in_scripts_, facts_;
  Touch common_;                                    // by the dictionary
  std::array<std::map<FragmentId, Touch>, 2> own_;  // by edits of a fragment
  std::map<std::pair<FragmentId, FragmentId>, Touch> axes_;
  std::map<std::pair<Bits, int>, Reach> closed_;
  Reach everything_;
};

}  // namespace bindery
