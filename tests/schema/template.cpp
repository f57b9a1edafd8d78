#include "../support.h"
#include "schema/dictionary.h"

using namespace bindery;

namespace {

Dictionary& small() {
  static Sources sources = test::sources_of({{"schema/d.yaml", std::string(test::dictionary)}});
  static Diagnostics out;
  static Dictionary read = read_dictionary(sources, std::make_shared<Units>(), 2, out);
  REQUIRE(out.items().empty());
  return read;
}

// The pieces between bars, formulas in angles, names of the job in square brackets; or "code begin-end", a blank between.
std::string cut(std::string_view text, bool bare = true) {
  Diagnostics out;
  Text whole = test::text_of(text);
  auto pieces = read_template(whole, small(), bare, [&](std::size_t offset, std::size_t length) { return whole.part(offset, length); }, out);
  std::string told;
  for (const Diagnostic& item : out.items()) told += fmt::format("{}{} {}-{}", told.empty() ? "" : " ", describe(item.code).name, item.span.begin, item.span.end);
  if (pieces.has_value() == !told.empty()) return "pieces and reports disagree";
  if (!pieces) return told;
  for (const TemplatePiece& piece : pieces->pieces) {
    told += told.empty() ? "" : "|";
    if (piece.of == TemplatePiece::Of::formula) told += fmt::format("<{}>", piece.formula->text.text);
    else if (piece.of == TemplatePiece::Of::job) told += fmt::format("[{}]", piece.literal);
    else told += piece.literal;
  }
  return told;
}

}  // namespace

TEST_SUITE("schema/template") {

TEST_CASE("a text is cut at its placeholders") {
  CHECK(cut("M104 S${heat.nozzle} T0") == "M104 S|<heat.nozzle>| T0");
  CHECK(cut("${wall.count}${wall.count}") == "<wall.count>|<wall.count>");
  CHECK(cut("plain") == "plain");
  CHECK(cut("") == "");
}

TEST_CASE("a name of the running job stays as it is") {
  CHECK(cut("; @{layer.number} of") == "; |[@{layer.number}]| of");
  CHECK(cut("; @{layer.numbr}") == "placeholder-malformed 2-16");
  CHECK(cut("; @{wall.count}") == "placeholder-malformed 2-15");
}

TEST_CASE("a dollar or an at sign alone is a character") {
  CHECK(cut("cost $5 @home $ {x} a@") == "cost $5 @home $ {x} a@");
  CHECK(cut("$") == "$");
}

TEST_CASE("a placeholder ends on its line") {
  CHECK(cut("a ${wall.count") == "placeholder-malformed 2-4");
  CHECK(cut("a ${wall.count\n} b") == "placeholder-malformed 2-4");
  CHECK(cut("a @{layer.number") == "placeholder-malformed 2-4");
}

TEST_CASE("a script takes bare numbers, words and flags, or a key alone") {
  CHECK(cut("${travel.speed in mm/min}") == "<travel.speed in mm/min>");
  CHECK(cut("${travel.speed}") == "<travel.speed>");
  CHECK(cut("${seam.place}${spiral.on}") == "<seam.place>|<spiral.on>");
  CHECK(cut("${if(spiral.on, 'a', 'b')}") == "<if(spiral.on, 'a', 'b')>");
  CHECK(cut("F${travel.speed * 2}") == "dimension-mismatch 3-19");
  CHECK(cut("S${heat.nozzle + 5 K}") == "dimension-mismatch 3-20");
  CHECK(cut("S${heat.nozzle + 5 K}", false) == "S|<heat.nozzle + 5 K>");
}

TEST_CASE("what is wrong in a placeholder is reported in its place, each one") {
  CHECK(cut("G1 F${travel.sped} S${heat.nozle}") == "setting-unknown 6-17 setting-unknown 22-32");
  CHECK(cut("x${1 + }") == "formula-syntax 7-8");
  CHECK(cut("x${}") == "formula-syntax 3-4");
}

}
