// Machine code: each line of the input read in both grammars, and the scripts in it run by the virtual machine. A part
// `== start`, `layer`, `pause` or `end` is a script; a text without parts is a start script.
#include <cmath>

#include "../gcode/rig.h"
#include "fuzz.h"

using namespace bindery;
using fuzz::require;

namespace {

struct Machines {
  test::Rig printer{Grammar::printer}, rs274{Grammar::rs274}, bare{Grammar::printer};

  Machines() {
    for (test::Rig* each : {&printer, &rs274}) {
      each->controller.home = {0.0, 0.0, std::nullopt};
      each->controller.radius = 140;
      each->controller.held = {false, false, true};
      each->controller.hotend_fan = 2;
      each->controller.hotend_fan_until = 50;
      each->controller.joined_modes = each == &rs274;
      each->controller.line_length = 96;
      CodeWord& feed = each->word("G1", 'F');
      feed.unit = each->units.find("mm/min");
      feed.most.emplace().base = 400;
      feed.most->text = "24000 mm/min";
      each->list.fill(each->entries);
      MacroEffects wipe;
      wipe.takes = {"PASSES"};
      wipe.needs_homed = wipe.needs_hot = true;
      wipe.positioned = {10.0, 5.0, std::nullopt};
      wipe.extruded = 20;
      each->macros["WIPE_NOZZLE"] = wipe;
      MacroEffects make_ready;
      make_ready.homed = {true, true, true};
      make_ready.hot[0] = 210;
      each->macros["MAKE_READY"] = make_ready;
      MacroEffects all_off;
      all_off.heaters_off = {true, true, true};
      all_off.fans_off = all_off.motors_off = true;
      each->macros["ALL_OFF"] = all_off;
    }
    // A machine of which little is known.
    Grammar grammar = bare.controller.grammar;
    auto code = bare.controller.code;
    auto bound = bare.controller.bound;
    auto macro = bare.controller.macro;
    auto too_hot = bare.controller.too_hot;
    auto near_macro = bare.controller.near_macro;
    bare.controller = {};
    bare.controller.grammar = grammar;
    bare.controller.code = code;
    bare.controller.bound = bound;
    bare.controller.macro = macro;
    bare.controller.too_hot = too_hot;
    bare.controller.near_macro = near_macro;
  }
};

const Machines& machines() {
  static const Machines all;
  return all;
}

void check_line(const ReadLine& read, std::string_view line) {
  if (read.fault) {
    require(read.fault->begin <= read.fault->end && read.fault->begin <= line.size(), "a fault lies within its line");
    require(!read.fault->message.empty(), "a fault says something");
    return;
  }
  for (const BlockWord& word : read.block.words) {
    require(word.letter >= 'A' && word.letter <= 'Z', "a letter is a capital");
    require(word.begin < word.end && word.end <= line.size(), "a word lies within its line");
    require(std::isfinite(word.value.number), "a word's number is finite");
  }
  require(read.block.macro_end <= line.size(), "a macro lies within its line");
  for (const MacroArgument& each : read.block.arguments)
    require(each.begin < each.end && each.end <= line.size(), "an argument lies within its line");
}

// The lines one by one; what rs274 stores is there for the lines after it.
void read_lines(std::string_view text) {
  Parameters parameters;
  while (!text.empty()) {
    std::string_view line = fuzz::take_line(text);
    check_line(read_printer(line, [](char letter, int tenths) { return letter == 'M' && tenths == 1170; }), line);
    ReadLine read = read_rs274(line, parameters);
    check_line(read, line);
    if (read.fault) continue;
    for (const auto& [number, value] : read.block.stores) {
      require(std::isfinite(value), "a parameter is finite");
      parameters[number] = value;
    }
  }
}

void check_findings(const std::vector<ScriptFinding>& findings, const ScriptTexts& texts) {
  require(findings.size() <= 200, "findings are told up to a number");
  for (const ScriptFinding& each : findings) {
    const auto& text = texts[static_cast<std::size_t>(each.place.slot)];
    require(text.has_value() || each.place.line == 0, "a finding stands in a script that is there");
    auto lines = text ? static_cast<std::size_t>(std::count(text->begin(), text->end(), '\n')) + 1 : 1;
    require(each.place.line < lines, "a finding stands at a line of its script");
    require(!each.message.empty(), "a finding says something");
  }
}

void run_scripts_on(const Controller& controller, const ScriptTexts& texts) {
  ScriptRun run = run_scripts(controller, texts);
  check_findings(run.findings, texts);
  for (const auto& hottest : run.hottest) require(!hottest || std::isfinite(*hottest), "a heater's target is finite");
}

// Wherever the head may be, its place stays one that a number can tell.
void run_alone(const Controller& controller, std::string_view text) {
  Machine machine(controller);
  machine.run(ScriptSlot::start, text);
  for (const Extent& extent : machine.state.at) require(extent.low <= extent.high, "an axis is somewhere");
  require(!machine.state.feed || std::isfinite(*machine.state.feed), "a feed is finite");
  require(!machine.state.extruder || std::isfinite(*machine.state.extruder), "the extruder is somewhere");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  std::string_view text = fuzz::text_of(data, size);
  // Scripts come out of texts that were checked.
  if (!is_utf8(text) || find_hidden(text)) return -1;
  std::map<std::string, std::string> parts = fuzz::parts_of(text);
  ScriptTexts texts;
  for (const auto& [name, script] : parts) {
    if (auto slot = slot_named(name)) texts[static_cast<std::size_t>(*slot)] = script;
    else if (name.empty()) texts[0] = script;
    read_lines(script);
  }
  for (const test::Rig* rig : {&machines().printer, &machines().rs274, &machines().bare}) {
    run_scripts_on(rig->controller, texts);
    if (texts[0]) run_alone(rig->controller, *texts[0]);
  }
  return 0;
}
