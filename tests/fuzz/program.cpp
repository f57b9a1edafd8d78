// Files of other programs in all five families: the first byte chooses the family and a layout, the rest is the file.
#include "dialect/family.h"
#include "fuzz.h"

using namespace bindery;
using fuzz::require;

namespace {

Layout layout_of(unsigned choice) {
  Layout out;
  if (choice % 2 == 1) {
    out.separator = ": ";
    out.comment = ";";
    out.indent = 0;
    out.delimiter = ';';
    out.item = "row";
    out.value_in = "is";
    out.section = "part";
  }
  return out;
}

// What can be written is read again as it was: names that the family holds, one value where no list is.
void write_and_read(FileFamily family, const Layout& layout, const FileContent& content) {
  for (const Entry& entry : content.entries) {
    if (!why_unfit(family, layout, entry.key, false).empty() || entry.values.empty()) return;
    for (const std::string& name : entry.section) {
      if (!why_unfit(family, layout, name, true).empty()) return;
    }
  }
  SourceFile file;
  file.text = write_content(family, layout, content);
  Diagnostics out;
  auto again = read_content(family, layout, 0, file, out);
  require(again.has_value(), "what was written is read");
  auto values = [](const FileContent& each) {
    std::map<std::pair<std::vector<std::string>, std::string>, std::vector<std::string>> all;
    for (const Entry& entry : each.entries) {
      auto& texts = all[{entry.section, entry.key}];
      for (const Scalar& value : entry.values) texts.push_back(value.text);
    }
    return all;
  };
  require(values(*again) == values(content), "what was written reads back as it was");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  auto family = static_cast<FileFamily>(data[0] % 5);
  Layout layout = layout_of(data[0] / 5);
  SourceFile file;
  file.path = "exported";
  file.text = fuzz::text_of(data + 1, size - 1);
  Sources sources;
  sources.files.push_back(file);
  Diagnostics out;
  auto content = read_content(family, layout, 0, sources[0], out);
  fuzz::require_sound(out, sources);
  require(content.has_value() || out.any_errors(), "a refusal is reported");
  if (auto seen = recognise_family(file.text)) recognise_layout(*seen, file.text);
  if (!content) return 0;
  for (const Entry& entry : content->entries) require(fuzz::is_place(entry.span, sources), "an entry stands at a place of the file");
  if (is_utf8(file.text)) write_and_read(family, layout, *content);
  return 0;
}
