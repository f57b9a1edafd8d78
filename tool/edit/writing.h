// Values of the language as YAML.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "edit/edit.h"

namespace bindery {

// The text as a scalar that is read as this text: plain, or in double quotes where YAML would read it otherwise. Inside
// brackets more asks for quotes.
std::string written_scalar(std::string_view text, bool in_flow);

// `[one, other]`
std::string written_list(const std::vector<std::string>& items);

// `key: value`; the value is YAML already.
std::string written_pair(std::string_view key, std::string_view value, bool in_flow);

// `{ pair }`, or `{pair}` where it is not padded.
std::string in_braces(std::string_view pair, bool padded);

// Does the edit give a list, by itself or to its operation?
bool gives_list(const FragmentEdit& edit);

// What the edit gives, without its operation: a scalar, a list, or the `true` of `unset`.
std::string written_operand(const FragmentEdit& edit, bool in_flow);

// The whole value, as in `{ add: 5 K }`.
std::string written_value(const FragmentEdit& edit, bool in_flow, bool padded);

}  // namespace bindery
