// Adding a key where a fragment does not write it yet.
#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "edit/editor.h"
#include "edit/writing.h"

namespace bindery {

namespace {

// The keys of a fragment in the order of the language.
constexpr std::array<std::string_view, 17> key_order = {
    "title",    "about",  "extends", "abstract", "tier",   "status", "authors", "replaces", "fits",
    "settings", "adjust", "limits",  "when",     "locked", "macros", "scripts", "fittings"};

auto rank(std::string_view key) { return std::find(key_order.begin(), key_order.end(), key) - key_order.begin(); }

}  // namespace

void Editor::add_section(std::uint32_t fragment) {
  bool flow = places_.is_flow(fragment);
  auto all = entries(fragment);
  for (std::size_t i = 0; i < all.size(); ++i) {
    auto order = rank(doc_[all[i].key].text.text);
    if (order <= rank(section_) || order == static_cast<std::ptrdiff_t>(key_order.size())) continue;
    if (!flow && !places_.opens_line(places_.begin(all[i].key))) break;
    return add_before(all, i, stands_apart(all, i), {section_});
  }
  add_to(fragment, {section_});
}

// Adds before one of the entries of a mapping and the comments that stand directly above it.
void Editor::add_before(const std::vector<Entry>& all, std::size_t index, bool apart, const Headings& headings) {
  const Entry& later = all[index];
  std::size_t begin = places_.begin(later.key);
  std::string text;
  if (!places_.is_flow(later.mapping)) {
    text = lines(places_.indentation(later.mapping), headings);
  } else {
    text = one_line(is_padded(later.mapping), headings) + ",";
    if (!places_.opens_line(begin)) return change(begin, begin, text + " ");
    text.insert(0, text_.substr(places_.line_start(begin), begin - places_.line_start(begin)));
  }
  std::size_t line = places_.above(later.key, floor(all, index));
  text.append(line_break_);
  if (apart) text.append(line_break_);
  change(line, line, text);
}

void Editor::add_to(std::uint32_t mapping, const Headings& headings) {
  if (places_.is_flow(mapping)) add_to_flow(mapping, headings);
  else add_to_block(mapping, headings);
}

void Editor::add_to_block(std::uint32_t mapping, const Headings& headings) {
  auto all = entries(mapping);
  std::size_t last = all.size() - 1, end = places_.end(all[last].value);
  std::string text = lines(places_.indentation(mapping), headings);
  bool behind_break = text_[end - 1] == '\n';  // a text that keeps its last blank lines
  // A text at the end of a file without a last line break would gain one.
  bool would_gain = !behind_break && text_.find('\n', end) == std::string_view::npos;
  if (would_gain && places_.is_block_text(doc_[mapping].next - 1)) return add_before(all, last, false, headings);
  if (behind_break) return change(end, end, text.append(line_break_));
  if (!headings.empty() && stands_apart(all, last)) text.insert(0, line_break_);
  change(places_.line_end(end), places_.line_end(end), text.insert(0, line_break_));
}

void Editor::add_to_flow(std::uint32_t mapping, const Headings& headings) {
  std::string text = one_line(is_padded(mapping), headings);
  std::size_t open = places_.begin(mapping) + 1, close = places_.end(mapping) - 1;
  auto all = entries(mapping);
  if (all.empty()) {
    std::string_view inside = text_.substr(open, close - open);
    std::string_view blank = padded_ || !inside.empty() ? " " : "";
    if (inside.find_first_not_of(" \t") == std::string_view::npos)
      return change(open, close, fmt::format("{}{}{}", blank, text, blank));
    return change(close, close, text + " ");
  }
  const Entry& last = all.back();
  std::size_t begin = places_.begin(last.key), end = places_.end(last.value), comma = places_.skip(end);
  bool has_comma = comma < close && text_[comma] == ',';
  std::size_t behind = has_comma ? comma + 1 : end;
  bool own_line = places_.opens_line(begin) && places_.line_end(behind) < close;
  if (!own_line) return change(end, end, ", " + text);
  if (!has_comma) change(end, end, ",");
  text.insert(0, text_.substr(places_.line_start(begin), begin - places_.line_start(begin)));
  text.insert(0, line_break_);
  if (has_comma) text += ',';
  change(places_.line_end(behind), places_.line_end(behind), text);
}

// Gives a key that holds nothing its first pair.
void Editor::add_below(const Entry& entry, const Headings& headings) {
  std::size_t begin = places_.begin(entry.value), end = places_.end(entry.value);
  if (begin != end) return change(begin, end, in_braces(one_line(padded_, headings), padded_));
  if (places_.is_flow(entry.mapping)) {
    std::string_view colon = places_.has_colon(entry.key) ? " " : ": ";
    return change(end, end, fmt::format("{}{}", colon, in_braces(one_line(padded_, headings), padded_)));
  }
  std::string indentation = places_.indentation(entry.mapping) + std::string(step_, ' ');
  std::size_t line = places_.line_end(end);
  change(line, line, fmt::format("{}{}", line_break_, lines(std::move(indentation), headings)));
}

// The pair in block style below its headings, without the last line break.
std::string Editor::lines(std::string indentation, const Headings& headings) const {
  std::string out;
  for (std::string_view heading : headings) {
    out.append(indentation).append(heading).append(":").append(line_break_);
    indentation.append(step_, ' ');
  }
  return out + indentation + pair(false, padded_);
}

std::string Editor::one_line(bool padded, const Headings& headings) const {
  std::string out = pair(true, padded);
  for (auto heading = headings.rbegin(); heading != headings.rend(); ++heading)
    out = fmt::format("{}: {}", *heading, in_braces(out, padded));
  return out;
}

std::string Editor::pair(bool in_flow, bool padded) const {
  std::string_view rest = std::string_view(edit_.key).substr(length_);
  return written_pair(rest, written_value(edit_, in_flow, padded), in_flow);
}

bool Editor::is_padded(std::uint32_t mapping) const {
  char inside = places_.is_flow(mapping) ? text_[places_.begin(mapping) + 1] : '\n';
  bool tells = doc_[mapping].next != mapping + 1 && inside != '\n' && inside != '\r' && inside != '#';
  return tells ? inside == ' ' : padded_;
}

// Does a blank line part an entry from the one before it?
bool Editor::stands_apart(const std::vector<Entry>& all, std::size_t index) const {
  std::size_t line = places_.above(all[index].key, floor(all, index));
  if (index == 0 || line == 0) return false;
  return text_.find_first_not_of(" \t\r", places_.line_start(line - 1)) == line - 1;
}

// What stands before an entry ends here.
std::size_t Editor::floor(const std::vector<Entry>& all, std::size_t index) const {
  if (index > 0) return places_.end(all[index - 1].value);
  return places_.is_flow(all[index].mapping) ? places_.begin(all[index].mapping) + 1 : 0;
}

}  // namespace bindery
