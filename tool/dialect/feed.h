// What a formula row writes of a profile, and which value of its setting would have written what was read.
#pragma once

#include <optional>
#include <string>

#include "dialect/cell.h"
#include "resolve/profile.h"

namespace bindery {

class RowFeed {
 public:
  // A row that a formula feeds.
  RowFeed(const Tree& tree, const Row& row);

  CellValue::Of sort() const { return sort_; }
  bool is_list() const { return list_; }
  // The one setting that the formula reads; no_key where it reads none or several.
  KeyId key() const { return row_.formula.keys.size() == 1 ? row_.formula.keys.front() : no_key; }

  // The row's value, in its unit. Nothing where a setting that it reads is unset, and with a reason where the formula
  // has no value.
  std::optional<CellValue> value(const Profile& profile, std::string& why) const;

  // Does the value follow one number as a straight line, so that it can be turned back? A setting alone does.
  bool can_turn_back(const Profile& profile) const;

  // The value of the setting, in its own unit, with which the row would have this value; the rest of the profile as it
  // is. Nothing where it cannot be turned back.
  std::optional<CellValue> turned_back(const Profile& profile, const CellValue& value) const;

 private:
  // The row's number where the setting has another one.
  std::optional<double> at(const Profile& profile, double number) const;
  struct Line {
    double from, at_from, slope;
  };
  std::optional<Line> line(const Profile& profile) const;

  const Tree& tree_;
  const Row& row_;
  CellValue::Of sort_ = CellValue::Of::word;
  bool list_ = false;
};

}  // namespace bindery
