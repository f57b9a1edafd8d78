// The scripts of a profile in the order in which a printer runs them: start, the print, layer, pause, end.
#include "rig.h"

using namespace bindery;
using test::Rig;
using test::sound_end;
using test::sound_start;

namespace {

// A rig's finding for a layer script between sound ones, and so on.
std::string start_says(std::string text) { return Rig().says({.start = std::move(text), .end = sound_end}); }
std::string layer_says(std::string text) { return Rig().says({.start = sound_start, .layer = std::move(text), .end = sound_end}); }
std::string pause_says(std::string text) { return Rig().says({.start = sound_start, .pause = std::move(text), .end = sound_end}); }
std::string end_says(std::string text) { return Rig().says({.start = sound_start, .end = std::move(text)}); }

}  // namespace

TEST_SUITE("gcode/scripts") {

TEST_CASE("careful scripts give no finding") {
  Rig rig;
  CHECK(rig.says({.start = sound_start,
                  .layer = "; layer @{layer.number}\nG92 E0\nM117 Layer @{layer.number}\n",
                  .pause = "G1 E-1 F1800\nG91\nG1 Z5 F600\nG90\nG1 X0 Y0 F6000\nM104 S150\nM0\nM109 S210\nG1 E1 F1800\n",
                  .end = sound_end}) == "");
  CHECK(rig.says({}) == "");
  CHECK(rig.says({.layer = "; only words"}) == "");
}

TEST_CASE("the start script leaves positions absolute and millimetres") {
  CHECK(start_says(sound_start + "G91\nG1 Z1 F600\n") == "script-mode start:10");
  CHECK(start_says(sound_start + "G91\nG1 Z1 F600\nG90\n") == "");
  CHECK(start_says(sound_start + "G20\n") == "script-mode start:10");
  CHECK(start_says(sound_start + "G20\nG21\n") == "");
}

TEST_CASE("the start script says how extrusion is given, and as the print gives it") {
  CHECK(start_says("G28\nM190 S60\nM109 S210\n") == "script-mode start:3");
  CHECK(start_says("G28\nM190 S60\nM109 S210\n\n\n") == "script-mode start:3");  // its last line that says something
  CHECK(start_says("G28\nM190 S60\nM109 S210\nM82\n; ready\n") == "script-mode start:4");
  CHECK(start_says("G28\nM82\nM190 S60\nM109 S210\nM83\n") == "");
  Rig rig;
  rig.controller.relative_extrusion = false;
  CHECK(rig.says({.start = "G28\nM83\nM109 S210\n", .end = sound_end}) == "script-mode start:2");
  CHECK(rig.says({.start = "G28\nM82\nM109 S210\n", .end = sound_end}) == "");
  rig.controller.relative_extrusion.reset();
  CHECK(rig.says({.start = "G28\nM109 S210\n", .end = sound_end}) == "");
  rig.controller.relative_extrusion = true;
  rig.controller.joined_modes = true;
  CHECK(rig.says({.start = "G28\nM83\nG90\nM109 S210\n", .end = "G1 E-1 F900\nM104 S0\nM107\nM84\n"}) == "script-mode start:3");
  CHECK(rig.says({.start = "G28\nG90\nM83\nM109 S210\n", .end = "G1 E-1 F900\nM104 S0\nM107\nM84\n"}) == "");
}

TEST_CASE("the start script waits for the nozzle that it heats") {
  CHECK(start_says("G28\nM83\nM104 S210\n") == "script-cold start:3");
  CHECK(start_says("G28\nM83\nM109 S150\n") == "script-cold start:3");  // only warm
  CHECK(start_says("G28\nM83\nM104 S210\nM109 S210\n") == "");
  CHECK(start_says("G28\nM83\n") == "");  // leaves it to the print
  Rig rig;
  auto findings = rig.findings({.start = "G28\nM83\nM104 S210\n", .end = sound_end});
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].message == "the start script heats the nozzle and does not wait for it");
}

TEST_CASE("the start script leaves all axes homed, since the print moves them") {
  CHECK(start_says("G90\nM83\nM109 S210\n") == "script-unhomed start:3");
  CHECK(start_says("G28 X Y\nM83\nM109 S210\n") == "script-unhomed start:3");
  CHECK(start_says("G28\nM83\nM109 S210\nM84\n; ready\n") == "script-unhomed start:5");
  CHECK(start_says("G28 X Y\nG28 Z\nM83\nM109 S210\n") == "");
}

