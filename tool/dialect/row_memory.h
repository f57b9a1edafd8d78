// What the rows of dialects wrote for the profiles before.
#pragma once

#include <optional>
#include <string>
#include <unordered_map>

#include "dialect/cell.h"
#include "dialect/dialect.h"
#include "resolve/profile.h"

namespace bindery {

// What rows have written already: the same for all profiles that agree in the settings that a row reads. Of one thread.
class RowMemory {
 public:
  // What the row writes, if it was kept. The key stands until the next call, for keep().
  const std::optional<CellText>* find(const Row& row, const Profile& profile);
  void keep(std::optional<CellText> text);

 private:
  std::unordered_map<std::string, std::optional<CellText>> texts_;
  std::string key_;
};

}  // namespace bindery
