// What the unit tests share: texts as a tree, one profile of it, diagnostics as short lines.
#pragma once

#include <deque>
#include <filesystem>
#include <fstream>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include <doctest/doctest.h>
#include <fmt/format.h>

#include "base/diagnostic.h"
#include "check/check.h"
#include "formula/formula.h"
#include "resolve/profile.h"
#include "resolve/select.h"
#include "resolve/tree.h"
#include "source/source.h"

namespace bindery::test {

// Texts by their path from the root.
using Files = std::map<std::string, std::string>;

inline Sources sources_of(const Files& files) {
  Sources out;
  for (const auto& [path, text] : files) out.files.push_back({path, text, true});
  return out;
}

// "setting-unknown p.yaml:3:5", a line each in the sink's order; the code alone where no place is known.
inline std::string told(const Diagnostics& diagnostics, const Sources& sources) {
  std::string out;
  for (const Diagnostic& item : diagnostics.items()) {
    if (!out.empty()) out += '\n';
    out += describe(item.code).name;
    if (!item.span.known()) continue;
    const SourceFile& file = sources[item.span.file];
    Position at = position_of(file, item.span.begin);
    out += fmt::format(" {}:{}:{}", file.path.substr(file.path.rfind('/') + 1), at.line, at.column);
  }
  return out;
}

// The bytes that a span covers.
inline std::string covered(const Sources& sources, Span span) {
  if (!span.known()) return "(nowhere)";
  return sources[span.file].text.substr(span.begin, span.end - span.begin);
}

// "setting-unknown: wall.sped", a line each: the code and the bytes that it points at.
inline std::string pointed(const Diagnostics& diagnostics, const Sources& sources) {
  std::string out;
  for (const Diagnostic& item : diagnostics.items()) out += fmt::format("{}{}: {}", out.empty() ? "" : "\n", describe(item.code).name, covered(sources, item.span));
  return out;
}

// A text of its own, as a formula or literal of one line would stand in a file.
inline Text text_of(std::string_view text, bool quoted = false) {
  Text out;
  out.text = text;
  out.span = {0, 0, static_cast<std::uint32_t>(text.size())};
  out.exact = true;
  out.quoted = quoted;
  return out;
}

// The dictionary of most tests. Every kind may write what says nothing else, so that one key serves all layers.
inline constexpr std::string_view dictionary = R"(settings:
  nozzle.bore: { kinds: [machine], unit: mm, default: 0.4 mm, fact: true, range: [0.1, 2] }
  drive.place: { kinds: [machine], type: choice, choices: [head, frame], default: head, fact: true }
  flow.limit: { kinds: [machine, material], unit: mm^3/s, default: none }
  flow.ratio: { kinds: [machine, material], adjustable_by: [process], unit: "%", default: 100 % }
  layer.height: { kinds: [process], unit: mm, default: 0.2 mm, range: [0.05, 1], typical: [0.1, 0.4] }
  wall.width: { kinds: [process], unit: mm, default: 0.45 mm }
  wall.speed:
    title: Wall speed
    about: How fast walls are laid.
    kinds: [machine, material, process]
    unit: mm/s
    range: [1, 1000]
    default: 60 mm/s
    extrudes: { width: wall.width, height: layer.height }
  wall.count: { kinds: [machine, material, process], type: count, default: 3 }
  thread.area: { kinds: [process], unit: mm^2, default: 0.12566 mm^2 }
  thread.speed: { kinds: [process], unit: mm/s, default: 30 mm/s, extrudes: { area: thread.area } }
  travel.speed: { kinds: [machine, material, process], unit: mm/s, default: 150 mm/s }
  heat.nozzle: { kinds: [material, process], adjustable_by: [machine], unit: degC, default: 210 degC }
  fan.duty: { kinds: [machine, material, process], unit: "%", default: 50 % }
  wipe.length: { kinds: [machine, material, process], unit: mm, default: none }
  seam.place: { kinds: [machine, material, process], type: choice, choices: [rear, corner, spread], default: rear }
  spiral.on: { kinds: [process], type: flag, default: false }
  order.words: { kinds: [machine, material, process], type: text, list: true, default: [inner, outer] }
roles: { nozzle: nozzle.bore, flow_limit: flow.limit, flow_ratio: flow.ratio, nozzle_temperature: heat.nozzle }
job: [layer.number]
)";

