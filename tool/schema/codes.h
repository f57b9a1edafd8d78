// Reading `codes:` of the dictionary.
#pragma once

#include <vector>

#include "schema/dictionary.h"
#include "syntax/fields.h"

namespace bindery {

// Reads into a dictionary whose settings are all known.
class CodeReader {
 public:
  CodeReader(Dictionary& dictionary, Diagnostics& out) : dictionary_(dictionary), out_(out) {}

  void read(const Document& doc, const Field& codes);
  // Puts the list in order; reports codes that are defined twice.
  void finish();

 private:
  void read_entry(const Document& doc, const Text& key, std::uint32_t node, bool alternative);
  void read_words(FieldReader& read, const Field& field, MachineCode& code);
  void read_word(FieldReader& read, const Field& field, CodeWord& word);
  std::optional<CodeBound> read_bound(FieldReader& read, const Field& field, const Unit* unit);
  bool name_code(const Text& key, MachineCode& code);
  void check_entry(const Text& key, const MachineCode& code, bool heater);

  Dictionary& dictionary_;
  Diagnostics& out_;
  struct Read {
    MachineCode code;
    bool alternative = false;
  };
  std::vector<Read> read_;
};

}  // namespace bindery
