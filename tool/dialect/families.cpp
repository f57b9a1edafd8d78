#include "dialect/families.h"

#include <algorithm>
#include <numeric>

#include <fmt/format.h>

#include "syntax/limits.h"

namespace bindery {

namespace {

// Entries hold the names of their sections each for itself; all together they take no more than this.
constexpr std::size_t most_name_letters = 16 * largest_program_file;

// A name under another one; names hold no control characters, so nothing is equal by chance.
std::string joined(char mark, std::uint32_t within, std::string_view name) {
  std::string out(1, mark);
  out.append(reinterpret_cast<const char*>(&within), sizeof within);
  return out += name;
}

}  // namespace

std::string_view trimmed(std::string_view text) {
  std::size_t first = text.find_first_not_of(blank_letters);
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(blank_letters) + 1 - first);
}

std::optional<HiddenCharacter> find_forbidden(std::string_view text) {
  auto hidden = find_hidden(text);
  for (std::string_view letters : {"\xef\xbf\xbe", "\xef\xbf\xbf"}) {
    std::size_t at = text.find(letters);
    if (at != std::string_view::npos && (!hidden || at < hidden->at))
      hidden = HiddenCharacter{letters.back() == '\xbf' ? U'\uffff' : U'\ufffe', at, letters.size()};
  }
  return hidden;
}

bool Lines::next() {
  if (at_ >= text_.size()) return false;
  begin_ = at_;
  std::size_t end = std::min(text_.find('\n', at_), text_.size());
  at_ = end + 1;
  if (end > begin_ && text_[end - 1] == '\r') --end;
  line_ = text_.substr(begin_, end - begin_);
  return true;
}

std::string comment_after(std::string_view sign, std::string_view line) {
  line.remove_prefix(line.find(sign) + sign.size());
  if (line.starts_with(' ')) line.remove_prefix(1);
  return std::string(line);
}

std::string comment_lines(std::string_view sign, const std::vector<std::string>& comments) {
  std::string out;
  for (const std::string& comment : comments) {
    std::string_view rest = comment;
    for (bool more = true; more;) {
      std::size_t end = rest.find('\n');
      std::string_view line = rest.substr(0, end);
      out += sign;
      if (!line.empty()) out += ' ';
      out += line;
      out += '\n';
      more = end != std::string_view::npos;
      if (more) rest.remove_prefix(end + 1);
    }
  }
  return out;
}

std::optional<int> likely_indent(std::string_view text) {
  for (Lines lines(text); lines.next();) {
    std::size_t indent = lines.line().find_first_not_of(' ');
    if (indent != 0 && indent != std::string_view::npos) return static_cast<int>(std::min<std::size_t>(indent, 8));
  }
  return std::nullopt;
}

Diagnostic& Gathering::report(Code code, Span place, std::string message) {
  failed_ = true;
  if (++reports_ >= most::reports) stopped_ = true;
  return out_.add(code, place, std::move(message));
}

void Gathering::give_up(Span place, std::string message, std::string help) {
  report(Code::too_many, place, std::move(message)).with_help(std::move(help));
  stopped_ = true;
}

bool Gathering::count(Span place) {
  if (stopped_) return false;
  if (++counted_ <= most_entries) return true;
  give_up(place, fmt::format("there are more than {} values from here on", most_entries),
          "read a file of profiles, not of all that was ever printed");
  return false;
}

void Gathering::comment(std::string text, Span place) {
  if (count(place)) comments_.push_back(std::move(text));
}

bool Gathering::sound_name(std::string_view name, Span place) {
  if (name.empty()) {
    report(Code::program_file, place, "a key or section has an empty name").with_help("name it, or delete it");
  } else if (name.size() > most::key_letters) {
    report(Code::too_many, place, fmt::format("there are more than {} letters of a name", most::key_letters))
        .with_help("check that this is a key or section, and no value");
  } else if (name.find_first_of("\n\t\r") != std::string_view::npos || find_forbidden(name)) {
    report(Code::character_forbidden, place, "a name holds a character that hides or reorders what a reader sees")
        .with_help("delete it");
  } else {
    return true;
  }
  return false;
}

std::string Gathering::sound_value(std::string text, Span place) {
  if (text.find('\r') != std::string::npos) {
    std::size_t kept = 0;
    for (std::size_t i = 0; i < text.size(); ++i) {
      if (text[i] != '\r' || i + 1 == text.size() || text[i + 1] != '\n') text[kept++] = text[i];
    }
    text.resize(kept);
  }
  if (auto hidden = find_forbidden(text)) {
    report(Code::character_forbidden, place,
           fmt::format("the value holds the character U+{:04X}, which hides or reorders what a reader sees",
                       static_cast<unsigned>(hidden->character)))
        .with_help("delete it");
  }
  return text;
}

std::pair<Gathering::Name&, bool> Gathering::name_at(bool section, Section within, std::string_view name, Span place) {
  auto [at, fresh] = names_.try_emplace(joined(section && apart_ ? 's' : 'k', within, name), Name{place, {}});
  return {at->second, fresh};
}

bool Gathering::claim(Section within, std::string_view name, Span place) {
  auto [known, fresh] = name_at(false, within, name, place);
  if (fresh) return true;
  report(Code::program_key_twice, place, fmt::format("'{}' stands twice", name))
      .with_help("keep one of the two")
      .with_related(known.first, "first set here");
  return false;
}