// A tree of one machine `m`, one material `p` and one process `q`; `more` adds files or takes their place.
inline Files small_tree(std::string machine = "", std::string material = "", std::string process = "", const Files& more = {}) {
  auto filled = [](std::string text, std::string_view title) { return text.empty() ? fmt::format("title: {}\n", title) : text; };
  Files out = {{"profiles-src/bindery.yaml", "publisher: Example Workshop\nlicence: CC0-1.0\n"},
               {"profiles-src/machine/m.yaml", filled(std::move(machine), "Machine")},
               {"profiles-src/material/p.yaml", filled(std::move(material), "Material")},
               {"profiles-src/process/q.yaml", filled(std::move(process), "Process")},
               {"schema/settings.yaml", std::string(dictionary)}};
  for (const auto& [path, text] : more) out[path] = text;
  return out;
}

// A tree and what is said of it.
class World {
 public:
  explicit World(const Files& files) : sources(sources_of(files)), tree(load_tree(sources, 1, diagnostics)), resolver_(tree) {}
  World(const World&) = delete;
  World& operator=(const World&) = delete;

  FragmentId fragment(Kind kind, std::string_view name) const {
    FragmentId id = tree.find(kind, name);
    REQUIRE_MESSAGE(id != no_fragment, "no fragment ", name);
    return id;
  }
  Triple triple(std::string_view machine = "m", std::string_view material = "p", std::string_view process = "q") const {
    return {{fragment(Kind::machine, machine), fragment(Kind::material, material), fragment(Kind::process, process)}};
  }
  KeyId key(std::string_view name) const {
    KeyId id = tree.dictionary.find(name);
    REQUIRE_MESSAGE(id != no_key, "no setting ", name);
    return id;
  }

  // The profile, resolved once a triple; reports go to `diagnostics`.
  const Profile& profile(const Triple& which) {
    auto at = resolved_.find(which);
    if (at == resolved_.end()) at = resolved_.emplace(which, resolver_.resolve(which, diagnostics)).first;
    return at->second;
  }
  const Profile& profile() { return profile(triple()); }

  // A final value as the language writes it, "unset" or "poison".
  std::string value(std::string_view name, const Triple& which) {
    const Value& found = profile(which).cells[key(name)].value;
    return found.is(Value::Tag::poison) ? "poison" : written(tree.dictionary.settings[key(name)], found);
  }
  std::string value(std::string_view name) { return value(name, triple()); }

  // What capped a value, or null.
  const Cap* cap(std::string_view name) {
    std::int32_t at = profile().cells[key(name)].cap;
    return at < 0 ? nullptr : &profile().caps[static_cast<std::size_t>(at)];
  }

  // All that was said so far, sorted by place.
  std::string said() {
    diagnostics.settle();
    return told(diagnostics, sources);
  }
  // The only report.
  const Diagnostic& report() {
    diagnostics.settle();
    REQUIRE_MESSAGE(diagnostics.items().size() == 1, "reports: ", told(diagnostics, sources));
    return diagnostics.items().front();
  }

  Resolver& resolver() { return resolver_; }

  Sources sources;
  Diagnostics diagnostics;
  Tree tree;

 private:
  Resolver resolver_;
  std::map<Triple, Profile> resolved_;
};

// A handful of settings for tests of formulas, without a dictionary.
struct FormulaWorld : FormulaInputs {
  Units units;
  FormulaScope scope;
  std::vector<std::string_view> places = {"head", "frame"};
  std::map<std::string, KeyId, std::less<>> ids;
  std::map<KeyId, Value> values;
  Value below;
  std::vector<std::string> reads;  // in the order in which the formula asked

