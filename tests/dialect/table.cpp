// Dialects as they are read: what is no row, no name, no path.
#include "dialect_world.h"

using namespace bindery;
using test::DialectWorld;
using test::rows_of;

namespace {

// What is said of one row.
std::string of_row(const std::string& row, std::string_view family = "ini") { return DialectWorld(rows_of({row}, family)).said(); }

// What is said of a path.
std::string of_path(const std::string& path) {
  return DialectWorld(fmt::format("files: {{ f: {{ family: ini, path: \"{}\", rows: [] }} }}\n", path)).said();
}

}  // namespace

TEST_SUITE("dialect/table") {

TEST_CASE("a row has a key and one thing that feeds it") {
  CHECK(of_row("{ key: a, from: wall.speed }") == "");
  CHECK(of_row("{ key: a, text: x }") == "");
  CHECK(of_row("{ key: a, tell: id }") == "");
  CHECK(of_row("{ key: a, script: start }") == "");
  CHECK(of_row("{ key: a, file: f }") == "");
  CHECK(of_row("{ key: a }").starts_with("dialect-row: {"));
  CHECK(of_row("{ from: wall.speed }").starts_with("dialect-row: {"));
  CHECK(of_row("{ key: a, from: wall.speed, text: x }") == "dialect-row: text");
  CHECK(of_row("{ key: a, tell: weather }") == "choice-unknown: weather");
  CHECK(of_row("{ key: a, file: g }") == "choice-unknown: g");
  CHECK(of_row("{ key: a, script: begin }") == "choice-unknown: begin");
  CHECK(of_row("{ key: a, from: wall.speed, colour: red }") == "header-unknown: colour");
  CHECK(of_row("{ use: walls }") == "choice-unknown: walls");
}

TEST_CASE("a formula names settings, and tells the unit where it is no setting alone") {
  CHECK(of_row("{ key: a, from: wall.sped }") == "setting-unknown: wall.sped");
  CHECK(of_row("{ key: a, from: 2 * wall.speed }") == "unit-missing: 2 * wall.speed");
  CHECK(of_row("{ key: a, from: 2 * wall.speed, in: mm/min }") == "");
  CHECK(of_row("{ key: a, from: wall.speed / travel.speed }") == "");
  CHECK(of_row("{ key: a, from: wall.speed + wall.width }").starts_with("dimension-mismatch"));
  CHECK(of_row("{ key: a, from: wall.speed, in: mm }") == "dimension-mismatch: mm");
  CHECK(of_row("{ key: a, from: wall.speed, in: furlongs_a_day }") == "unit-unknown: furlongs_a_day");
  CHECK(of_row("{ key: a, from: heat.nozzle, in: K }") == "dimension-mismatch: K");
  CHECK(of_row("{ key: a, from: seam.place, in: mm }") == "dimension-mismatch: mm");
  CHECK(of_row("{ key: a, from: wall.speed, when: wall.speed }").starts_with("dimension-mismatch"));
}

TEST_CASE("a format is one that can be read again") {
  CHECK(of_row("{ key: a, from: wall.speed, decimals: ten }") == "value-malformed: ten");
  CHECK(of_row("{ key: a, from: wall.speed, decimals: 12 }") == "value-malformed: 12");
  CHECK(of_row("{ key: a, from: wall.speed, point: \";\" }") == "value-malformed: \";\"");
  CHECK(of_row("{ key: a, from: spiral.on, yes: x, no: x }") == "dialect-row: a");
  CHECK(of_row("{ key: a, from: order.words, join: \"\" }") == "dialect-row: a");
  CHECK(of_row("{ key: a, from: order.words, repeat: 2 }") == "dialect-row: a");
  CHECK(of_row("{ key: a, from: seam.place, words: { back: B } }") == "choice-unknown: a");
  CHECK(of_row("{ key: a, text: x, decimals: 2 }") == "dialect-row: decimals");
}

TEST_CASE("keys are such that the family holds them, once") {
  CHECK(of_row("{ key: \"a=b\", text: x }") == "dialect-key: \"a=b\"");
  CHECK(of_row("{ key: a, section: \"x]y\", text: x }") == "dialect-key: \"x]y\"");
  CHECK(of_row("{ key: \"a b\", text: x }", "xml") == "dialect-key: \"a b\"");
  CHECK(of_row("{ key: a, from: order.words }", "csv") == "dialect-row: a");
  CHECK(of_row("{ key: a, section: s, text: x }", "csv") == "dialect-key: a");
  CHECK(DialectWorld(rows_of({"{ key: a, text: x }", "{ key: a, text: y }"})).said() == "dialect-twice: a");
  CHECK(DialectWorld(rows_of({"{ key: a, text: x, when: spiral.on }", "{ key: a, text: y, when: not spiral.on }"})).said() == "");
  CHECK(DialectWorld(rows_of({"{ key: a, text: x }", "{ key: a, section: s, text: y }"})).said() == "");
}

TEST_CASE("a path stays below the dialect's folder, under a name that every system holds") {
  CHECK(of_path("a/@{process}.x") == "");
  for (const char* path : {"../x", "/etc/x", "a/../x", "a//x", "./x", "con", "a/nul.txt", "COM1.ini", "a:b", "x.", "x ", "a\\\\b", "a?b"}) {
    CAPTURE(path);
    CHECK(of_path(path).starts_with("dialect-path"));
  }
  CHECK(of_path("@{weather}.x") == "placeholder-malformed: weather");
  CHECK(of_path("@{process.x").starts_with("placeholder-malformed"));
  CHECK(of_path(std::string(201, 'a')).starts_with("dialect-path"));
}

TEST_CASE("families, layouts and files are told by name") {
  CHECK(DialectWorld("files: { f: { family: toml, path: x, rows: [] } }\n").said() == "choice-unknown: toml");
  CHECK(DialectWorld("files: { f: { family: ini, path: x, layout: { tabs: 2 }, rows: [] } }\n").said() == "header-unknown: tabs");
  CHECK(DialectWorld("files: { f: { family: ini, path: x, layout: { separator: \"->\" }, rows: [] } }\n").said().starts_with("value-malformed"));
  CHECK(DialectWorld("files: { f: { family: json, path: x, comment: hello, rows: [] } }\n").said() == "dialect-key: hello");
  CHECK(DialectWorld("files: { f: { path: x, rows: [] } }\n").said() == "key-missing: f");
  CHECK(DialectWorld("title: D\n").said().starts_with("key-missing"));
  CHECK(DialectWorld("tier: gold\nfiles: { f: { family: ini, path: x, rows: [] } }\n").said() == "value-malformed: gold");
}

TEST_CASE("a template that does not end is told") {
  auto sheet = [](std::string_view text, std::string_view each = "") {
    return DialectWorld(fmt::format("files: {{ f: {{ family: text, path: x, {}template: \"{}\", rows: [ {{ key: a, text: x }} ] }} }}\n", each, text)).said();
  };
  CHECK(sheet("@{a}") == "");
  CHECK(sheet("@{a") .starts_with("dialect-template"));
  CHECK(sheet("@{each}\\n@{a}", "each: '@{id}', ").starts_with("dialect-template"));
  CHECK(DialectWorld("files: { f: { family: text, path: x, rows: [] } }\n").said() == "key-missing: f");
  CHECK(DialectWorld("files: { f: { family: ini, path: x, template: \"a\", rows: [] } }\n").said() == "dialect-template: \"a\"");
}

}  // TEST_SUITE
