// UTF-8, and the characters that make a text look other than it is.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>

namespace bindery {

// How many bytes from the start are UTF-8; overlong forms and surrogates are none.
std::size_t clean_length(std::string_view text);

// Are the bytes UTF-8 to the end?
bool is_utf8(std::string_view text);

// The first control or bidirectional character of a UTF-8 text, with its place; bytes that are no UTF-8 end the search.
struct HiddenCharacter {
  char32_t character;
  std::size_t at, length;
};
std::optional<HiddenCharacter> find_hidden(std::string_view text);

// Can the name of a file be shown as it is: UTF-8 without hidden characters, line breaks and tabs?
bool is_plain_name(std::string_view name);

// A text on one line: line breaks and tabs as blanks, what else is not plain as in plain_name().
std::string one_line(std::string_view text);

// The name as it can be shown: each byte of what is not plain as `\xNN`.
std::string plain_name(std::string_view name);

}  // namespace bindery
