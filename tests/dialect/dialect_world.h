// The small tree with one dialect, `d`.
#pragma once

#include "dialect/check.h"
#include "dialect/read_back.h"

#include "../support.h"

namespace bindery::test {

class DialectWorld {
 public:
  explicit DialectWorld(std::string dialect, std::string machine = "", std::string material = "", std::string process = "", const Files& more = {})
      : world(tree_of(std::move(dialect), std::move(machine), std::move(material), std::move(process), more)), dialects(read_dialects(world.tree, reports)) {}

  // "dialect-row: bytes", a line each.
  std::string said() {
    reports.settle();
    return pointed(reports, world.sources);
  }

  const Dialect& dialect() const {
    REQUIRE(dialects.size() == 1);
    return dialects.front();
  }

  // What the dialect's file holds for a profile; reports go to `reports`.
  std::string file(std::size_t index = 0, std::string_view process = "q") {
    PressedPart part = pressed(index, process);
    return Press(world.tree, dialect()).bytes(index, {&part});
  }

  PressedPart pressed(std::size_t index = 0, std::string_view process = "q") {
    Triple triple = world.triple("m", "p", process);
    Resolver::Axes axes;
    Diagnostics silent;
    Profile profile = world.resolver().resolve(triple, silent, &axes);
    RowMemory memory;
    return Press(world.tree, dialect()).part(index, place_in_plan(world.tree, triple), profile, axes, {"1.2.3", "abc"}, memory, reports);
  }

  // "wall.speed=61; not brought back: x" of a text that is read as a file of the dialect.
  std::string read(std::string text) {
    Sources sources;
    sources.files.push_back({"exported", std::move(text), true});
    Triple triple = world.triple();
    Resolver::Axes axes;
    Diagnostics silent, out;
    Profile profile = world.resolver().resolve(triple, silent, &axes);
    ReadBack read = read_back(world.tree, Press(world.tree, dialect()), sources, place_in_plan(world.tree, triple), profile, axes, out);
    if (out.any_errors()) return pointed(out, sources);
    std::string told;
    for (const ReadValue& each : read.values) {
      std::string value = !each.value ? "unset" : each.value->of == CellValue::Of::number ? fmt::format("{:g}", each.value->number) : each.value->of == CellValue::Of::flag ? (each.value->flag ? "true" : "false") : each.value->word;
      if (each.value) {
        for (const CellValue& item : each.value->items) value += item.word + ",";
      }
      told += fmt::format("{}{}={}", told.empty() ? "" : " ", world.tree.dictionary.settings[each.key].key, value);
    }
    for (const Remainder& each : read.rest) told += fmt::format("{}[{} {}]", told.empty() ? "" : " ", static_cast<int>(each.of), each.key);
    return told;
  }

  World world;
  Diagnostics reports;
  std::vector<Dialect> dialects;

 private:
  static Files tree_of(std::string dialect, std::string machine, std::string material, std::string process, const Files& more) {
    Files files = small_tree(std::move(machine), std::move(material), std::move(process), more);
    files["profiles-src/dialect/d.yaml"] = std::move(dialect);
    return files;
  }
};

// A dialect with one ini file of these rows, each without its dash.
inline std::string rows_of(const std::vector<std::string>& rows, std::string_view family = "ini") {
  std::string out = fmt::format("files:\n  f:\n    family: {}\n    path: \"@{{process}}.x\"\n    rows:\n", family);
  for (const std::string& row : rows) out += fmt::format("      - {}\n", row);
  return out;
}

}  // namespace bindery::test
