// Small helpers for words in messages: the nearest spelling, lists, plurals, globs.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace bindery {

// The candidate nearest to `word` by edit distance (insert, delete, replace, swap of neighbours);
// empty where none is near enough to be meant. Candidates longer than 200 bytes are passed over.
std::string nearest(std::string_view word, const std::vector<std::string_view>& candidates);

// "a, b and c".
std::string join_words(const std::vector<std::string>& words, std::string_view last = "and");

// "1 profile", "3 profiles".
std::string counted(std::size_t number, std::string_view singular, std::string_view plural = {});

// Does `text` match `pattern`, in which `*` stands for any run of characters and nothing else is special?
// Linear in the product of both lengths at worst.
bool glob_match(std::string_view pattern, std::string_view text);

inline bool is_glob(std::string_view pattern) { return pattern.find('*') != std::string_view::npos; }

// A name of a fragment or fitting part: [a-z0-9][a-z0-9.-]*
bool is_name(std::string_view text);

// A key: segments [a-z][a-z0-9_]* joined by dots.
bool is_key(std::string_view text);

}  // namespace bindery