  FormulaWorld() {
    scope.find = [this](std::string_view key) -> std::optional<FormulaScope::Key> {
      using Kind = FormulaType::Kind;
      static const std::map<std::string_view, std::pair<Kind, std::string_view>> known = {
          {"line.width", {Kind::number, "mm"}},  {"line.height", {Kind::number, "mm"}}, {"line.speed", {Kind::number, "mm/s"}}, {"heat.now", {Kind::point, "degC"}},
          {"fan.share", {Kind::number, "%"}},    {"wall.count", {Kind::number, ""}},    {"lid.shut", {Kind::flag, ""}},         {"drive.place", {Kind::word, ""}},
          {"order.words", {Kind::list, ""}},     {"bore.fact", {Kind::number, "mm"}},   {"broken.key", {Kind::number, "mm"}},   {"thread.bore", {Kind::number, "mm"}}};
      auto at = known.find(key);
      if (at == known.end()) return std::nullopt;
      FormulaScope::Key out;
      out.id = ids.emplace(key, static_cast<KeyId>(ids.size())).first->second;
      out.unit = at->second.second.empty() ? nullptr : units.find(at->second.second);
      out.type.kind = at->second.first;
      if (out.type.kind == Kind::number && out.unit != nullptr) out.type.dimension = out.unit->dimension;
      out.fact = key == "bore.fact";
      out.poisoned = key == "broken.key";
      if (key == "drive.place") out.choices = &places;
      return out;
    };
    scope.suggest = [](std::string_view) { return std::string("line.width"); };
  }

  void set(std::string_view key, Value value) { values[scope.find(key)->id] = value; }
  void set(std::string_view key, double value) { set(key, Value::of_number(value)); }

  Value read(KeyId key) override {
    for (const auto& [name, id] : ids) {
      if (id == key) reads.push_back(name);
    }
    auto at = values.find(key);
    return at == values.end() ? Value() : at->second;
  }
  Value inherited() override { return below; }

  // The formula; it must be sound.
  Formula parse(std::string_view text) {
    Diagnostics out;
    auto formula = parse_formula(text_of(text), scope, units, out);
    REQUIRE_MESSAGE(formula.has_value(), text, ": ", out.items().empty() ? "" : out.items().front().message);
    return *formula;
  }
  FormulaResult run(std::string_view text) { return evaluate(parse(text), *this); }

  // A number in working units, as it is published.
  double number(std::string_view text) {
    FormulaResult result = run(text);
    REQUIRE_MESSAGE(result.stop == FormulaStop::none, text);
    REQUIRE_MESSAGE(result.value.is(Value::Tag::number), text);
    return result.value.number();
  }
  bool flag(std::string_view text) {
    FormulaResult result = run(text);
    REQUIRE_MESSAGE(result.stop == FormulaStop::none, text);
    REQUIRE_MESSAGE(result.value.is(Value::Tag::flag), text);
    return result.value.flag();
  }
  std::string type(std::string_view text) { return parse(text).type().words(); }

  // "code: the text that the report points at"; "" for a sound formula, "silence" for a refusal without a report.
  std::string refused(std::string_view text) {
    Diagnostics out;
    auto formula = parse_formula(text_of(text), scope, units, out);
    if (formula) return "";
    if (out.items().empty()) return "silence";
    const Diagnostic& item = out.items().front();
    return fmt::format("{}: {}{}", describe(item.code).name, item.span.begin < text.size() ? text.substr(item.span.begin, item.span.end - item.span.begin) : "(end)",
                       out.items().size() > 1 ? " and more" : "");
  }
};

// A folder that goes away with its owner.
class Folder {
 public:
  Folder() {
    std::string name = (std::filesystem::temp_directory_path() / "bindery-test-XXXXXX").string();
    REQUIRE(mkdtemp(name.data()) != nullptr);
    path = name;
  }
  ~Folder() {
    std::error_code ignored;
    std::filesystem::remove_all(path, ignored);
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;

  void write(const std::string& name, std::string_view text) const {
    std::filesystem::create_directories((path / name).parent_path());
    std::ofstream(path / name, std::ios::binary) << text;
  }

  std::filesystem::path path;
};

// The final value of a key for the texts of machine, material and process, as it is written; nothing may be said of it.
inline std::string value(std::string_view key, std::string machine, std::string material = "", std::string process = "", const Files& more = {}) {
  World world(small_tree(std::move(machine), std::move(material), std::move(process), more));
  std::string out = world.value(key);
  CHECK_MESSAGE(world.said() == "", key);
  return out;
}

// What is said when the profile is resolved, and of which bytes; the tree itself is sound.
inline std::string resolving_says(std::string machine, std::string material = "", std::string process = "", const Files& more = {}) {
  World world(small_tree(std::move(machine), std::move(material), std::move(process), more));
  REQUIRE(world.said() == "");
  world.profile();
  CHECK(world.profile().whole == !world.diagnostics.any_errors());
  world.diagnostics.settle();
  return pointed(world.diagnostics, world.sources);
}

}  // namespace bindery::test