TEST_CASE("the print waits for a bed that the start script sets") {
  CHECK(start_says("G28\nM83\nM140 S60\nM109 S210\n") == "script-cold? start:3");
  CHECK(start_says("G28\nM83\nM140 S60\nM109 S210\nM190 S60\n") == "");
  CHECK(start_says("G28\nM83\nM109 S210\nM104 S240\n") == "script-cold start:4");
}

TEST_CASE("scripts leave the plane of X and Y") {
  CHECK(start_says(sound_start + "G18\n") == "script-mode start:10");
  CHECK(start_says(sound_start + "G18\nG17\n") == "");
  CHECK(layer_says("G19\n") == "script-mode layer:1");
}

TEST_CASE("layer, pause and end begin in the modes of the print") {
  // Of the start script nothing stays: neither its offsets nor its position.
  CHECK(end_says("G1 E-1 F900\nM104 S0\nM140 S0\nM107\nM84\n") == "");
  CHECK(Rig().says({.start = sound_start + "G92 X100\n", .end = "G1 X5 F6000\n" + sound_end}) == "");
  CHECK(end_says("G91\nG1 Z-0.1 F600\n" + sound_end) == "script-outside end:2");
  CHECK(end_says("G91\nG1 Z10 F600\nG1 Z-10\n" + sound_end) == "");
  CHECK(end_says("G91\nG1 X-221 F600\n" + sound_end) == "script-outside end:2");
  CHECK(end_says("G1 X-1 F600\n" + sound_end) == "script-outside end:1");
  CHECK(layer_says("G91\nG1 Z-0.1 F600\nG90") == "script-outside layer:2");
  CHECK(end_says("G1 E-1\n" + sound_end) == "");      // the print has given a feed
  CHECK(end_says("G1 X5 F18001\n" + sound_end) == "script-fast end:1");
  CHECK(layer_says("G1 X5\nG1 E1") == "");
}

TEST_CASE("layer and pause scripts leave the modes as they find them") {
  for (auto says : {layer_says, pause_says}) {
    for (std::string_view sound : {"G91\nG1 X1 F600\nG90", "M82\nM83", "G20\nG21", "M104 S210", "M109 S210", "M140 S60", "G92 E0"}) {
      CAPTURE(sound);
      CHECK(says(std::string(sound)) == "");
    }
  }
  CHECK(layer_says("G90\nG91\n; here") == "script-mode layer:2");
  CHECK(layer_says("M82") == "script-mode layer:1");
  CHECK(layer_says("G20") == "script-mode layer:1");
  CHECK(pause_says("G91\nG1 Z5 F600\nM0") == "script-mode pause:1");
  Rig rig;
  rig.controller.joined_modes = true;
  CHECK(rig.says({.start = sound_start, .layer = "G91\nG1 Z1 F600\nG90", .end = sound_end}) == "script-mode layer:3");
  CHECK(rig.says({.start = sound_start, .layer = "G91\nG1 Z1 F600\nG90\nM83", .end = sound_end}) == "");
}

TEST_CASE("layer and pause scripts leave the nozzle hot and the axes homed") {
  CHECK(pause_says("M104 S0\nM0") == "script-cold pause:2; script-mode pause:1");
  CHECK(pause_says("M104 S150\nM0\nM104 S210") == "script-cold pause:3");
  CHECK(pause_says("M104 S150\nM0\nM109 S210") == "");
  CHECK(layer_says("M109 R100") == "script-cold layer:1; script-mode layer:1");
  CHECK(pause_says("M84\nM0") == "script-unhomed pause:2");
  CHECK(pause_says("M84 X Y\nM0\n") == "script-unhomed pause:2");
  CHECK(pause_says("M84 X Y\nM0\nG28 X Y\n") == "");
  CHECK(pause_says("M84 E\nM0") == "");
}

TEST_CASE("layer and pause scripts leave the heaters of the print as they find them") {
  CHECK(pause_says("M140 S0\nM0") == "script-mode pause:1");
  CHECK(pause_says("M140 S0\nM0\nM190 S60") == "");
  CHECK(pause_says("M104 S150\nM0\nM109 S250") == "script-mode pause:3");
  CHECK(layer_says("M104 S200") == "script-mode layer:1");
  CHECK(layer_says("M141 S50") == "script-cold? layer:1; script-left end:9");
  // The print's are those of the profile, whatever the start script began with.
  CHECK(Rig().says({.start = "G28\nM83\nM190 S70\nM109 S220\n", .layer = "M104 S210\nM140 S60\n", .end = sound_end}) == "");
  CHECK(Rig().says({.start = "G28\nM83\nM190 S70\nM109 S220\n", .layer = "M104 S220\nM140 S70\n", .end = sound_end}) == "script-mode layer:1; script-mode layer:2");
}

