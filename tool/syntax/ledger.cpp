#include "syntax/ledger.h"

#include <algorithm>
#include <charconv>
#include <chrono>
#include <set>

#include <fmt/format.h>

#include "base/semver.h"
#include "syntax/fields.h"

namespace bindery {

namespace {

bool is_hexadecimal(std::string_view text, std::size_t length) {
  return text.size() == length && text.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

bool is_date(std::string_view text) {
  if (text.size() != 10 || text[4] != '-' || text[7] != '-') return false;
  auto number = [&](std::size_t at, std::size_t length) {
    unsigned value = 0;
    auto [end, failure] = std::from_chars(text.data() + at, text.data() + at + length, value);
    return failure == std::errc() && end == text.data() + at + length ? value : 0u;
  };
  return std::chrono::year_month_day(std::chrono::year(static_cast<int>(number(0, 4))),
                                     std::chrono::month(number(5, 2)), std::chrono::day(number(8, 2)))
      .ok();
}

class LedgerReader {
 public:
  LedgerReader(const Document& doc, Diagnostics& out) : doc_(doc), out_(out), read_(doc, out) {}

  std::vector<LedgerEntry> read() {
    std::vector<LedgerEntry> entries;
    for (const Field& field : read_.fields(0, "ledger.yaml")) {
      if (field.key.text != "releases") {
        read_.unknown(field.key, Code::header_unknown, "key", {"releases"});
        continue;
      }
      if (doc_[field.value].kind != NodeKind::list) {
        read_.wrong(doc_[field.value].text.span, "'releases' is a list", "let `bindery build --version` write it");
        continue;
      }
      for (std::uint32_t at = field.value + 1; at < doc_[field.value].next; at = doc_[at].next) {
        auto entry = read_entry(at);
        if (!entry) continue;
        if (!versions_.insert(entry->version).second)
          read_.wrong(doc_[at].text.span, fmt::format("version {} stands in the ledger twice", entry->version),
                      "keep the entry of the build that was released");
        entries.push_back(std::move(*entry));
      }
    }
    return entries;
  }

 private:
  std::optional<LedgerEntry> read_entry(std::uint32_t node) {
    LedgerEntry entry;
    std::size_t errors = out_.count(Severity::error);
    for (const Field& field : read_.fields(node, "a release")) {
      std::string_view key = field.key.text;
      if (key == "free" || key == "supporter") {
        entry.tiers[key == "free" ? 0 : 1] = read_digests(field);
        continue;
      }
      if (key != "version" && key != "date" && key != "time" && key != "commit" && key != "since" && key != "tool") {
        read_.unknown(field.key, Code::header_unknown, "part of a release",
                      {"version", "date", "time", "commit", "since", "tool", "free", "supporter"});
        continue;
      }
      auto text = read_.scalar(field);
      if (text && !take(entry, key, text->text))
        read_.wrong(text->span, fmt::format("'{}' is no {} of a release", text->text, key),
                    "let `bindery build --version` write the ledger");
    }
    if (!entry.version.empty() && !entry.date.empty()) return entry;
    if (out_.count(Severity::error) == errors)
      out_.add(Code::key_missing, doc_[node].text.span, "a release in the ledger has a version and a date")
          .with_help("let `bindery build --version` write the ledger");
    return std::nullopt;
  }

  static bool take(LedgerEntry& entry, std::string_view key, std::string_view text) {
    if (key == "time") {
      auto [end, failure] = std::from_chars(text.data(), text.data() + text.size(), entry.time);
      return failure == std::errc() && end == text.data() + text.size();
    }
    bool sound = key == "version" || key == "since" ? parse_version(text).has_value()
                 : key == "date"                    ? is_date(text)
                 : key == "commit"                  ? is_hexadecimal(text, 40)
                                                    : true;
    if (!sound) return false;
    (key == "version"  ? entry.version
     : key == "since"  ? entry.since
     : key == "date"   ? entry.date
     : key == "commit" ? entry.commit
                       : entry.tool) = text;
    return true;
  }

  LedgerDigests read_digests(const Field& field) {
    LedgerDigests digests;
    for (const Field& part : read_.fields(field.value, fmt::format("'{}'", field.key.text))) {
      auto text = read_.scalar(part);
      if (part.key.text != "archive" && part.key.text != "contents") {
        read_.unknown(part.key, Code::header_unknown, "digest", {"archive", "contents"});
      } else if (text && !is_hexadecimal(text->text, 64)) {
        read_.wrong(text->span, "a digest has 64 hexadecimal digits", "let `bindery build --version` write the ledger");
      } else if (text) {
        (part.key.text == "archive" ? digests.archive : digests.contents) = text->text;
      }
    }
    return digests;
  }

  const Document& doc_;
  Diagnostics& out_;
  FieldReader read_;
  std::set<std::string> versions_;
};

}  // namespace

std::vector<LedgerEntry> read_ledger(const Sources& sources, Diagnostics& out) {
  FileId id = sources.find(ledger_path);
  if (id == no_file || !sources[id].sound) return {};
  auto doc = parse_document(id, sources[id], out);
  if (!doc) return {};
  return LedgerReader(*doc, out).read();
}

std::string ledger_text(std::vector<LedgerEntry> entries) {
  std::stable_sort(entries.begin(), entries.end(), [](const LedgerEntry& a, const LedgerEntry& b) {
    return precedence(*parse_version(a.version), *parse_version(b.version)) > 0;
  });
  std::string out =
      "# Each version that was released, written by `bindery build --version`: commit it with the sources.\n"
      "# Later changelogs find their predecessor here, and `bindery verify --rebuild VERSION` compares with it.\n"
      "releases:\n";
  for (const LedgerEntry& entry : entries) {
    out += fmt::format("  - version: {}\n    date: {}\n    time: {}\n", entry.version, entry.date, entry.time);
    if (!entry.commit.empty()) out += fmt::format("    commit: {}\n", entry.commit);
    if (!entry.since.empty()) out += fmt::format("    since: {}\n", entry.since);
    out += fmt::format("    tool: {}\n", entry.tool);
    for (Tier tier : {Tier::free, Tier::supporter}) {
      const auto& digests = entry.tiers[static_cast<std::size_t>(tier)];
      if (digests)
        out += fmt::format("    {}: {{ archive: {}, contents: {} }}\n", name_of(tier), digests->archive,
                           digests->contents);
    }
  }
  return out;
}

}  // namespace bindery
