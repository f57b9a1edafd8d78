// Files below .bindery/ of a tree: what may be lost at any time, and is never believed unless its bytes are whole.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace bindery {

// What was kept there; nothing where there is no file, a larger one than `largest`, or one whose bytes are not what this
// very program wrote, with the libraries that it runs with now.
std::optional<std::string> read_kept(const std::filesystem::path& path, std::uintmax_t largest);

// Keeps it in a folder of .bindery/, beside the target and then by a rename, so that a killed or a second process
// leaves one or the other. False where it cannot be written.
bool write_kept(const std::filesystem::path& path, std::string_view body);

}  // namespace bindery