TEST_CASE("what layer and pause switch on is off at the end") {
  CHECK(layer_says("M106 P2 S255") == "script-left end:9");
  CHECK(layer_says("M106 P2 S255\nM107 P2") == "");
  CHECK(pause_says("M106 P2 S255") == "script-left end:9");
  CHECK(Rig().says({.start = sound_start, .layer = "M106 P2 S255", .end = "M107 P2\n" + sound_end}) == "");
}

TEST_CASE("layer and pause are judged each by itself, and do not reach the end") {
  Rig rig;
  CHECK(rig.says({.start = sound_start, .layer = "M104 S0", .pause = "M82", .end = sound_end}) == "script-cold layer:1; script-mode layer:1; script-mode pause:1");
}

TEST_CASE("at the end heaters, fans and motors are off") {
  CHECK(end_says(sound_end) == "");
  CHECK(end_says("M140 S0\nM107\nM84\n") == "script-left end:3");
  CHECK(end_says("M104 S0\nM107\nM84\n") == "script-left end:3");
  CHECK(end_says("M104 S0\nM140 S0\nM84\n") == "script-left end:3");
  CHECK(end_says("M104 S0\nM140 S0\nM107\n") == "script-left end:3");
  CHECK(end_says("M104 S0\nM140 S0\nM106 S0\nM84\n") == "");
  CHECK(end_says("M104 S0\nM140 S0\nM107\nM84\nM104 S200\n") == "script-left end:5");  // on again
  CHECK(end_says("M104 S0\nM140 S0\nM107\nM84\nG28\n") == "script-left end:5");         // homing takes motors
  CHECK(end_says("M104 S0\nM140 S0\nM107\nM84\nM17\n") == "script-left end:5");
  CHECK(end_says("M104 S0\nM140 S0\nM107\nM84 X Y Z\n") == "script-left end:4");  // the drive
  CHECK(end_says("M104 S0\nM140 S0\nM107\nM84 S120\n") == "script-left end:4");   // later is not off
  CHECK(end_says("M104 S0\nM140 S0\nM107 P3\nM84\n") == "script-left end:4");
  CHECK(Rig().says({.start = sound_start + "M106 P2 S99\n", .end = sound_end}) == "script-left end:9");
  CHECK(Rig().says({.start = sound_start + "M141 S50\nM191 S50\n", .end = sound_end}) == "script-left end:9");
}

TEST_CASE("what is left on is told in one finding, with one cure and the place where it was switched on") {
  Rig rig;
  auto findings = rig.findings({.start = sound_start, .end = "G1 E-1 F900\n\n"});
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].code == Code::script_left);
  CHECK(findings[0].place == ScriptPlace{ScriptSlot::end, 0});
  CHECK(findings[0].message == "the end script leaves the heater of the nozzle on, the heater of the bed on, the part fan running and the motors of X, Y, Z and E on");
  CHECK(findings[0].help == "write `M104 S0`, `M140 S0`, `M107` and `M84` at the end");
  REQUIRE(findings[0].related.has_value());
  CHECK(*findings[0].related == ScriptPlace{ScriptSlot::start, 6});  // M109
  CHECK(findings[0].related_message == "switched on here");
}

TEST_CASE("without an end script the state after the print is judged just the same, if something started") {
  Rig rig;
  CHECK(rig.says({.start = sound_start}) == "script-left start:7");
  CHECK(rig.findings({.start = sound_start})[0].message.starts_with("there is no end script, so the end leaves "));
  CHECK(rig.says({.layer = "G92 E0"}) == "");
  CHECK(rig.says({.start = "; nothing"}) != "");
}

TEST_CASE("an end script alone ends the print, whoever started it") {
  Rig rig;
  CHECK(rig.says({.end = "M107\nM84"}) == "");
  CHECK(rig.says({.end = "M107"}) == "");  // no script of this profile heated or moved
  CHECK(rig.says({.end = "M107\nG91\nG1 Z5 F600"}) == "script-left end:3");
}

TEST_CASE("fans do not count where the list has no code for them") {
  Rig rig;
  rig.controller.switches_fans = false;
  CHECK(rig.says({.start = sound_start, .end = "M104 S0\nM140 S0\nM84\n"}) == "");
}

