#include "dialect/sheet.h"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "base/words.h"

namespace bindery {

namespace {

struct Piece {
  std::string_view literal;  // empty for a placeholder
  std::string_view key;
};

struct Line {
  std::string_view text;
  std::size_t at = 0;  // in the template
  std::vector<Piece> pieces;
  bool plain() const { return pieces.size() < 2 && (pieces.empty() || pieces.front().key.empty()); }
};

struct Sheet {
  std::vector<Line> head, body, foot;
};

constexpr std::string_view each_mark = "@{each}", end_mark = "@{end}";

std::vector<std::pair<std::string_view, std::size_t>> lines_of(std::string_view text) {
  std::vector<std::pair<std::string_view, std::size_t>> out;
  for (std::size_t at = 0; at < text.size();) {
    std::size_t end = std::min(text.find('\n', at), text.size());
    out.emplace_back(text.substr(at, end - at), at);
    at = end + 1;
  }
  return out;
}

class SheetReader {
 public:
  explicit SheetReader(const DialectFile& file) : file_(file) {
    for (const Row& row : file.rows) rows_.insert(row.key);
  }

  Sheet read() {
    Sheet sheet;
    std::vector<Line>* into = file_.for_all ? &sheet.head : &sheet.body;
    bool opened = false, closed = false;
    std::size_t mark = 0;  // where the part for each profile begins
    for (auto [text, at] : lines_of(file_.text.text)) {
      if (text == each_mark || text == end_mark) {
        bool open = text == each_mark;
        if (!file_.for_all)
          fault(at, text.size(), fmt::format("'{}' stands in a sheet of one profile", text),
                "give the file `each:`, or take the line out");
        else if (open ? opened : !opened || closed)
          fault(at, text.size(), fmt::format("'{}' stands without its partner", text),
                "a sheet has one line `@{each}`, and after it one line `@{end}`");
        (open ? opened : closed) = true;
        if (open) mark = at;
        into = open ? &sheet.body : &sheet.foot;
        continue;
      }
      into->push_back(read_line(text, at, into == &sheet.body));
    }
    if (file_.for_all && !(opened && closed))
      fault(mark, opened ? each_mark.size() : 0,
            opened ? "the part for each profile does not end" : "the sheet has no part for each profile",
            opened ? "write a line `@{end}` after it" : "put its lines between a line `@{each}` and a line `@{end}`");
    for (const Row& row : file_.rows) {
      if (!placed_.contains(row.key))
        fault(0, 0, fmt::format("the template has no place for the row '{}'", row.key),
              fmt::format("write `@{{{}}}` where it belongs, or take the row out", row.key));
    }
    return sheet;
  }

  std::vector<SheetFault> faults;

 private:
  void fault(std::size_t at, std::size_t length, std::string message, std::string help) {
    faults.push_back({at, length, std::move(message), std::move(help)});
  }

  Line read_line(std::string_view text, std::size_t begin, bool in_body) {
    Line line{text, begin, {}};
    for (std::size_t at = 0; at < text.size();) {
      std::size_t open = std::min(text.find("@{", at), text.size());
      if (open > at) line.pieces.push_back({text.substr(at, open - at), {}});
      if (open == text.size()) break;
      std::size_t close = text.find('}', open);
      if (close == std::string_view::npos) {
        fault(begin + open, 2, "this placeholder is never closed", "close it with `}` on the same line");
        break;
      }
      std::string_view key = text.substr(open + 2, close - open - 2);
      place(key, begin + open, close + 1 - open, in_body);
      if (!line.pieces.empty() && !line.pieces.back().key.empty())
        fault(begin + open, close + 1 - open, "two placeholders touch, so that nobody could tell where one ends",
              "put a text between them");
      line.pieces.push_back({{}, key});
      at = close + 1;
    }
    return line;
  }

  void place(std::string_view key, std::size_t at, std::size_t length, bool in_body) {
    if (key == "each" || key == "end") {
      fault(at, length, fmt::format("'@{{{}}}' stands within a line", key), "it stands alone on its line");
    } else if (!rows_.contains(key)) {
      std::string near = nearest(key, {rows_.begin(), rows_.end()});
      fault(at, length, fmt::format("no row has the key '{}'", key),
            near.empty() ? "name a row of the file" : fmt::format("did you mean '{}'", near));
    } else if (!in_body) {
      fault(at, length, fmt::format("the row '{}' stands outside the part for each profile", key),
            "move it between `@{each}` and `@{end}`");
    } else if (!placed_.insert(key).second) {
      fault(at, length, fmt::format("the row '{}' has two places", key), "name it once");
    }
  }

