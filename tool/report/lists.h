// What `list` prints: the parts of a tree, as a table or as a JSON list of objects.
#pragma once

#include <string>

#include "resolve/select.h"
#include "resolve/tree.h"

namespace bindery {

std::string fragments_text(const Tree& tree, Kind kind);
std::string fragments_json(const Tree& tree, Kind kind);
std::string profiles_text(const Tree& tree, const Selection& selection);
std::string profiles_json(const Tree& tree, const Selection& selection);
std::string sets_text(const Tree& tree, const Selection& selection);
std::string sets_json(const Tree& tree, const Selection& selection);
std::string settings_text(const Dictionary& dictionary);
std::string settings_json(const Dictionary& dictionary);  // the dictionary, as settings.json in a release
std::string rules_text(const Dictionary& dictionary);
std::string rules_json(const Dictionary& dictionary);
std::string codes_text();
std::string codes_json();

// Rows under a head, each column as wide as its widest cell, the last one ragged.
std::string table_text(const std::vector<std::vector<std::string>>& rows);

}  // namespace bindery
