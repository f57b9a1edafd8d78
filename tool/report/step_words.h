// A change of one value in words: "150 -> 180 mm/s, +20 %".
#pragma once

#include <string>
#include <vector>

#include "changes/changes.h"

namespace bindery {

// A value as the language writes it, with its unit; "unset" where there is none.
std::string value_words(const PlainValue& value, const std::string& unit);

// From one value to another, with unit, direction and size where both are numbers.
std::string step_words(const PlainValue& before, const PlainValue& after, const SettingName& setting);

// Several steps of a setting in one: "235 to 250 -> 240 to 255 degC, +5 K each", where they have one size or are more
// than `most`. Empty where they are better told one by one.
using ValueStep = std::pair<const PlainValue*, const PlainValue*>;
std::string steps_words(const std::vector<ValueStep>& steps, const SettingName& setting, std::size_t most);

}  // namespace bindery
