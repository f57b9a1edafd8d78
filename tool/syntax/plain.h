// The plain layout: what a fragment looks like when nothing in it needs a second look.
//
// yaml-cpp's scanner takes most of the time in which a large tree is checked, and all but a few files of a tree use
// a small part of YAML: block mappings and lists, flow collections, scalars of one line, comments. That part is read
// here in one pass over the bytes. Whatever else stands in a file, an error above all, is left to yaml-cpp.
#pragma once

#include <string_view>

#include "base/span.h"
#include "syntax/document.h"

namespace bindery {

// Reads a sound text into the tape that parse_yaml() makes of it, node by node. False where the text is not in the
// plain layout; then `out` is empty and nothing is said about the text, which may be right or wrong.
bool read_plain(FileId id, std::string_view text, Document& out);

}  // namespace bindery
