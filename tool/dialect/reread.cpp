#include "dialect/reread.h"

#include <map>

#include <fmt/format.h>

namespace bindery {

namespace {

// The texts at each place of a file. Where records are numbered, a part's number takes the place of its name.
using Texts = std::map<std::pair<std::vector<std::string>, std::string>, std::vector<std::string>>;

void add(Texts& texts, std::vector<std::string> section, const Entry& entry) {
  if (entry.values.empty()) return;  // an empty list may come back as nothing
  auto& own = texts[{std::move(section), entry.key}];
  for (const Scalar& value : entry.values) own.push_back(value.text);
}

Texts texts_of(const DialectFile& form, const std::vector<const PressedPart*>& parts) {
  bool numbered = form.for_all && (form.family == FileFamily::csv || form.family == FileFamily::text);
  Texts out;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    for (const PartRow& row : parts[i]->rows) {
      add(out, numbered ? std::vector{std::to_string(i + 1)} : row.entry.section, row.entry);
    }
  }
  return out;
}

}  // namespace

Reread reread(const Press& press, std::size_t file, const std::vector<const PressedPart*>& parts) {
  const DialectFile& form = press.dialect().files[file];
  SourceFile source;
  source.path = parts.front()->path;
  source.text = press.bytes(file, parts);
  Reread out;
  out.bytes = source.text.size();
  Diagnostics reports;
  auto content = read_program_file(form, 0, source, reports);
  if (!content) {
    out.fault = reports.items().empty() ? "it cannot be read" : reports.items().front().message;
    return out;
  }
  Texts wanted = texts_of(form, parts), read;
  for (const Entry& entry : content->entries) add(read, entry.section, entry);
  if (wanted == read) return out;
  for (const auto& [place, texts] : wanted) {
    auto at = read.find(place);
    if (at != read.end() && at->second == texts) continue;
    out.fault = fmt::format("'{}' comes back otherwise", place.second);
    return out;
  }
  out.fault = "more comes back than was written";
  return out;
}

}  // namespace bindery
