// Paths of files that are written by a pattern.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace bindery {

// The longest path that a file is given, in bytes.
inline constexpr std::size_t longest_path = 200;

// Why a path may not be written ("leaves its folder with '..'"); empty where it may: relative, plain, and under names
// that every system holds.
std::string why_unsafe(std::string_view path);

}  // namespace bindery
