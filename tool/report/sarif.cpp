#include "report/sarif.h"

#include <map>

#include <fmt/format.h>

#include "base/json.h"
#include "base/words.h"

namespace bindery {

namespace {

constexpr std::string_view schema = "https://json.schemastore.org/sarif-2.1.0.json";
constexpr std::string_view no_place = "profiles-src/bindery.yaml";

std::string sentence(std::string_view words) {
  std::string out(words);
  if (!out.empty() && out.front() >= 'a' && out.front() <= 'z')
    out.front() = static_cast<char>(out.front() - 'a' + 'A');
  if (!out.empty() && std::string_view(".!?").find(out.back()) == std::string_view::npos) out += '.';
  return out;
}

// "SettingUnknown" of "setting-unknown".
std::string camel(std::string_view name) {
  std::string out;
  bool start = true;
  for (char c : name) {
    if (c == '-') {
      start = true;
      continue;
    }
    out += start && c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
    start = false;
  }
  return out;
}

// A path as a relative URI (RFC 3986): what may not stand in one is written %XX.
std::string uri(std::string_view path) {
  std::string out;
  for (char c : path) {
    auto byte = static_cast<unsigned char>(c);
    bool plain = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
                 std::string_view("-._~/+").find(c) != std::string_view::npos;
    if (plain) out += c;
    else out += fmt::format("%{:02X}", byte);
  }
  return out;
}

class Report {
 public:
  Report(const Diagnostics& diagnostics, const Sources& sources) : diagnostics_(diagnostics), sources_(sources) {
    for (const Diagnostic& item : diagnostics.items()) rules_.emplace(item.code, 0);
    long long index = 0;
    for (auto& [code, number] : rules_) number = index++;
  }

  std::string write(std::string_view tool_version) {
    json_.open_object().field("$schema", schema).field("version", "2.1.0").key("runs").open_list().open_object();
    json_.key("tool").open_object().key("driver").open_object();
    json_.field("name", "Bindery").field("version", tool_version).field("semanticVersion", tool_version);
    json_.field("informationUri", "https://example.org/bindery");  // no site of its own: a name kept free by RFC 2606
    json_.key("rules").open_list();
    for (const auto& [code, number] : rules_) rule(describe(code));
    json_.close().close().close();
    json_.field("columnKind", "unicodeCodePoints");
    json_.key("results").open_list();
    for (const Diagnostic& item : diagnostics_.items()) result(item);
    json_.close().close().close().close();
    return json_.finish();
  }

 private:
  static std::string_view level(Severity severity) { return name_of(severity); }

  void text(std::string_view key, std::string_view words) { json_.key(key).open_object().field("text", words).close(); }

  void rule(const CodeEntry& entry) {
    json_.open_object().field("id", entry.name).field("name", camel(entry.name));
    text("shortDescription", sentence(entry.title));
    text("fullDescription", sentence(entry.explanation));
    text("help", fmt::format("{} Each report names its place and its cure.", sentence(entry.explanation)));
    json_.key("defaultConfiguration").open_object().field("level", level(entry.severity)).close();
    json_.close();
  }

  void result(const Diagnostic& item) {
    json_.open_object().field("ruleId", describe(item.code).name).key("ruleIndex").whole(rules_.at(item.code));
    json_.field("level", level(item.severity));
    std::string words = sentence(item.message);
    if (item.profiles == 1) words += fmt::format(" In {}.", item.profile);
    if (item.profiles > 1)
      words += fmt::format(" In {}, the first {}.", counted(item.profiles, "profile"), item.profile);
    if (!item.help.empty()) words += " " + sentence(item.help);
    text("message", words);
    json_.key("locations").open_list();
    location(item.span, {});
    json_.close();
    bool related = false;
    for (const Related& each : item.related) related |= each.span.known();
    if (related) {
      json_.key("relatedLocations").open_list();
      for (const Related& each : item.related) {
        if (each.span.known()) location(each.span, each.message);
      }
      json_.close();
    }
    json_.close();
  }

  // A full region: lines and columns from 1, the end column after the last character.
  void location(Span span, std::string_view words) {
    json_.open_object().key("physicalLocation").open_object();
    json_.key("artifactLocation").open_object();
    json_.field("uri", span.known() ? uri(sources_[span.file].path) : std::string(no_place)).close();
    Position begin, end{1, 2};
    if (span.known()) {
      begin = position_of(sources_[span.file], span.begin);
      end = position_of(sources_[span.file], std::max(span.begin, span.end));
      if (end.line == begin.line && end.column <= begin.column) end.column = begin.column + 1;
    }
    auto whole = [](std::size_t number) { return static_cast<long long>(number); };
    json_.key("region").open_object();
    json_.key("startLine").whole(whole(begin.line)).key("startColumn").whole(whole(begin.column));
    json_.key("endLine").whole(whole(end.line)).key("endColumn").whole(whole(end.column)).close();
    json_.close();
    if (!words.empty()) text("message", sentence(words));
    json_.close();
  }

  const Diagnostics& diagnostics_;
  const Sources& sources_;
  std::map<Code, long long> rules_;
  JsonWriter json_;
};

}  // namespace

std::string sarif_report(const Diagnostics& diagnostics, const Sources& sources, std::string_view tool_version) {
  return Report(diagnostics, sources).write(tool_version);
}

}  // namespace bindery
