// The dictionary for editors and for readers: a JSON Schema of a fragment, and a reference of all settings.
#pragma once

#include <string>

#include "schema/dictionary.h"

namespace bindery {

// A draft-07 schema that any fragment, read as JSON, must satisfy. It knows keys in their nested and dotted
// forms and the form of each value; dimensions, ranges and kinds are `validate`'s to judge.
std::string fragment_schema(const Dictionary& dictionary);

// Every setting and rule in Markdown, by group.
std::string dictionary_markdown(const Dictionary& dictionary);

}  // namespace bindery
