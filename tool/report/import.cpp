#include "report/import.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/json.h"
#include "base/words.h"
#include "report/lists.h"

namespace bindery {

namespace {

std::string_view name_of(Remainder::Of of) {
  switch (of) {
    case Remainder::Of::no_row: return "no row";
    case Remainder::Of::missing: return "missing in the file";
    case Remainder::Of::left_out: return "not written for this profile";
    case Remainder::Of::constant: return "the same for all profiles";
    case Remainder::Of::script: return "another script";
    case Remainder::Of::formula: return "a formula that cannot be turned back";
  }
  return "";
}

// One line of a text, shortened.
std::string shown(const std::string& text) {
  constexpr std::size_t most = 60;
  std::string line = one_line(text);
  if (line.size() <= most) return line;
  std::size_t end = most;
  while (end > 0 && (static_cast<unsigned char>(line[end]) & 0xc0) == 0x80) --end;
  return line.substr(0, end) + "...";
}

std::string rest_text(const ReadBack& read) {
  if (read.rest.empty()) return {};
  std::vector<std::vector<std::string>> rows;
  for (const Remainder& each : read.rest) {
    std::string what = shown(each.of == Remainder::Of::missing ? each.expected : each.text);
    if (each.of == Remainder::Of::constant || each.of == Remainder::Of::formula)
      what += fmt::format(" (the profile gives {})", shown(each.expected));
    rows.push_back({"  " + one_line(each.key), std::string(name_of(each.of)), what});
  }
  return fmt::format("\nNot brought back:\n{}", table_text(rows));
}

std::string text_report(const Tree& tree, const ReadBack& read, const Proposal* proposal,
                        const ImportOutcome& outcome) {
  std::string out;
  for (const auto& [path, name] : read.files)
    out += fmt::format("{}: the file '{}' of the dialect '{}'\n", path, name, outcome.dialect);
  if (proposal == nullptr)
    return out + fmt::format("\nNo value differs from {}.\n{}", outcome.profile, rest_text(read));
  auto count = static_cast<std::size_t>(
      std::count_if(proposal->lines.begin(), proposal->lines.end(), [](const Proposed& line) { return !line.held; }));
  out += fmt::format("\n{} from {}:\n", count == 1 ? "1 value differs" : fmt::format("{} values differ", count),
                     outcome.profile);
  std::vector<std::vector<std::string>> rows, held;
  for (const Proposed& line : proposal->lines) {
    std::string key(tree.dictionary.settings[line.key].key);
    if (line.held) held.push_back({"  " + key, line.after, line.where});
    else rows.push_back({"  " + key, fmt::format("{} -> {}", line.before, line.after), line.where});
  }
  out += table_text(rows);
  for (const Proposed& line : proposal->lines) {
    if (!line.note.empty() && !line.held)
      out += fmt::format("    {}: {}\n", tree.dictionary.settings[line.key].key, line.note);
  }
  if (!held.empty())
    out += fmt::format("\nFormulas would change what the {} still {}, so {} held (--follow lets {} change):\n{}",
                       read.files.size() == 1 ? "file" : "files", read.files.size() == 1 ? "has" : "have",
                       held.size() == 1 ? "one value is" : fmt::format("{} values are", held.size()),
                       held.size() == 1 ? "it" : "them", table_text(held));
  out += '\n';
  for (const auto& file : outcome.files) out += unified_diff(file.path, file.before, file.after);
  if (!outcome.followed.empty()) {
    out += fmt::format("\nBesides, {} by formulas:\n",
                       outcome.followed.size() == 1 ? "this setting follows" : "these settings follow");
    rows.clear();
    for (const auto& each : outcome.followed)
      rows.push_back({"  " + each.key, fmt::format("{} -> {}", each.before, each.after)});
    out += table_text(rows);
  }
  if (outcome.others > 0)
    out += fmt::format("\nThe edited fragments are part of {} of the sets; --new NAME would leave {} as {}.\n",
                       counted(outcome.others, "other profile"), outcome.others == 1 ? "it" : "them",
                       outcome.others == 1 ? "it is" : "they are");
  out += rest_text(read);
  out += outcome.wrote ? "\nWritten.\n" : "\nNothing is written; add --write to change the tree.\n";
  return out;
}

std::string json_report(const Tree& tree, const ReadBack& read, const Proposal* proposal,
                        const ImportOutcome& outcome) {
  JsonWriter json;
  json.open_object()
      .field("dialect", outcome.dialect)
      .field("profile", outcome.profile)
      .field_or_null("new", outcome.fresh);
  json.key("read").open_list();
  for (const auto& [path, name] : read.files) json.open_object().field("file", path).field("as", name).close();
  json.close().key("changes").open_list();
  if (proposal != nullptr) {
    for (const Proposed& line : proposal->lines)
      json.open_object()
          .field("setting", tree.dictionary.settings[line.key].key)
          .field("before", line.before)
          .field("after", line.after)
          .field("fragment", line.where)
          .field("line", line.line)
          .key("held")
          .flag(line.held)
          .field_or_null("note", line.note)
          .close();
  }
  json.close().key("files").open_list();
  for (const auto& file : outcome.files)
    json.open_object()
        .field("path", file.path)
        .key("new")
        .flag(file.is_new)
        .field("diff", unified_diff(file.path, file.before, file.after))
        .close();
  json.close().key("followed").open_list();
  for (const auto& each : outcome.followed)
    json.open_object().field("setting", each.key).field("before", each.before).field("after", each.after).close();
  json.close().key("other_profiles").whole(static_cast<long long>(outcome.others));
  json.key("rest").open_list();
  for (const Remainder& each : read.rest)
    json.open_object()
        .field("key", each.key)
        .field("why", name_of(each.of))
        .field("text", each.text)
        .field_or_null("expected", each.expected)
        .close();
  json.close().key("written").flag(outcome.wrote).close();
  return json.finish();
}

}  // namespace

std::string import_report(const Tree& tree, const ReadBack& read, const Proposal* proposal,
                          const ImportOutcome& outcome, bool json) {
  return json ? json_report(tree, read, proposal, outcome) : text_report(tree, read, proposal, outcome);
}

}  // namespace bindery
