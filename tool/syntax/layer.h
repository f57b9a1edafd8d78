// What one fragment lays over what it inherits: settings, adjust, limits, scripts.
#pragma once

#include <list>
#include <optional>
#include <string>
#include <unordered_map>
#include <vector>

#include "syntax/fields.h"
#include "syntax/fragment.h"

namespace bindery {

class LayerReader {
 public:
  // Keys that are joined from nested ones go to `owned`.
  LayerReader(const Document& doc, std::list<std::string>& owned, Diagnostics& out)
      : doc_(doc), owned_(owned), out_(out), read_(doc, out) {}

  // Reads one part of a layer, by the field's key: `settings`, `adjust`, `limits` or `scripts`.
  void read(RawLayer& layer, const Field& field);

 private:
  std::vector<RawWrite> writes(const Field& field);
  void flatten(std::uint32_t node, std::string_view prefix, std::string_view what, std::vector<RawWrite>& out);
  bool has_operation(std::uint32_t node) const;
  std::optional<RawValue> raw_value(const Field& field, std::string_view key);
  std::optional<RawValue> operation(const Field& part, std::string_view key);
  std::vector<RawLimit> limits(const Field& field);
  std::optional<RawBound> read_bound(const Field& part);
  std::vector<RawScript> scripts(const Field& field);
  std::optional<Text> script_text(const Field& field);

  const Document& doc_;
  std::list<std::string>& owned_;
  Diagnostics& out_;
  FieldReader read_;
  std::unordered_map<std::string_view, Span> seen_;  // keys of the mapping at hand
};

}  // namespace bindery
