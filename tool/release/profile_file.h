// The file of a profile in an archive.
#pragma once

#include <string>
#include <vector>

#include "resolve/profile.h"
#include "resolve/select.h"

namespace bindery {

// Writes a profile as a fragment in JSON, a setting a line, compact: values as the language writes them, in the
// dictionary's order and units.
//
// Of one thread. Profiles that follow each other agree in most values: such a line is copied from the one before.
class ProfileWriter {
 public:
  explicit ProfileWriter(const Tree& tree);

  std::string write(const Selected& selected, const Profile& profile);

 private:
  // What the last profile that had a value wrote of a setting.
  struct Line {
    Value::Tag tag = Value::Tag::unset;
    double number = 0;
    bool flag = false;
    std::string word;
    std::string text;      // from the comma before it on
    std::size_t head = 0;  // of that, all but the value

    bool holds(const Value& value) const;
  };

  const Tree& tree_;
  std::vector<Line> lines_;
};

}  // namespace bindery
