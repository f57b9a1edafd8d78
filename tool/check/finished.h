// The values of a finished profile, for formulas that judge it.
#pragma once

#include "formula/formula.h"
#include "resolve/profile.h"

namespace bindery {

class Finished : public FormulaInputs {
 public:
  explicit Finished(const Profile& profile) : profile_(profile) {}
  Value read(KeyId key) override { return key == other_ ? value_ : profile_.cells[key].value; }

  // Judges as if the setting had another value.
  void suppose(KeyId key, Value value) {
    other_ = key;
    value_ = value;
  }

 private:
  const Profile& profile_;
  KeyId other_ = no_key;
  Value value_;
};

}  // namespace bindery
