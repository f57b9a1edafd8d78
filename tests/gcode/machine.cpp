// What codes and macros do to the virtual machine: trust, bounds, heaters, fans, motors, modes. The worked cases of
// NISTIR 6556 for moves stand in motion.cpp.
#include "rig.h"

using namespace bindery;
using test::Rig;

namespace {

// The only finding of a text.
ScriptFinding found(Rig& rig, std::string_view text) {
  Machine machine(rig.controller);
  rig.make_ready(machine);
  machine.run(ScriptSlot::end, text);
  REQUIRE_MESSAGE(machine.findings().size() == 1, test::told(machine.findings()));
  return machine.findings().front();
}

}  // namespace

TEST_SUITE("gcode/machine") {

TEST_CASE("a sound text gives no finding") {
  CHECK(Rig().ready("G1 X10 Y10 E1\n; a comment\n\n   \nM106 S128\nM107\nM117 M302 P1\nN5 G28\nG28 X Y\r\n") == "");
}

TEST_CASE("a message names the line, and the cure stands beside it") {
  Rig rig;
  ScriptFinding finding = found(rig, "\nM302 P1");
  CHECK(finding.code == Code::script_refused);
  CHECK(finding.message == "line 2 of the end script holds M302 (M302), which is refused: it lets the drive grind cold filament");
  CHECK(finding.help == "take it out");
  CHECK(finding.warning);
  CHECK(finding.place.line == 1);
}

TEST_CASE("a code that the list does not hold is an error, however it is written") {
  for (std::string_view line : {"M500", "m500", "M0500", "N1 M500", "N1 M500*39", "G29.1", "G5 X1", "T1", "M1000 S1", " \tM500 ; store"}) {
    CAPTURE(line);
    CHECK(Rig().ready(line) == "script-unlisted 1");
  }
  Rig rig;
  CHECK(found(rig, "M500 P1 S2").message == "line 1 of the end script holds M500, which the dictionary does not list for this machine");
  CHECK(found(rig, "M500").help == "use a code of the list, or add it to `codes:` with the reason");
}

TEST_CASE("T alone in the list stands for any tool") {
  Rig rig;
  rig.add("T", Does::nothing, "");
  rig.list.fill(rig.entries);
  CHECK(rig.ready("T0\nT7\nT99") == "");
  CHECK(rig.ready("T0 X5") == "script-unlisted 1");
}

TEST_CASE("a letter that the code does not take is an error") {
  CHECK(Rig().ready("G1 X5 P1") == "script-unlisted 1");
  CHECK(Rig().ready("M104 S0 B300") == "script-unlisted 1");
  CHECK(Rig().ready("G28 Z W") == "script-unlisted 1");
  CHECK(Rig().ready("G90 X5") == "script-unlisted 1");
  Rig rig;
  CHECK(found(rig, "G28 O").message == "line 1 of the end script gives G28 the word O, which the dictionary does not list");
  CHECK(Rig(Grammar::rs274).ready("G90 X5 G1") == "");       // X is of G1
  CHECK(Rig(Grammar::rs274).ready("G90 G1 X5 E5") == "script-unlisted 1");  // the extruder is A
  CHECK(Rig(Grammar::rs274).ready("G90 Q1") == "script-unlisted 1");
  // NISTIR 6556, 3.4: codes of groups 0 and 1 on one line may not both use axis words.
  CHECK(Rig(Grammar::rs274).ready("G28 G1 X5") == "script-syntax 1");
  CHECK(Rig(Grammar::rs274).ready("G92 G1 X5") == "script-syntax 1");
  CHECK(Rig(Grammar::rs274).ready("G28 G90 X5") == "");
}

// From memory: whole numbers behind T choose a tool.
TEST_CASE("in rs274 a tool and the words of a motion in force are looked up too") {
  Rig rig(Grammar::rs274);
  rig.word("G1", 'F').most = CodeBound{1200, {}, "1200", {}};
  rig.word("G1", 'A').refused = true;
  rig.list.fill(rig.entries);
  CHECK(rig.ready("T7") == "script-unlisted 1");
  CHECK(rig.ready("G1 X5 F1201") == "script-value 1");
  CHECK(rig.ready("G1 X5 F1200\nX6 F1201") == "script-value 2");
  CHECK(rig.ready("G1 X5 F200\nX6 A0.1") == "script-refused? 2");
  CHECK(rig.ready("G1 X5 F200\nX6 Q1") == "script-unlisted 2");
  CHECK(rig.ready("G1 X5 F200\nX6 F90") == "");
  rig.add("T", Does::nothing, "");
  rig.list.fill(rig.entries);
  CHECK(rig.ready("T7") == "");
}

TEST_CASE("a refused code is a finding of its own, and its words are looked at all the same") {
  CHECK(Rig().ready("M302") == "script-refused? 1");
  CHECK(Rig().ready("m302p1") == "script-refused? 1");
  CHECK(Rig().ready("N4 M302 S0 ; allow") == "script-refused? 1");
  CHECK(Rig().ready("M302 P1 Q2") == "script-refused? 1; script-unlisted 1");
  CHECK(Rig().ready("; M302 P1\nM117 M302 P1") == "");
}

TEST_CASE("a word may be refused alone") {
  Rig rig;
  rig.word("G92", 'X').refused = true;
  rig.word("G92", 'X').reason = "it would pretend a homing";
  rig.list.fill(rig.entries);
  CHECK(rig.ready("G92 E0") == "");
  CHECK(rig.ready("G92 E0 X100") == "script-refused? 1");
  CHECK(found(rig, "G92 X100").message == "line 1 of the end script gives G92 the word X, which is refused: it would pretend a homing");
}

TEST_CASE("a word stays within its bounds, in its unit") {
  Rig rig;
  CodeWord& pause = rig.word("G4", 'P');
  pause.unit = rig.units.find("ms");
  pause.least = CodeBound{0, {}, "0 s", {}};
  pause.most = CodeBound{600, {}, "600 s", {}};  // in working units, seconds
  rig.word("G4", 'S').most = CodeBound{9, {}, "unset", {}};
  rig.word("M106", 'S').most = CodeBound{255, {}, "255", {}};
  rig.list.fill(rig.entries);
  CHECK(rig.ready("G4 P600000") == "");
  CHECK(rig.ready("G4 P600001") == "script-value 1");
  CHECK(rig.ready("G4 P0") == "");
  CHECK(rig.ready("G4 P-0") == "");
  CHECK(rig.ready("G4 P-1") == "script-value 1");
  CHECK(rig.ready("G4 S99999") == "");  // its bound reads an unset setting
  CHECK(rig.ready("M106 S255\nM107") == "");
  CHECK(rig.ready("M106 S256\nM107") == "script-value 1");
  CHECK(rig.ready("G4 P@{layer.number}") == "script-value 1");  // nobody can tell
  CHECK(rig.ready("G4 S@{layer.number}") == "");                 // its bound reads an unset setting
  CHECK(found(rig, "G4 P700000").message == "line 1 of the end script gives G4 P700000, and at most 600000 is admitted here");
  CHECK(found(rig, "G4 P700000").help == "write a lower number");
  CHECK(found(rig, "G4 P-1").message == "line 1 of the end script gives G4 P-1, and at least 0 is admitted here");
  CHECK(found(rig, "G4 P-1").help == "write a higher number");
}

TEST_CASE("a line of more characters than the controller reads is a fault") {
  Rig rig;
  rig.controller.line_length = 10;
  CHECK(rig.cold("M104 S0 ; ") == "");
  CHECK(rig.cold("M104 S0 ; !") == "script-syntax start:1");
  CHECK(rig.cold("; 90123456") == "");
  CHECK(rig.cold("; 3456 \xc2\xb0""C") == "");  // nine characters in ten bytes
  CHECK(rig.cold("; 34567 \xc2\xb0""C") == "");
  CHECK(rig.cold("; 345678 \xc2\xb0""C") == "script-syntax start:1");
}

TEST_CASE("filament moves only in a nozzle that is hot") {
  CHECK(Rig().cold("M83\nM109 S170\nG1 E5 F240") == "");
  CHECK(Rig().cold("M83\nM109 S169\nG1 E5 F240") == "script-cold start:3");
  CHECK(Rig().cold("M83\nG1 E5 F240") == "script-cold start:2");
  CHECK(Rig().cold("M83\nG1 E-0.1 F240") == "script-cold start:2");
  CHECK(Rig().cold("M83\nM104 S200\nG1 E5 F240") == "script-cold start:3");
  CHECK(Rig().cold("M83\nM104 S200\nM109 S200\nG1 E5 F240") == "");
  CHECK(Rig().cold("M83\nM109 R200\nG1 E5 F240") == "");
  CHECK(Rig().cold("M83\nM109 S200\nM109 R100\nG1 E5 F240") == "script-cold start:4");
  CHECK(Rig().cold("M83\nM109 S200\nM104 S150\nM190 S60\nG1 E5 F240") == "script-cold start:5");  // it has cooled meanwhile
  CHECK(Rig().cold("M109 S200\nG10\nG11") == "script-mode start:2");
  CHECK(Rig().cold("M83\nG10") == "script-cold start:2");  // retraction of the firmware
  CHECK(Rig().cold("M83\nG11") == "script-cold start:2");
  CHECK(Rig().cold("M83\nG28\nG1 X5 E0 F240") == "");  // moves none
  CHECK(Rig().cold("M83\nG28\nG1 X5 E0.001 F240") == "script-cold start:3");
}

// Common practice: an end script draws back right after it has switched the heater off. The nozzle is as hot as before.
TEST_CASE("a nozzle that was switched off is hot until time has passed") {
  for (std::string_view sound : {"M104 S0\nG1 E-2 F1800", "M104 S150\nG1 E-2 F1800", "M104 S0\nM140 S0\nM107\nG1 E-2 F1800"}) {
    CAPTURE(sound);
    CHECK(Rig().ready(sound) == "");
  }
  CHECK(Rig().ready("M104 S0\nM0\nG1 E-2 F1800") == "script-cold 3");
  CHECK(Rig().ready("M104 S0\nG4 S600\nG1 E-2 F1800") == "script-cold 3");
  CHECK(Rig().ready("M104 S0\nM190 R30\nG1 E-2 F1800") == "script-cold 3");
}

TEST_CASE("without a least temperature a nozzle that was never awaited is cold") {
  Rig rig;
  rig.controller.least_extrusion.reset();
  CHECK(rig.cold("M83\nG1 E5 F240") == "script-cold start:2");
  CHECK(rig.cold("M83\nM104 S100\nG1 E5 F240") == "script-cold start:3");
  CHECK(rig.cold("M83\nM109 S100\nG1 E5 F240") == "");
}

TEST_CASE("bed and chamber that were set are awaited before the first extrusion, or a warning says so where they were set") {
  CHECK(Rig().cold("M83\nM140 S60\nM109 S200\nG1 E5 F240") == "script-cold? start:2");
  CHECK(Rig().cold("M83\nM140 S60\nM109 S200\nG1 E5 F240\nG1 E5") == "script-cold? start:2");  // once
  CHECK(Rig().cold("M83\nM140 S60\nM109 S200\nM190 S60\nG1 E5 F240") == "");
  CHECK(Rig().cold("M83\nM190 R60\nM109 S200\nG1 E5 F240") == "");
  CHECK(Rig().cold("M83\nM141 S50\nM140 S60\nM109 S200\nG1 E5 F240") == "script-cold? start:3; script-cold? start:2");
  CHECK(Rig().cold("M83\nM140 S60\nM140 S0\nM109 S200\nG1 E5 F240") == "");
}

TEST_CASE("a heater is set to no more than the machine admits") {
  CHECK(Rig().ready("M104 S280") == "");
  CHECK(Rig().ready("M104 S281") == "script-hot 1");
  CHECK(Rig().ready("M109 R281") == "script-hot 1");
  CHECK(Rig().ready("M140 S120") == "");
  CHECK(Rig().ready("M190 S120.5") == "script-hot 1");
  CHECK(Rig().ready("M141 S121") == "script-hot 1");
  CHECK(Rig().ready("M104 S0\nM104 S-300") == "");
  CHECK(Rig().ready("M109 S200 R300") == "script-hot 1");
  CHECK(Rig().ready("M109 S300 R200") == "script-hot 1");
  CHECK(Rig().ready("M109 R300 S0") == "script-hot 1");
  CHECK(Rig().ready("M104 S@{layer.number}") == "script-hot 1");  // nobody can tell
  CHECK(Rig().ready("M104") == "script-syntax 1");
  CHECK(Rig().ready("M104 S") == "script-syntax 1");
  Rig rig;
  CHECK(found(rig, "M104 S300").message == "line 1 of the end script sets the nozzle to 300 degC, and it bears 280");
}

TEST_CASE("filament waits for a script that says how extrusion is given") {
  CHECK(Rig().cold("M109 S200\nG1 E5 F240\nM83") == "script-mode start:2");
  CHECK(Rig().cold("M109 S200\nM82\nG92 E0\nG1 E5 F240") == "");  // it is said, and judged at the end of the script
  CHECK(Rig().cold("M109 S200\nG1 E5 F240\nG1 E5") == "script-mode start:2");  // once
  Rig rig;
  rig.controller.relative_extrusion.reset();
  CHECK(rig.cold("M109 S200\nG1 E5 F240") == "");
}

TEST_CASE("on a machine of joined modes G90 and G91 switch the extruder too") {
  Rig rig;
  auto relative = [&](std::string_view text) {
    Machine machine(rig.controller);
    machine.run(ScriptSlot::start, text);
    return machine.state.relative_extrusion;
  };
  CHECK_FALSE(relative("G91").has_value());
  CHECK(relative("M83\nG90") == true);
  rig.controller.joined_modes = true;
  CHECK(relative("G91") == true);
  CHECK(relative("M83\nG90") == false);
  CHECK(relative("G90\nM83") == true);
  CHECK(relative("G91\nG90\nM83") == true);
}

TEST_CASE("the motor of an axis that would drop is not cut") {
  Rig rig;
  rig.controller.held[2] = true;
  CHECK(rig.ready("M84") == "script-dropped 1");
  CHECK(rig.ready("M84 Z") == "script-dropped 1");
  CHECK(rig.ready("M84XYZE") == "script-dropped 1");
  CHECK(rig.ready("M84 X Y E") == "");
  CHECK(rig.ready("M84 X0 Y0") == "");
  CHECK(Rig().ready("M84") == "");
  CHECK(found(rig, "M84").message == "line 1 of the end script cuts the motor of Z, which would drop");
}

TEST_CASE("the fan of a hot end runs while the nozzle may be hot, where scripts switch it") {
  Rig rig;
  rig.controller.hotend_fan = 1;
  rig.controller.hotend_fan_until = 50;
  auto hot = [&](std::string_view text) {
    return rig.cold(fmt::format("M106 P1 S255\nM83\nM109 S200\n{}", text));
  };
  CHECK(hot("G1 E5 F240") == "");
  CHECK(hot("M106 P1 S0") == "script-dropped start:4");
  CHECK(hot("M107 P1") == "script-dropped start:4");
  CHECK(hot("M104 S0\nM107 P1") == "script-dropped start:5");  // it cools only now
  CHECK(hot("M109 R50\nM107 P1") == "");
  CHECK(hot("M109 R51\nM107 P1") == "script-dropped start:5");
  CHECK(hot("M109 S50\nM107 P1") == "script-dropped start:5");  // S waits only while it heats
  CHECK(hot("M107") == "");                                     // the part fan
  CHECK(hot("M106 P2 S0") == "");
  CHECK(rig.cold("M83\nM109 S200\nG1 E5 F240") == "script-dropped start:2");  // never started
  CHECK(rig.cold("M83\nM109 S200\nM106 P1\nG1 E5 F240") == "");
  CHECK(hot("M106 P1 S") == "script-syntax start:4");        // firmware takes a letter alone as 0, from memory
  CHECK(rig.cold("M106 P1 S0\nM107 P1") == "");  // cold
  CHECK(Rig().cold("M83\nM109 S200\nG1 E5 F240") == "");
}

// --- macros ---

TEST_CASE("a macro is called by a declared name with declared keys") {
  Rig rig;
  rig.macros["SWEEP"].takes = {"PASSES"};
  CHECK(rig.ready("SWEEP\nSWEEP PASSES=3\nsweep passes=3") == "");
  CHECK(rig.ready("SWEEP SIDE=left") == "script-unlisted 1");
  CHECK(rig.ready("SWOOP") == "script-unlisted 1");
  CHECK(found(rig, "SWEEP SIDE=left").message == "line 1 of the end script gives SWEEP the key SIDE, which its declaration does not name");
  CHECK(found(rig, "SWOOP").help == "declare it under `macros:` of the machine, with what it leaves");
  rig.controller.near_macro = [](std::string_view) { return std::string("SWEEP"); };
  CHECK(found(rig, "SWOOP").help == "did you mean SWEEP");
}

TEST_CASE("what a macro needs must be so") {
  Rig rig;
  rig.macros["SWEEP"].needs_homed = true;
  rig.macros["PRIME"].needs_hot = true;
  CHECK(rig.cold("SWEEP") == "script-unhomed start:1");
  CHECK(rig.cold("G28 X Y\nSWEEP") == "script-unhomed start:2");
  CHECK(rig.cold("G28\nSWEEP") == "");
  CHECK(rig.cold("PRIME") == "script-cold start:1");
  CHECK(rig.cold("M104 S200\nPRIME") == "script-cold start:2");
  CHECK(rig.cold("M109 S200\nPRIME") == "");
}

TEST_CASE("what a macro homes, heats and places is so afterwards") {
  Rig rig;
  MacroEffects& ready = rig.macros["READY"];
  ready.homed = {true, true, true};
  ready.hot[0] = 200;
  ready.positioned = {10, 20, 0.2};
  CHECK(rig.cold("READY\nM83\nG1 X5 E1 F600\nG91\nG1 Z-0.2") == "");
  CHECK(rig.cold("READY\nG91\nG1 Z-0.3 F600") == "script-outside start:3");
  CHECK(rig.cold("READY\nG91\nG1 X-10.01 F600") == "script-outside start:3");
  // Axes that it does not place stay where they were.
  rig.macros["AWAY"].positioned[0] = 0;
  CHECK(rig.ready("AWAY\nG91\nG1 Y100\nG1 Y20\nG1 Y0.1") == "script-outside 5");
  CHECK(rig.ready("AWAY\nG91\nG1 X-1") == "script-outside 3");
}

TEST_CASE("a macro that homes or extrudes and does not say where it ends leaves the position unknown") {
  Rig rig;
  rig.macros["HOME_ALL"].homed = {true, true, true};
  rig.macros["PRIME"].extruded = 20;
  CHECK(rig.ready("PRIME\nG91\nG1 X200") == "");
  CHECK(rig.ready("PRIME\nG91\nG1 Z-1") == "script-outside 3");
  CHECK(rig.cold("HOME_ALL\nG91\nG1 Z-1 F600") == "script-outside start:3");
  CHECK(rig.cold("M83\nPRIME") == "script-cold start:2");
  CHECK(rig.cold("M109 S200\nPRIME") == "script-mode start:2");
}

TEST_CASE("what a macro heats, places and switches off is judged as if a code did it") {
  Rig rig;
  rig.macros["SOAK"].hot[0] = 400;
  rig.macros["PARK"].positioned[0] = 500;
  rig.macros["QUIET"].fans_off = true;
  CHECK(rig.ready("SOAK") == "script-hot 1");
  CHECK(rig.ready("PARK") == "script-outside 1");
  CHECK(rig.ready("QUIET") == "");
  rig.controller.hotend_fan = 1;
  rig.controller.hotend_fan_until = 50;
  CHECK(rig.cold("M106 P1\nM109 S200\nQUIET") == "script-dropped start:3");
}

TEST_CASE("a macro that homes leaves the axes that it does not place somewhere in the reach, without offsets") {
  Rig rig;
  rig.macros["HOME_X"].homed = {true, true, true};
  rig.macros["HOME_X"].positioned[0] = 10;
  CHECK(rig.cold("HOME_X\nG91\nG1 Z-100 F600") == "script-outside start:3");
  CHECK(rig.cold("HOME_X\nG91\nG1 Y221 F600") == "script-outside start:3");
  CHECK(rig.ready("G92 X50\nHOME_X\nG1 X200") == "");
  CHECK(rig.ready("G92 X300\nHOME_X\nG1 X230") == "script-outside 3");
}

TEST_CASE("what a macro switches off is off") {
  Rig rig;
  rig.macros["REST"].heaters_off = {true, true, true};
  rig.macros["REST"].fans_off = true;
  rig.macros["REST"].motors_off = true;
  Machine machine(rig.controller);
  rig.make_ready(machine);
  machine.run(ScriptSlot::end, "M140 S60\nM106\nREST\n");
  CHECK(machine.findings().empty());
  CHECK_FALSE(machine.state.heaters[0].on);
  CHECK_FALSE(machine.state.heaters[1].on);
  CHECK(machine.state.fans.empty());
  CHECK(std::none_of(machine.state.motors.begin(), machine.state.motors.end(), [](bool on) { return on; }));
  CHECK(rig.ready("REST\nG1 X5") == "script-unhomed 2");
  rig.controller.held[2] = true;
  CHECK(rig.ready("REST") == "script-dropped 1");
}

// --- stop, and hostile texts ---

// NISTIR 6556, 3.6.1: M2 ends the program. Firmware that does not know it goes on (from memory), so what follows is not executed here and must be in the list.
TEST_CASE("a stop ends the script, and what follows it is looked at all the same") {
  for (Grammar grammar : {Grammar::printer, Grammar::rs274}) {
    Rig rig(grammar);
    Machine machine(rig.controller);
    rig.make_ready(machine);
    machine.run(ScriptSlot::layer, "M104 S100\nM2\nM104 S0\n");
    CHECK(machine.state.heaters[0].on);
    CHECK(machine.findings().empty());
    machine.run(ScriptSlot::end, "M104 S0\n");  // a stop of another script
    CHECK_FALSE(machine.state.heaters[0].on);
    CHECK(rig.ready("M0\nG1 X999\n") == "script-outside 2");  // a pause goes on
    CHECK(rig.ready("M2\nM500\nM302 P1\nG28 W1\nG1 X(") == "script-unlisted 2; script-refused? 3; script-unlisted 4; script-syntax 5");
  }
}

TEST_CASE("of one sort a line gives one finding, and no text so many that an error is lost among them") {
  CHECK(Rig().ready("G1 X999 Y999 Z999") == "script-outside 1");
  Rig rig;
  auto many = [&](std::string_view line, std::string_view last) {
    std::string text;
    for (int i = 0; i < 500; ++i) text += fmt::format("{}\n", line);
    Machine machine(rig.controller);
    machine.run(ScriptSlot::start, text + std::string(last));
    return test::told(machine.findings());
  };
  CHECK(many("G28\nG1 X5", "M500").ends_with("; script-unlisted start:1001"));
  std::string errors = many("M500", "M500");
  CHECK(std::count(errors.begin(), errors.end(), ';') < 200);
}

TEST_CASE("enormous numbers and long texts come to an end") {
  Rig rig;
  std::string nines(308, '9');
  for (std::string_view line : {"G1 X{0}", "G91\nG1 X{0}\nG1 X{0}\nG1 X-{0}", "G20\nG1 Y{0}", "G2 X{0} Y{0} I{0} J{0}", "M104 S{0}", "G92 Z{0}\nG1 Z-{0}"}) {
    CAPTURE(line);
    std::string text = fmt::format(fmt::runtime(line), nines);
    CHECK(rig.ready(text) != "");
    Machine machine(rig.controller);
    rig.make_ready(machine);
    machine.run(ScriptSlot::end, text);
    for (const ScriptFinding& each : machine.findings()) {
      CHECK(each.message.find("nan") == std::string::npos);
      CHECK(each.message.find("nf ") == std::string::npos);
    }
  }
  std::string text;
  for (int i = 0; i < 4000; ++i) text += "G1 X1 Y1\nG1 X2\n";
  CHECK(rig.ready(text) == "");
  CHECK(rig.ready(std::string(60000, '\n')) == "");
  CHECK(rig.ready(std::string(60000, 'X')) == "script-unlisted 1");  // a macro of that name
}

TEST_CASE("what follows a stop sets no parameter, and what came before it stays set") {
  Rig rig(Grammar::rs274);
  Machine machine(rig.controller);
  machine.run(ScriptSlot::start, "#1=5\nM2\n#1=7\n#2=9\n");
  CHECK(machine.state.parameters == Parameters{{1, 5.0}});
}

}  // TEST_SUITE
