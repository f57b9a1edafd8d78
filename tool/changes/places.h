// Why a profile is on one side alone, or in another tier or status: by which edits.
#pragma once

#include "changes/pairs.h"
#include "changes/trace.h"

namespace bindery {

class PlaceTracer {
 public:
  PlaceTracer(const Side& from, const Side& to, const EditTable& edits, const FragmentMap& map, const CommonKeys& keys,
              Tier audience);

  EditSet causes_of(const Pair& pair);

 private:
  const Tree& tree(std::size_t side) const { return *sides_[side].tree; }
  bool add(std::size_t side, const Address& address);
  void alone(std::size_t side, const Triple& here);
  bool add_missing(std::size_t side, const Triple& here, const Triple& twin);
  bool add_unfit(std::size_t side, const Triple& here, const Triple& twin);
  void add_header(std::size_t side, FragmentId id, Part part, const char* name);
  bool add_status(std::size_t side, const Triple& here, const Triple& twin);
  void add_refusal(std::size_t side, const Triple& here, const Triple& twin, const Refusal& refusal);
  void add_facts(std::size_t side, const Triple& here, const Triple& twin, const Formula& where);
  void moved(const Triple& old, const Triple& now);
  void moved_tier(const Triple& old, const Triple& now);
  void add_draft(const Triple& old, const Triple& now);
  void moved_status(const Triple& old, const Triple& now);
  bool add_tier(std::size_t side, const Triple& here, const Triple& twin, bool all);
  std::vector<std::string> takers(std::size_t plan_of, std::size_t side, const Triple& triple, Tier most) const;
  Tier set_tier(std::size_t side, const Triple& triple) const;
  bool add_sets(std::size_t side, const Triple& here, Tier most, bool all);
  const Selected* find(std::size_t side, const Triple& triple) const;

  std::array<Side, 2> sides_;
  std::array<const Tree*, 2> trees_;
  const EditTable& edits_;
  const FragmentMap& map_;
  const CommonKeys& keys_;
  Tier audience_;
  std::array<Resolver, 2> resolvers_;
  EditSet out_;
};

}  // namespace bindery