TEST_CASE("what would drop or must cool stays on at the end") {
  Rig rig;
  rig.controller.held[2] = true;
  CHECK(rig.says({.start = sound_start, .end = "M104 S0\nM140 S0\nM107\nM84 X Y E\n"}) == "");
  CHECK(rig.says({.start = sound_start, .end = "M104 S0\nM140 S0\nM107\nM84\n"}) == "script-dropped end:4");
  CHECK(rig.says({.start = sound_start, .end = "M104 S0\nM140 S0\nM107\n"}) == "script-left end:3");
  auto left = rig.findings({.start = sound_start, .end = "M104 S0\nM140 S0\nM107\n"});
  REQUIRE(left.size() == 1);
  CHECK(left[0].message == "the end script leaves the motors of X, Y and E on");
  CHECK(left[0].help == "write `M84 X Y E` at the end");
  rig.controller.hotend_fan = 1;
  rig.controller.hotend_fan_until = 50;
  std::string start = "M106 P1 S255\n" + sound_start;
  CHECK(rig.says({.start = start, .end = "M104 S0\nM140 S0\nM107\nM84 X Y E\n"}) == "");
  CHECK(rig.says({.start = start, .end = "M104 S0\nM140 S0\nM107\nM107 P1\nM84 X Y E\n"}) == "script-dropped end:4");
  CHECK(rig.says({.start = start, .end = "M104 S0\nM140 S0\nM107\nM109 R45\nM104 S0\nM107 P1\nM84 X Y E\n"}) == "");
  CHECK(rig.says({.start = start, .pause = "M107 P1", .end = "M104 S0\nM140 S0\nM107\nM84 X Y E\n"}) == "script-dropped pause:1");
  CHECK(rig.says({.start = sound_start, .end = "M104 S0\nM140 S0\nM107\nM84 X Y E\n"}) == "script-dropped start:7");
}

TEST_CASE("a pause that cools the nozzle may not stop the hot end's fan before it is cool") {
  Rig rig;
  rig.controller.hotend_fan = 0;
  rig.controller.hotend_fan_until = 50;
  CHECK(rig.says({.start = "M106 S255\n" + sound_start, .pause = "M104 S0\nM0\nM107\nM106\nM109 S210", .end = "M104 S0\nM140 S0\nM84\n"}) == "script-dropped pause:3");
  CHECK(rig.says({.start = "M106 S255\n" + sound_start, .pause = "M109 R40\nM0\nM107\nM106\nM109 S210", .end = "M104 S0\nM140 S0\nM84\n"}) == "");
}

// Among what facts of the trade call dangerous in a script from a stranger (from memory); none of these is in the list.
TEST_CASE("what a stranger writes to hurt a machine is found in every script") {
  for (std::string_view line : {"M500", "M501", "M502", "M211 S0", "M121", "M301 P99", "M303 E0 S250", "M304 P1", "M305 P0 R1", "M143 S400", "M92 E9999", "M206 Z-5", "M851 Z-5", "M42 P4 S255", "M28 X.G",
                                "M30 X", "M81", "M997", "M999", "M203 X9999", "M201 X99999", "M112", "M906 X5000", "G53 G0 Z-1", "G10 L2 P1 Z-5", "SET_PIN PIN=x VALUE=1"}) {
    CAPTURE(line);
    std::string text = fmt::format("{}\n", line);
    auto wrong = [](const std::string& said) { return said.find("script-unlisted") != std::string::npos || said.find("script-syntax") != std::string::npos; };
    CHECK(wrong(start_says(text + sound_start)));
    CHECK(wrong(layer_says(text)));
    CHECK(wrong(pause_says(text)));
    CHECK(wrong(end_says(text + sound_end)));
  }
}

TEST_CASE("scripts are executed as long as the machine's questions are not too many") {
  Rig rig;
  int asked = 0;
  auto code = rig.controller.code;
  rig.controller.code = [&](char letter, int tenths) {
    ++asked;
    return code(letter, tenths);
  };
  rig.controller.overdone = [&] { return asked > 10; };
  std::string script;
  for (int i = 0; i < 1000; ++i) script += "G28\n";
  ScriptTexts texts;
  texts[static_cast<std::size_t>(ScriptSlot::start)] = script;
  run_scripts(rig.controller, texts);
  CHECK(asked > 10);
  CHECK(asked < 20);
}

}  // TEST_SUITE
