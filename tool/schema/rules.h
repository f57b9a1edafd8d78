// What stands on the settings of a dictionary: roles and rules.
#pragma once

#include <array>
#include <string>
#include <unordered_map>

#include "schema/dictionary.h"
#include "syntax/fields.h"

namespace bindery {

// What a field must name: a setting of this dimension; `words` tells it in a message ("an area").
struct WantedSetting {
  Dimension dimension;
  bool point = false;  // a temperature in degC, not a difference
  std::string words;
};

struct NamedSetting {
  KeyId key = no_key;
  bool poisoned = false;  // the entry is broken and reported already
};

// The setting that a field names; reports one that is unknown or of another dimension.
NamedSetting named_setting(const Dictionary& dictionary, FieldReader& read, const Field& field,
                           const WantedSetting& wanted, Diagnostics& out);

// Reads `roles:` and `rules:` into a dictionary whose settings are all known.
class RuleReader {
 public:
  RuleReader(const Sources& sources, Dictionary& dictionary, Diagnostics& out)
      : sources_(sources), dictionary_(dictionary), out_(out) {}

  void read_roles(const Document& doc, const Field& roles);
  void read_rules(const Document& doc, const Field& rules);

 private:
  void read_rule(FieldReader& read, const Field& entry);
  KeyId named_by_form(FieldReader& read, const Field& field, const RoleForm& form);

  const Sources& sources_;
  Dictionary& dictionary_;
  Diagnostics& out_;
  std::array<Span, role_count> role_places_{};
  std::unordered_map<std::string_view, Span> rule_places_;
};

}  // namespace bindery