  const DialectFile& file_;
  std::set<std::string_view> rows_, placed_;
};

std::string_view value_in(const std::vector<Entry>& entries, std::string_view key, bool& there) {
  auto at = std::find_if(entries.begin(), entries.end(), [&](const Entry& each) { return each.key == key; });
  there = at != entries.end() && !at->values.empty();
  return there ? std::string_view(at->values.front().text) : std::string_view();
}

void write_line(const Line& line, const std::vector<Entry>& entries, std::string& out) {
  bool any = false, some = false;
  std::string text;
  for (const Piece& piece : line.pieces) {
    if (piece.key.empty()) {
      text += piece.literal;
      continue;
    }
    bool there = false;
    text += value_in(entries, piece.key, there);
    any = true;
    some |= there;
  }
  if (any && !some) return;
  out += text;
  out += '\n';
}

// The values of a line after its pattern; nothing where it has another form. A value ends where the next literal
// begins.
std::optional<std::vector<std::pair<std::string_view, std::string_view>>> match(const Line& line,
                                                                                std::string_view text) {
  std::vector<std::pair<std::string_view, std::string_view>> found;
  std::size_t at = 0;
  for (std::size_t i = 0; i < line.pieces.size(); ++i) {
    const Piece& piece = line.pieces[i];
    if (piece.key.empty()) {
      if (text.substr(at, piece.literal.size()) != piece.literal) return std::nullopt;
      at += piece.literal.size();
      continue;
    }
    std::size_t end = text.size();
    if (i + 1 < line.pieces.size()) {
      const std::string_view& next = line.pieces[i + 1].literal;
      bool last = i + 2 == line.pieces.size();
      if (last && (text.size() < at + next.size() || !text.ends_with(next))) return std::nullopt;
      end = last ? text.size() - next.size() : text.find(next, at);
      if (end == std::string_view::npos) return std::nullopt;
    }
    found.emplace_back(piece.key, text.substr(at, end - at));
    at = end;
  }
  return at == text.size() ? std::optional(std::move(found)) : std::nullopt;
}

class SheetParser {
 public:
  SheetParser(const DialectFile& file, FileId id, const SourceFile& source, Diagnostics& out)
      : file_(file),
        id_(id),
        source_(source),
        out_(out),
        sheet_(SheetReader(file).read()),
        lines_(lines_of(source.text)) {
    for (auto& [text, at] : lines_) {
      if (text.ends_with('\r')) text.remove_suffix(1);
    }
  }

  std::optional<FileContent> parse() {
    if (!take(sheet_.head, "")) return std::nullopt;
    if (!file_.for_all) {
      if (!take(sheet_.body, "")) return std::nullopt;
    } else {
      for (std::size_t part = 1; at_ < lines_.size() && !at_foot(); ++part) {
        std::size_t before = at_;
        if (!take(sheet_.body, std::to_string(part))) return std::nullopt;
        if (at_ == before) break;
      }
    }
    if (!take(sheet_.foot, "")) return std::nullopt;
    if (at_ < lines_.size()) return fault("the text goes on where the template ends", "take the rest out");
    return std::move(content_);
  }

 private:
  std::nullopt_t fault(std::string message, std::string help) {
    std::size_t begin = at_ < lines_.size() ? lines_[at_].second : source_.text.size();
    std::size_t length = at_ < lines_.size() ? lines_[at_].first.size() : 0;
    out_.add(Code::program_file, {id_, static_cast<std::uint32_t>(begin), static_cast<std::uint32_t>(begin + length)},
             std::move(message))
        .with_help(std::move(help));
    return std::nullopt;
  }

  bool at_foot() const { return !sheet_.foot.empty() && match(sheet_.foot.front(), lines_[at_].first).has_value(); }

  // Lines whose placeholders may all be left out need not be there.
  bool take(const std::vector<Line>& lines, const std::string& section) {
    for (const Line& line : lines) {
      auto found = at_ < lines_.size() ? match(line, lines_[at_].first) : std::nullopt;
      if (!found) {
        if (!line.plain()) continue;
        fault(fmt::format("the template has '{}' here", line.text), "give the text as the dialect writes it");
        return false;
      }
      for (auto [key, text] : *found) {
        Entry entry;
        if (!section.empty()) entry.section.push_back(section);
        entry.key = key;
        entry.values.push_back({std::string(text), false});
        auto begin = static_cast<std::uint32_t>(text.data() - source_.text.data());
        entry.span = {id_, begin, begin + static_cast<std::uint32_t>(text.size())};
        content_.entries.push_back(std::move(entry));
      }
      ++at_;
    }
    return true;
  }

  const DialectFile& file_;
  FileId id_;
  const SourceFile& source_;
  Diagnostics& out_;
  Sheet sheet_;
  std::vector<std::pair<std::string_view, std::size_t>> lines_;
  std::size_t at_ = 0;
  FileContent content_;
};

}  // namespace

std::vector<SheetFault> check_sheet(const DialectFile& file) {
  SheetReader reader(file);
  reader.read();
  return std::move(reader.faults);
}

std::string write_sheet(const DialectFile& file, const std::vector<std::vector<Entry>>& parts) {
  Sheet sheet = SheetReader(file).read();
  std::string out;
  for (const Line& line : sheet.head) write_line(line, {}, out);
  for (const auto& part : parts) {
    for (const Line& line : sheet.body) write_line(line, part, out);
  }
  for (const Line& line : sheet.foot) write_line(line, {}, out);
  return out;
}

std::optional<FileContent> read_sheet(const DialectFile& file, FileId id, const SourceFile& source, Diagnostics& out) {
  return SheetParser(file, id, source, out).parse();
}

}  // namespace bindery
