#include "dialect/draft.h"

#include <fmt/format.h>

#include "base/json.h"
#include "base/utf8.h"

namespace bindery {

namespace {

std::string layout_text(FileFamily family, const Layout& layout) {
  std::vector<std::string> parts;
  auto add = [&](std::string_view name, std::string_view value) {
    parts.push_back(fmt::format("{}: {}", name, json_quoted(value)));
  };
  Layout plain;
  if (family == FileFamily::ini) {
    if (layout.separator != plain.separator) add("separator", layout.separator);
    if (layout.comment != plain.comment) add("comment", layout.comment);
  } else if (family == FileFamily::csv) {
    if (layout.delimiter != plain.delimiter) add("delimiter", std::string(1, layout.delimiter));
  } else {
    if (layout.indent != plain.indent) add("indent", std::to_string(layout.indent));
  }
  if (family == FileFamily::xml) {
    add("root", layout.root);
    if (!layout.item.empty()) add("item", layout.item);
    if (layout.key_in != plain.key_in) add("key_in", layout.key_in);
    if (!layout.value_in.empty()) add("value_in", layout.value_in);
    if (!layout.section.empty()) add("section", layout.section);
  }
  return parts.empty() ? "" : fmt::format("    layout: {{ {} }}\n", fmt::join(parts, ", "));
}

// A comment in which what the profile is called is a placeholder.
std::string told_again(const Tree& tree, const Profile& like, std::string comment) {
  for (const auto& [word, text] : {std::pair<std::string, std::string>{"id", profile_id(tree, like.triple)},
                                   {"title", profile_title(tree, like.triple)}}) {
    if (std::size_t at = comment.find(text); at != std::string::npos)
      comment.replace(at, text.size(), fmt::format("@{{{}}}", word));
  }
  return comment;
}

std::string constant_text(const Entry& entry) {
  if (!entry.list && entry.values.size() == 1) return json_quoted(entry.values.front().text);
  std::vector<std::string> items;
  for (const Scalar& each : entry.values) items.push_back(json_quoted(each.text));
  return fmt::format("[{}]", fmt::join(items, ", "));
}

std::string row_text(const Tree& tree, const Entry& entry, const Guess& guess) {
  std::string row = fmt::format("key: {}", json_quoted(entry.key));
  if (!entry.section.empty()) {
    std::vector<std::string> parts;
    for (const std::string& part : entry.section) parts.push_back(json_quoted(part));
    row += fmt::format(", section: [{}]", fmt::join(parts, ", "));
  }
  switch (guess.of) {
    case Guess::Of::setting:
      row += fmt::format(", from: {}{}", tree.dictionary.settings[guess.key].key, guess.format);
      break;
    case Guess::Of::told: row += fmt::format(", tell: {}", guess.told); break;
    case Guess::Of::script: row += fmt::format(", script: {}", name_of(guess.slot)); break;
    case Guess::Of::constant:
      row += fmt::format(", text: {}", constant_text(entry));
      if (!entry.values.empty() && entry.values.front().bare) row += ", bare: true";
      break;
  }
  return row;
}

}  // namespace

std::string draft_text(const Tree& tree, const Profile* like, const std::vector<DraftFile>& files,
                       const std::vector<std::vector<Guess>>& guesses) {
  std::string out =
      "# A draft: read each row, mend what was guessed wrong, and see `dialect check`.\ntitle: Draft\ntried: "
      "[]\nfiles:\n";
  for (std::size_t f = 0; f < files.size(); ++f) {
    const DraftFile& file = files[f];
    std::string_view name = std::string_view(file.path).substr(file.path.rfind('/') + 1);
    std::size_t point = name.rfind('.');
    std::string ending(point == std::string_view::npos || point == 0 ? std::string_view() : name.substr(point));
    out += fmt::format("  {}:\n    family: {}\n{}", files.size() == 1 ? "main" : fmt::format("file{}", f + 1),
                       name_of(file.family), layout_text(file.family, file.layout));
    out += fmt::format("    path: {}\n",
                       json_quoted(fmt::format("{}@{{machine}}/@{{material}}/@{{process}}{}",
                                               files.size() == 1 ? "" : fmt::format("{}/", f + 1), ending)));
    if (!file.content.comments.empty()) {
      std::string comment = fmt::format("{}", fmt::join(file.content.comments, "\n"));
      out +=
          fmt::format("    comment: {}\n", json_quoted(like == nullptr ? comment : told_again(tree, *like, comment)));
    }
    out += "    rows:\n";
    for (std::size_t i = 0; i < file.content.entries.size(); ++i) {
      const Guess& guess = guesses[f][i];
      if (!guess.reason.empty())
        out += fmt::format("      # {} ({})\n", one_line(guess.reason),
                           guess.of == Guess::Of::constant ? "kept as it is" : name_of(guess.confidence));
      out += fmt::format("      - {{ {} }}\n", row_text(tree, file.content.entries[i], guess));
    }
  }
  return out;
}

}  // namespace bindery
