// YAML by yaml-cpp, whole: what is right, and what is wrong with the rest.
#pragma once

#include <optional>

#include "syntax/document.h"

namespace bindery {

// Parses a sound text. yaml-cpp's events are read; what the language leaves out of YAML (aliases, tags, second
// documents, duplicate keys, depth beyond 32) is reported. Gives nothing where the file is no document of the
// language, after reporting why.
std::optional<Document> parse_yaml(FileId id, const SourceFile& file, Diagnostics& out);

}  // namespace bindery
