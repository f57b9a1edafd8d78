// Finding a key, and replacing its value.
#include "edit/editor.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/words.h"
#include "edit/writing.h"

namespace bindery {

Editor::Editor(FileId id, const SourceFile& file, const Document& doc, const FragmentEdit& edit)
    : place{id, 0, 0},
      id_(id),
      text_(file.text),
      doc_(doc),
      edit_(edit),
      places_(file, doc),
      section_(edit.adjust ? "adjust" : "settings") {
  learn_style();
}

// Line breaks, depth of blocks and blanks in braces, each as the file first has it.
void Editor::learn_style() {
  std::size_t first = text_.find('\n');
  if (first != std::string_view::npos && first > 0 && text_[first - 1] == '\r') line_break_ = "\r\n";
  bool knows_step = false, knows_braces = false;
  for (std::uint32_t node = 0; node < doc_.nodes.size(); ++node) {
    if (doc_[node].kind != NodeKind::mapping || doc_[node].next == node + 1) continue;
    if (places_.is_flow(node)) {
      char inside = text_[places_.begin(node) + 1];
      if (knows_braces || inside == '\n' || inside == '\r' || inside == '#') continue;
      padded_ = inside == ' ';
      knows_braces = true;
      continue;
    }
    for (const Entry& each : entries(node)) {
      if (knows_step || doc_[each.value].kind != NodeKind::mapping || places_.is_flow(each.value)) continue;
      if (places_.column(each.value) <= places_.column(node)) continue;
      step_ = places_.column(each.value) - places_.column(node);
      knows_step = true;
    }
  }
}

std::vector<Editor::Entry> Editor::entries(std::uint32_t mapping) const {
  std::vector<Entry> out;
  if (doc_[mapping].kind != NodeKind::mapping) return out;
  for (std::uint32_t key = mapping + 1; key < doc_[mapping].next; key = doc_[key + 1].next)
    out.push_back({mapping, key, key + 1});
  return out;
}

std::optional<Editor::Entry> Editor::entry(std::uint32_t mapping, std::string_view key) const {
  for (const Entry& each : entries(mapping)) {
    if (doc_[each.key].text.text == key) return each;
  }
  return std::nullopt;
}

// A mapping of further keys, and no operation.
bool Editor::is_group(std::uint32_t node) const {
  if (doc_[node].kind != NodeKind::mapping) return false;
  auto all = entries(node);
  return std::none_of(all.begin(), all.end(),
                      [&](const Entry& each) { return operation_named(doc_[each.key].text.text).has_value(); });
}

bool Editor::refuse(std::string message, std::string help, Diagnostics& out) const {
  out.add(Code::import_conflict, place, std::move(message)).with_help(std::move(help));
  return false;
}

bool Editor::run(std::optional<std::string_view> fitting, Diagnostics& out) {
  auto holds_no_key = [&](std::string_view name) {
    return refuse(fmt::format("'{}' is no mapping, so it cannot hold '{}'", name, edit_.key),
                  "write `key: value` pairs below it", out);
  };
  std::uint32_t fragment = 0;
  if (fitting) {
    auto fittings = entry(0, "fittings");
    auto named = fittings ? entry(fittings->value, *fitting) : std::nullopt;
    if (!named) {
      out.add(Code::fragment_unknown, place, fmt::format("this file has no fitting '{}'", *fitting))
          .with_help("add it below `fittings:` first");
      return false;
    }
    place = doc_[named->key].text.span;
    fragment = named->value;
    if (doc_[fragment].kind == NodeKind::null) {
      add_below(*named, {section_});
      return true;
    }
    if (doc_[fragment].kind != NodeKind::mapping) return holds_no_key(*fitting);
  }
  auto section = entry(fragment, section_);
  if (!section) {
    add_section(fragment);
    return true;
  }
  place = doc_[section->key].text.span;
  if (doc_[section->value].kind == NodeKind::null) {
    add_below(*section, {});
    return true;
  }
  if (doc_[section->value].kind != NodeKind::mapping) return holds_no_key(section_);
  deepest_ = section->value;
  search(section->value, 0);
  if (!found_) {
    add_to(deepest_, {});
    return true;
  }
  place = doc_[found_->key].text.span;
  if (is_group(found_->value))
    return refuse(fmt::format("'{}' holds other keys here, so it cannot take a value", edit_.key),
                  "no key is the beginning of another: rename one of them", out);
  replace(*found_);
  return true;
}

// Looks below a mapping for what is left of the key behind its first `length` letters.
void Editor::search(std::uint32_t mapping, std::size_t length) {
  std::string_view rest = std::string_view(edit_.key).substr(length);
  for (const Entry& each : entries(mapping)) {
    std::string_view key = doc_[each.key].text.text;
    if (key == rest) {
      if (!found_) found_ = each;
    } else if (rest.size() > key.size() && rest.starts_with(key) && rest[key.size()] == '.' && is_group(each.value)) {
      std::size_t beginning = length + key.size() + 1;
      if (beginning > length_) {
        deepest_ = each.value;
        length_ = beginning;
      }
      search(each.value, beginning);
    }
  }
}

void Editor::replace(const Entry& entry) {
  auto inner = is_group(entry.value) ? std::vector<Entry>{} : entries(entry.value);
  if (edit_.op == OpKind::set || inner.size() != 1) {
    put(entry, written_value(edit_, places_.is_flow(entry.mapping), is_padded(entry.mapping)),
        edit_.op == OpKind::set && edit_.is_list);
    return;
  }
  const Entry& operation = inner.front();
  if (doc_[operation.key].text.text != name_of(edit_.op))
    change(places_.begin(operation.key), places_.end(operation.key), std::string(name_of(edit_.op)));
  put(operation, written_operand(edit_, places_.is_flow(operation.mapping)), gives_list(edit_));
}

// Gives an entry another value; `is_list` where the text is the edit's list and nothing else.
void Editor::put(const Entry& entry, const std::string& text, bool is_list) {
  std::uint32_t node = entry.value;
  std::size_t begin = places_.begin(node), end = end_of_words(node);
  bool is_collection = doc_[node].kind == NodeKind::mapping || doc_[node].kind == NodeKind::list;
  if (begin == end) {
    change(begin, end, (places_.has_colon(entry.key) ? " " : ": ") + text);
  } else if (is_collection && !places_.is_flow(node)) {
    if (is_list && doc_[node].kind == NodeKind::list && !edit_.items.empty()) put_list(node);
    else put_on_line_of_key(entry, text);
  } else if (places_.is_block_text(node)) {
    std::size_t line = places_.line_end(begin);
    change(begin, std::min(text_.find_first_of(" \t", begin), line), text);
    if (end > line) change(line, end, "");
  } else {
    change(begin, end, text);
  }
}

// A list in block style stays one.
void Editor::put_list(std::uint32_t list) {
  std::string text;
  for (const std::string& item : edit_.items) {
    if (!text.empty()) text.append(line_break_).append(places_.indentation(list));
    text += "- " + written_scalar(item, false);
  }
  change(places_.begin(list), end_of_words(list), text);
}

// What stood on lines of its own below a key gives way to one word, which stands on the key's line; comments between
// the two stay.
void Editor::put_on_line_of_key(const Entry& entry, const std::string& text) {
  std::size_t behind = places_.behind(entry.key), begin = places_.begin(entry.value), end = end_of_words(entry.value);
  if (text_.find_first_not_of(" \t\r\n", behind) == begin) return change(behind, end, " " + text);
  change(behind, behind, " " + text);
  std::size_t line = places_.line_start(begin);
  change(line == 0 ? begin : places_.line_end(places_.line_start(line - 1)), end, "");
}

// The end of a value without the blank lines that a text may keep below it.
std::size_t Editor::end_of_words(std::uint32_t node) const {
  std::size_t end = places_.end(node);
  while (end > places_.begin(node) && std::string_view(" \t\r\n").find(text_[end - 1]) != std::string_view::npos) --end;
  return end;
}

void Editor::change(std::size_t begin, std::size_t end, std::string text) {
  changes.push_back({begin, end, std::move(text)});
}

}  // namespace bindery