std::optional<Gathering::Section> Gathering::create(Section within, std::string_view name, Span place) {
  if (stopped_) return std::nullopt;
  if (sections_[within].depth >= deepest_section) {
    give_up(place, fmt::format("sections lie deeper than {} levels from here on", deepest_section),
            "check that the file is one of the program's; if it is, leave this part out");
    return std::nullopt;
  }
  if (sections_.size() > most_entries) {
    give_up(place, fmt::format("there are more than {} sections from here on", most_entries),
            "read a file of profiles, not of all that was ever printed");
    return std::nullopt;
  }
  const Place& outer = sections_[within];
  sections_.push_back({within, std::string(name), outer.depth + 1, outer.weight + sizeof(std::string) + name.size()});
  return static_cast<Section>(sections_.size() - 1);
}

std::optional<Gathering::Section> Gathering::reopen(Section within, std::string_view name, Span place) {
  auto [known, fresh] = name_at(true, within, name, place);
  parted_ = true;
  if (fresh) known.section = create(within, name, place);
  else if (!known.section) claim(within, name, place);
  return known.section;
}

bool Gathering::start(Section section, std::string_view key, bool list, Span place) {
  if (stopped_) return false;
  weight_ += sections_[section].weight + key.size();
  if (entries_.size() >= most_entries || weight_ > most_name_letters) {
    if (entries_.size() >= most_entries)
      give_up(place, "there are more keys than are read", "give the file of one profile");
    else
      give_up(place, "sections and keys have longer names, taken together, than are read",
              "give the file of one profile, or shorter names");
    return false;
  }
  Entry& entry = entries_.emplace_back();
  entry.section.resize(sections_[section].depth);
  for (Section at = section; at != top; at = sections_[at].within)
    entry.section[sections_[at].depth - 1] = sections_[at].name;
  entry.key = key;
  entry.list = list;
  entry.span = place;
  of_.push_back(section);
  parted_ = false;
  return true;
}

void Gathering::value(Scalar scalar, Span place) {
  scalar.text = sound_value(std::move(scalar.text), place);
  if (count(place)) entries_.back().values.push_back(std::move(scalar));
}

bool Gathering::add(Section section, std::string_view key, Scalar scalar, Span place) {
  if (!start(section, key, false, place)) return false;
  value(std::move(scalar), place);
  return !stopped_;
}

void Gathering::repeat(Section section, std::string_view key, Scalar scalar, Span key_place, Span place) {
  if (!parted_ && !entries_.empty() && of_.back() == section && last().key == key) {
    last().list = true;
    last().span.end = place.end;
    value(std::move(scalar), place);
  } else if (claim(section, key, key_place)) {
    add(section, key, std::move(scalar), place);
  }
}

Entry Gathering::take_back() {
  Entry entry = std::move(entries_.back());
  counted_ -= entry.values.size();
  weight_ -= sections_[of_.back()].weight + entry.key.size();
  entries_.pop_back();
  of_.pop_back();
  return entry;
}

std::optional<FileContent> Gathering::finish() {
  if (failed_) return std::nullopt;
  std::optional<FileContent> out(std::in_place);
  out->comments = std::move(comments_);
  // What one section holds stands together, however often the file comes back to it.
  std::vector<std::size_t> rank(sections_.size(), 0);
  std::size_t ranks = 0;
  bool together = true;
  for (std::size_t i = 0; i < of_.size(); ++i) {
    if (rank[of_[i]] == 0) rank[of_[i]] = ++ranks;
    else if (of_[i] != of_[i - 1]) together = false;
  }
  if (together) {
    out->entries = std::move(entries_);
    return out;
  }
  std::vector<std::size_t> order(of_.size());
  std::iota(order.begin(), order.end(), 0u);
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return rank[of_[a]] < rank[of_[b]]; });
  out->entries.reserve(order.size());
  for (std::size_t i : order) out->entries.push_back(std::move(entries_[i]));
  return out;
}

std::vector<std::vector<const Entry*>> by_section(const FileContent& content, std::size_t depth) {
  std::vector<std::vector<const Entry*>> out;
  std::unordered_map<std::string, std::size_t> known;
  for (const Entry& entry : content.entries) {
    if (entry.values.empty()) continue;
    std::string path;
    for (std::size_t i = 0; i < std::min(depth, entry.section.size()); ++i) {
      path += entry.section[i];
      path += '\n';
    }
    auto [at, fresh] = known.emplace(std::move(path), out.size());
    if (fresh) out.emplace_back();
    out[at->second].push_back(&entry);
  }
  return out;
}

Branches::Branches(const FileContent& content, bool empty_lists) : branches(1) {
  std::unordered_map<std::string, std::size_t> known;
  for (const Entry& entry : content.entries) {
    if (entry.values.empty() && !(entry.list && empty_lists)) continue;
    std::size_t at = 0;
    for (const std::string& name : entry.section) {
      auto [found, fresh] = known.emplace(joined('s', static_cast<std::uint32_t>(at), name), branches.size());
      if (fresh) {
        branches[at].items.push_back({nullptr, branches.size()});
        branches.push_back({name, {}});
      }
      at = found->second;
    }
    branches[at].items.push_back({&entry, 0});
  }
}

}  // namespace bindery
