// Formulas over the settings of the unit tests' small world: parsed, and what parses is evaluated.
#include <cmath>
#include <memory>

#include "../support.h"
#include "base/number.h"
#include "fuzz.h"

using namespace bindery;
using fuzz::require;

namespace {

// Units remember each text that they were asked for, so a world serves a while only.
test::FormulaWorld& world_of_now() {
  static std::unique_ptr<test::FormulaWorld> world;
  static int served = 0;
  if (!world || ++served % 4096 == 0) {
    world = std::make_unique<test::FormulaWorld>();
    world->set("line.width", 0.45);
    world->set("line.height", 0.2);
    world->set("line.speed", 60);
    world->set("heat.now", 210);
    world->set("fan.share", 50);
    world->set("wall.count", 3);
    world->set("lid.shut", Value::of_flag(true));
    world->set("drive.place", Value::of_word("head"));
    world->set("broken.key", Value::poisoned());
    world->set("bore.fact", 0.4);
    world->below = Value::of_number(40);
    // `thread.bore` has no value, and `order.words` none that a formula could take.
  }
  return *world;
}

bool is_of(const Value& value, const FormulaType& type) {
  using Kind = FormulaType::Kind;
  switch (type.kind) {
    case Kind::number:
    case Kind::point: return value.is(Value::Tag::number);
    case Kind::flag: return value.is(Value::Tag::flag);
    case Kind::word: return value.is(Value::Tag::word);
    case Kind::list: return value.is(Value::Tag::list);
  }
  return false;
}

void check_value(const Formula& formula, const FormulaResult& result) {
  require(result.node < formula.nodes.size(), "a stop names a node");
  if (result.stop != FormulaStop::none) {
    require(!stop_message(formula, result).empty(), "a stop has words");
    return;
  }
  require(is_of(result.value, formula.type()), "a value is of the type that was promised");
  if (!result.value.is(Value::Tag::number)) return;
  require(std::isfinite(result.value.number()), "a number is finite");
  write_number(result.value.number());
}

// With `inherited` and without; facts alone, and all.
void run(std::string_view text, bool inherits, bool facts) {
  test::FormulaWorld& world = world_of_now();
  world.scope.facts_only = facts;
  world.scope.inherited_unit = inherits ? world.units.find("mm/s") : nullptr;
  world.scope.inherited.reset();
  if (inherits) world.scope.inherited = FormulaType{FormulaType::Kind::number, world.scope.inherited_unit->dimension};
  Sources sources;
  sources.files.push_back({.path = "schema/a.yaml", .text = std::string(text)});
  Diagnostics said;
  auto formula = parse_formula(test::text_of(sources[0].text), world.scope, world.units, said);
  fuzz::require_sound(said, sources);
  require(!formula || !said.any_errors(), "a formula that parses is sound");
  require(said.items().size() <= 1, "a formula is reported once");
  if (!formula) return;
  for (const FormulaNode& node : formula->nodes)
    require(node.begin <= node.end && node.end <= text.size(), "a node lies within its formula");
  world.depth = 0;
  world.work = 0;
  world.reads.clear();
  check_value(*formula, evaluate(*formula, world));
  require(world.depth == 0, "an evaluation comes back up");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  std::string_view text = fuzz::text_of(data, size);
  // Formulas come out of texts that were checked.
  if (!is_utf8(text) || find_hidden(text)) return -1;
  run(text, true, false);
  run(text, false, true);
  return 0;
}
