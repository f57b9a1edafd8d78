#include "report/dialect.h"

#include <fmt/format.h>

#include "base/words.h"
#include "report/lists.h"

namespace bindery {

namespace {

std::vector<std::string> versions_of(const Dialect& dialect) {
  std::vector<std::string> out;
  for (const Text& version : dialect.tried) out.emplace_back(version.text);
  return out;
}

}  // namespace

std::string dialects_text(const std::vector<DialectTally>& tallies) {
  std::vector<std::vector<std::string>> rows = {{"DIALECT", "TIER", "FILES", "KB", "ROWS", "NEVER WRITTEN", "CARRIED",
                                                 "IN FORMULAS", "WITHOUT", "NOT CARRIED", "TRIED WITH"}};
  for (const DialectTally& each : tallies) {
    std::vector<std::string> versions = versions_of(*each.dialect);
    rows.push_back({each.dialect->name, std::string(name_of(each.dialect->tier)), std::to_string(each.files),
                    std::to_string((each.bytes + 999) / 1000), std::to_string(each.rows), std::to_string(each.unfed),
                    std::to_string(each.alone), std::to_string(each.in_formula), std::to_string(each.without),
                    std::to_string(each.uncarried), versions.empty() ? "nothing" : join_words(versions)});
  }
  return table_text(rows);
}

std::string dialects_json(const std::vector<DialectTally>& tallies, const Diagnostics& found, const Sources& sources) {
  JsonWriter json;
  json.open_object().key("dialects").open_list();
  for (const DialectTally& each : tallies) {
    auto number = [&](std::string_view name, std::size_t value) {
      json.key(name).whole(static_cast<long long>(value));
    };
    json.open_object()
        .field("id", each.dialect->name)
        .field("title", each.dialect->title)
        .field("tier", name_of(each.dialect->tier));
    json.key("tried").open_list();
    for (const std::string& version : versions_of(*each.dialect)) json.text(version);
    json.close();
    number("files", each.files);
    number("bytes", each.bytes);
    number("rows", each.rows);
    number("never_written", each.unfed);
    number("carried", each.alone);
    number("in_formulas", each.in_formula);
    number("without", each.without);
    number("not_carried", each.uncarried);
    json.close();
  }
  json.close().key("diagnostics");
  diagnostics_json(found, sources, json);
  json.close();
  return json.finish();
}

}  // namespace bindery
