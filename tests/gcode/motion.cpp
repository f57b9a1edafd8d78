// Moves of the virtual machine. NISTIR 6556 is named with its sections from memory.
#include "rig.h"

using namespace bindery;
using test::Rig;

namespace {

bool near(double a, double b) { return std::abs(a - b) < 1e-6; }

// A machine of rs274 that stands at a known place, and its moves; its reach is wide.
struct Mill : Rig {
  Machine machine;
  Mill(double x, double y, double z) : Rig(Grammar::rs274), machine(widened()) {
    machine.run(ScriptSlot::start, fmt::format("G28\nM109 S200\nG21 G90 G17\nG1 X{} Y{} Z{} F600\n", x, y, z));
    REQUIRE_MESSAGE(machine.findings().empty(), test::told(machine.findings()));
  }
  const Controller& widened() {
    controller.reach = {Extent{-1000, 1000}, Extent{-1000, 1000}, Extent{-1000, 1000}};
    controller.relative_extrusion.reset();
    return controller;
  }
  Mill& run(std::string_view text) {
    machine.run(ScriptSlot::end, text);
    return *this;
  }
  std::string said() const { return test::told(machine.findings()); }
  double at(std::size_t axis) const {
    REQUIRE(machine.state.at[axis].is_point());
    return machine.state.at[axis].low;
  }
};

}  // namespace

TEST_SUITE("gcode/motion") {

// NISTIR 6556, 3.5.18, its example.
TEST_CASE("G92 at X=4 with 7 makes an offset of -3, and then with 9 one of -5") {
  for (std::string_view mode : {"G90\n", "G91\n"}) {
    CAPTURE(mode);
    Mill mill(4, 0, 0);
    mill.run(mode).run("G92 x7");
    CHECK(mill.machine.state.offset[0] == std::optional(-3.0));
    CHECK(mill.at(0) == 4);
    mill.run("G92 x9");
    CHECK(mill.machine.state.offset[0] == std::optional(-5.0));
    CHECK(mill.said() == "");
  }
  Mill mill(4, 0, 0);
  mill.run("G92 X7\nG1 X8");
  CHECK(mill.at(0) == 5);
  CHECK(mill.run("G28").machine.state.offset[0] == std::optional(0.0));
}

// NISTIR 6556, 3.5.3.2, its example.
TEST_CASE("an arc by its centre from (7, 7) to (10, 16) has the centre (10, 11) and the radius 5, and is a helix unless Z stays") {
  Mill mill(7, 7, 0);
  mill.run("G17 G2 x10 y16 i3 j4 z9");
  REQUIRE(mill.machine.last_arc().has_value());
  Arc arc = *mill.machine.last_arc();
  CHECK(near(arc.centre[0], 10));
  CHECK(near(arc.centre[1], 11));
  CHECK(near(arc.radius, 5));
  CHECK(arc.helix);
  CHECK(mill.said() == "");
  CHECK(mill.at(0) == 10);
  CHECK(mill.at(2) == 9);

  Mill flat(7, 7, 9);
  flat.run("G17 G2 x10 y16 i3 j4 z9");
  CHECK_FALSE(flat.machine.last_arc()->helix);
}

// NISTIR 6556, 3.5.3.2.
TEST_CASE("an arc by its centre whose radii differ by more than 0.002 mm is a fault") {
  CHECK(Mill(0, 0, 0).run("G2 X20.0019 Y0 I10 J0").said() == "");
  CHECK(Mill(0, 0, 0).run("G2 X19.9981 Y0 I10 J0").said() == "");
  CHECK(Mill(0, 0, 0).run("G2 X20.0021 Y0 I10 J0").said() == "script-syntax end:1");
  CHECK(Mill(0, 0, 0).run("G2 X19.9979 Y0 I10 J0").said() == "script-syntax end:1");
  CHECK(Mill(0, 0, 0).run("G2 X20 Y0").said() == "script-syntax end:1");
  CHECK(Mill(0, 0, 0).run("G2 X20 Y0 I10").said() == "");  // J is 0
}

// NISTIR 6556, 3.5.3.1, from memory: R above 0 turns by less than half a circle, below by more. Centres by elementary geometry.
TEST_CASE("an arc by its radius has the centre on the side that its sign says") {
  struct Example {
    std::string_view line;
    double x, y;
  };
  // From (0, 0) to (6, 0) with radius 5: the centre is 4 above or below (3, 0).
  for (const Example& each : {Example{"G2 X6 Y0 R5", 3, -4}, {"G3 X6 Y0 R5", 3, 4}, {"G2 X6 Y0 R-5", 3, 4}, {"G3 X6 Y0 R-5", 3, -4}}) {
    CAPTURE(each.line);
    Mill mill(0, 0, 0);
    mill.run(each.line);
    REQUIRE(mill.machine.last_arc().has_value());
    CHECK(near(mill.machine.last_arc()->centre[0], each.x));
    CHECK(near(mill.machine.last_arc()->centre[1], each.y));
    CHECK(mill.machine.last_arc()->radius == 5);
  }
  CHECK(Mill(0, 0, 0).run("G2 X10 Y0 R5").said() == "");                    // half a circle
  CHECK(Mill(0, 0, 0).run("G2 X11 Y0 R5").said() == "script-syntax end:1");  // joins no such points
  CHECK(Mill(0, 0, 0).run("G2 X0 Y0 R5").said() == "script-syntax end:1");
  CHECK(Mill(0, 0, 0).run("G2 X6 Y0 R0").said() == "script-syntax end:1");
}

// NISTIR 6556, 3.5.3.2: in the plane of X and Z the centre is given by I and K, in that of Y and Z by J and K.
TEST_CASE("an arc lies in the plane that was chosen") {
  Mill xz(0, 0, 0);
  xz.run("G18 G2 X10 Z0 I5 K0");
  CHECK(xz.said() == "");
  CHECK(near(xz.machine.last_arc()->centre[0], 0));  // Z
  CHECK(near(xz.machine.last_arc()->centre[1], 5));  // X
  Mill yz(0, 0, 0);
  yz.run("G19\nG3 Y10 Z10 K10 J0 X3");
  CHECK(yz.said() == "");
  CHECK(near(yz.machine.last_arc()->centre[1], 10));
  CHECK(yz.machine.last_arc()->helix);
  CHECK(Mill(0, 0, 0).run("G18 G2 X10 Z0 J5").said() == "script-syntax end:1");
}

// NISTIR 6556, table 8.
TEST_CASE("the codes of a line are executed in the order of the table, not of the line") {
  Mill mill(0, 0, 0);
  mill.run("G1 X1 G20");  // units before motion
  CHECK(near(mill.at(0), 25.4));
  mill.run("G21\nG1 X1 G91\nX1");  // distance before motion
  CHECK(near(mill.at(0), 27.4));
  mill.run("G90 G0 X0 Y0\nG2 X10 Y0 I5 J0 G17");  // the plane too
  CHECK(mill.machine.last_arc().has_value());
  CHECK(Mill(0, 0, 0).run("X5 G1 F99999").said() == "script-fast end:1");  // the feed before the motion
  Mill stopped(0, 0, 0);  // the stop last
  stopped.run("M2 G1 X5");
  CHECK(stopped.at(0) == 5);
  CHECK(Mill(0, 0, 0).run("G20 G1 X1 F60").machine.state.feed == 1);  // the feed before the units: 60 mm/min
  mill.run("#5=7 G1 X#5\nG1 Y#5");  // a parameter after all
  CHECK(mill.at(0) == 0);
  CHECK(mill.at(1) == 7);
}

// NISTIR 6556, 3.4, from memory: G92 suspends the motion in force for its line.
TEST_CASE("a setting of the position takes its axis words for itself") {
  Mill mill(4, 0, 0);
  mill.run("G1 X4\nG92 X7");
  CHECK(mill.said() == "");
  CHECK(mill.at(0) == 4);
}

// NISTIR 6556, 3.3.1.
TEST_CASE("line numbers may repeat and come in any order, and a line that may be left out is run") {
  Mill mill(0, 0, 0);
  mill.run("N30 G1 X1\nN30 X2\nN1 X3\n/ N2 X4\n\n(only words)");
  CHECK(mill.said() == "");
  CHECK(mill.at(0) == 4);
}

// NISTIR 6556, 3.4: motion is modal.
TEST_CASE("axis words alone do what the last motion did, in rs274") {
  Mill mill(0, 0, 0);
  mill.run("G1 X5\nY6\nG2 X15 I5 J0\nX25 I5 J0");
  CHECK(mill.said() == "");
  CHECK(mill.at(0) == 25);
  CHECK(mill.machine.last_arc().has_value());

  Rig rig(Grammar::rs274);
  CHECK(rig.cold("G28\nG92 X5\nX5\n") == "script-syntax start:3");  // no motion is in force
  CHECK(Rig().ready("X5") == "script-syntax 1");
}

// NISTIR 6556, 3.5.1, 3.5.2 and 3.5.18.
TEST_CASE("a motion and a setting of the position need an axis, in rs274") {
  Rig rig(Grammar::rs274);
  CHECK(rig.ready("G0") == "script-syntax 1");
  CHECK(rig.ready("G1 F600") == "script-syntax 1");
  CHECK(rig.ready("G92") == "script-syntax 1");
  CHECK(rig.ready("G1 A1 F240") == "");
  CHECK(rig.ready("F600") == "");
  // Print firmware moves the feed alone, and would take every axis to be at 0 for the other (from memory).
  CHECK(Rig().ready("G1 F600\nG0") == "");
  CHECK(Rig().ready("G92") == "script-syntax 1");
}

// 1 in = 25.4 mm exactly.
TEST_CASE("inches are lengths, and feeds too") {
  CHECK(Rig().ready("G20\nG1 X8.66\nG21") == "");
  CHECK(Rig().ready("G20\nG1 X8.662\nG21") == "script-outside 2");  // 220.0148 mm
  CHECK(Rig().ready("G20\nG1 X1 F708\nG21") == "");                  // 299.72 mm/s
  CHECK(Rig().ready("G20\nG1 X1 F709\nG21") == "script-fast 2");     // 300.14 mm/s
}

TEST_CASE("a position stays in the reach, with a slack of a thousandth") {
  for (std::string_view line : {"G1 X220", "G1 X0", "G1 Y220.001", "G1 Y-0.001", "G1 Z250", "G1 Z0", "G1 X0 Y220 Z1"}) {
    CAPTURE(line);
    CHECK(Rig().ready(line) == "");
  }
  for (std::string_view line : {"G1 X220.01", "G1 X-0.01", "G0 Y221", "G1 Y-5", "G1 Z250.5", "G1 Z-0.05", "G1 X10 Y300", "g1x9999", "G1 X99999999"}) {
    CAPTURE(line);
    CHECK(Rig().ready(line) == "script-outside 1");
  }
  CHECK(Rig().ready("G91\nG1 X120\nG1 X0.01\nG1 X-0.01") == "script-outside 3");
  CHECK(Rig().ready("G91\nG1 Z-50\nG1 Z-0.1") == "script-outside 3");
  CHECK(Rig().ready("G92 X0\nG1 X120") == "");
  CHECK(Rig().ready("G92 X0\nG1 X121\nG1 X-101") == "script-outside 2; script-outside 3");
}

TEST_CASE("what follows a move outside starts at the edge, so that one slip is told once") {
  CHECK(Rig().ready("G91\nG1 X500\nG1 X-100\nG1 X-10") == "script-outside 2");
  CHECK(Rig().ready("G1 X500\nG1 X500") == "script-outside 1; script-outside 2");  // two slips
}

TEST_CASE("a round reach ends at its radius about the middle") {
  Rig rig;
  rig.controller.radius = 100;  // about (110, 110)
  CHECK(rig.ready("G1 X210 Y110\nG1 X110 Y210\nG1 X180.7 Y180.7") == "");  // 99.985
  CHECK(rig.ready("G1 X180.72 Y180.72") == "script-outside 1");            // 100.013
  CHECK(rig.ready("G1 X180 Y160\nG3 X160 Y180 I-10 J10") == "");               // bows to 99.0, about (170, 170)
  CHECK(rig.ready("G1 X185 Y165\nG3 X165 Y185 I-10 J10") == "script-outside 2");  // bows to 106.1 about (175, 175)
  CHECK(rig.ready("G1 X185 Y165\nG2 X165 Y185 I-10 J10") == "");                 // inwards, to (165, 165)
  CHECK(rig.ready("G1 X11 Y100") == "");
  CHECK(rig.ready("G1 X10 Y100") == "script-outside 1");  // 100.5
  CHECK(rig.ready("G1 Z250") == "");
}

TEST_CASE("an arc that swings outside between its ends leaves the reach") {
  // About (110, 110), from (110, 10) to (110, 210): to the right X swings to 210; about (130, 110) with radius 102 to 232.
  CHECK(Rig().ready("G1 X110 Y10\nG3 X110 Y210 I0 J100") == "");
  CHECK(Rig().ready("G1 X130 Y10\nG3 X130 Y210 I0 J100") == "script-outside 2");
  CHECK(Rig().ready("G1 X130 Y10\nG2 X130 Y210 I0 J100") == "");  // the other way, to 30
  CHECK(Rig().ready("G1 X90 Y10\nG2 X90 Y210 I0 J100") == "script-outside 2");
  CHECK(Rig().ready("G1 X100 Y130\nG2 X210 Y130 R60") == "");
  CHECK(Rig().ready("G1 X100 Y130\nG2 X200 Y130 R-95") == "script-outside 2");
  CHECK(Rig().ready("G1 X200 Y110\nG2 X200 Y110 I-80 J0") == "");  // a whole circle: 40 to 200
  CHECK(Rig().ready("G1 X200 Y110\nG2 X200 Y110 I-110 J0") == "script-outside 2");
}

TEST_CASE("an axis moves only when it is homed") {
  CHECK(Rig().cold("G1 X1 F600") == "script-unhomed start:1");
  CHECK(Rig().cold("G91\nG1 Z5 F600") == "script-unhomed start:2");
  CHECK(Rig().cold("G28 X\nG1 X5 F600") == "");
  CHECK(Rig().cold("G28 X Y\nG1 X5 Y5 Z5 F600") == "script-unhomed start:2");
  CHECK(Rig().cold("G28\nG1 X5 Y5 Z5 F600") == "");
  CHECK(Rig().cold("G28\nM84\nG1 X5 F600") == "script-unhomed start:3");
  CHECK(Rig().cold("G28\nM84 X\nG1 Y5 F600") == "");
  CHECK(Rig().cold("G28\nM84 X\nG28 X\nG1 X5 F600") == "");
  CHECK(Rig().cold("G28\nM84 S60\nG1 X5 F600") == "");  // a time of idleness
  CHECK(Rig().cold("G92 X0 Y0 Z0\nG1 X5 F600") == "script-unhomed start:2");  // pretends it
  CHECK(Rig().cold("G1 X1 F600\nG1 X2\nG1 Y2\n") == "script-unhomed start:1; script-unhomed start:3");  // once an axis
  CHECK(Rig().cold("G29") == "script-unhomed start:1");
  CHECK(Rig().cold("G28\nG29") == "");
  CHECK(Rig().cold("G2 X5 Y5 I5 F600") == "script-unhomed start:1");
}

TEST_CASE("after homing the head is where the machine says, or anywhere in its reach") {
  Rig rig;
  CHECK(rig.cold("G28\nG91\nG1 X1 F600\nG1 X-1\nG1 Y220\nG1 Y-220") == "");  // may be inside
  CHECK(rig.cold("G28\nG91\nG1 X221 F600") == "script-outside start:3");
  CHECK(rig.cold("G28\nG91\nG1 X-221 F600") == "script-outside start:3");
  CHECK(rig.cold("G28\nG91\nG1 X120 F600\nG1 X120\n") == "script-outside start:4");
  rig.controller.home = {0, 220, std::nullopt};
  CHECK(rig.cold("G28\nG91\nG1 X220 Y-220 F600\nG1 X-220 Y220") == "");
  CHECK(rig.cold("G28\nG91\nG1 X-1 F600") == "script-outside start:3");
  CHECK(rig.cold("G28\nG91\nG1 Y1 F600") == "script-outside start:3");
  CHECK(rig.cold("G28\nG29\nG91\nG1 X-1 F600") == "");  // levelling leaves it somewhere
}

TEST_CASE("towards the bed from an unknown height a move may be into the bed") {
  Rig rig;
  CHECK(rig.cold("G28\nG91\nG1 Z-1 F600") == "script-outside start:3");
  CHECK(rig.cold("G28\nG91\nG1 Z5 F600\nG1 Z-5") == "");
  CHECK(rig.cold("G28\nG91\nG1 Z5 F600\nG1 Z-5.01") == "script-outside start:4");
  CHECK(rig.cold("G28\nG91\nG1 Z-1 F600\nG1 Z-1\n") == "script-outside start:3; script-outside start:4");
  CHECK(rig.cold("G28\nG1 Z5 F600\nG91\nG1 Z-5") == "");
  CHECK(rig.cold("G28\nG1 Z@{layer.z} F600\nG91\nG1 Z-1") == "script-outside start:4");
  CHECK(rig.cold("G28\nG91\nG1 Z@{layer.z} F600") == "");
}

TEST_CASE("a position that was set at an unknown place makes positions unknown") {
  Rig rig;
  CHECK(rig.cold("G28\nG92 Z100\nG1 Z1 F600\nG91\nG1 Z-1") == "script-outside start:5");  // from anywhere
  CHECK(rig.cold("G28\nG92 Z0\nG1 Z10 F600") == "");
  CHECK(rig.cold("G28\nG92 X0\nG1 X10 F600") == "");
  CHECK(rig.cold("G28\nG92 X0\nG28\nG1 X10 F600\nG91\nG1 X-11") == "script-outside start:6");
}

TEST_CASE("a machine without a reach is not checked for it") {
  Rig rig;
  rig.controller.reach = {Extent::anything(), Extent::anything(), Extent::anything()};
  CHECK(rig.cold("G28\nG1 X5000 Y-3000 Z-20 F600\nG91\nG1 Z-10") == "");
  rig.controller.reach[0] = {0, std::numeric_limits<double>::infinity()};
  CHECK(rig.cold("G28\nG1 X5000 F600\nG91\nG1 X-5000\nG1 X-1") == "script-outside start:5");
}

TEST_CASE("feeds stay below what X and Y, Z and the drive bear, each by its share of the way") {
  Rig rig;  // 300, 20 and 60 mm/s
  CHECK(rig.ready("G1 X200 F18000") == "");
  CHECK(rig.ready("G1 X200 F18001") == "script-fast 1");
  CHECK(rig.ready("G0 X200 F18001") == "script-fast 1");
  CHECK(rig.ready("G1 Z60 F1200") == "");
  CHECK(rig.ready("G1 Z60 F1201") == "script-fast 1");
  CHECK(rig.ready("G1 E-1 F3600") == "");
  CHECK(rig.ready("G1 E-1 F3601") == "script-fast 1");
  // 3, 4: of 33 mm/s on the way Z has 4/5, 26.4; of 25 mm/s it has 20.
  CHECK(rig.ready("G1 X103 Z54 F1500") == "");
  CHECK(rig.ready("G1 X103 Z54 F1980") == "script-fast 1");
  CHECK(rig.ready("G1 Z60 F1200\nG1 X200 F6000\nG1 Z70") == "script-fast 3");  // the feed is modal
  CHECK(rig.ready("G1 X100 Y100 F99999") == "");                                // goes nowhere
  CHECK(rig.ready("G1 F99999") == "");
  CHECK(rig.ready("G1 F99999\nG1 X101") == "script-fast 2");
}

TEST_CASE("from an unknown place only moves along X and Y, or along Z, are surely too fast") {
  Rig rig;
  CHECK(rig.cold("G28\nG1 X5 F18001") == "script-fast start:2");
  CHECK(rig.cold("G28\nG1 Z5 F1201") == "script-fast start:2");
  CHECK(rig.cold("G28\nG1 X5 Z5 F1201") == "");  // which share Z has is not known
  CHECK(rig.cold("G28\nG1 X5 Z5 F18030") == "");
  CHECK(rig.cold("G28\nG91\nG1 X3 Z4 F1980") == "script-fast start:3");  // relative: it is
}

TEST_CASE("a machine without a bound on speed is not checked for it") {
  Rig rig;
  rig.controller.axis_speed.reset();
  rig.controller.z_speed.reset();
  rig.controller.extruder_speed.reset();
  rig.controller.flow_limit.reset();
  CHECK(rig.ready("G1 X200 F999999\nG1 Z60\nG1 E1") == "");
}

// Q = A v; a filament of 1.75 mm has an area of pi d^2 / 4 = 2.40528 mm^2, so 12 mm^3/s are 4.98903 mm of it a second.
TEST_CASE("what is extruded on the way stays below the flow limit") {
  Rig rig;
  CHECK(rig.ready("G1 X160 E4.98 F3600") == "");  // 60 mm in a second
  CHECK(rig.ready("G1 X160 E5 F3600") == "script-fast 1");
  CHECK(rig.ready("G1 X160 E-5 F3600") == "");  // drawn back
  CHECK(rig.ready("G1 X160 E5 F3590") == "");
  rig.controller.flow_limit.reset();
  CHECK(rig.ready("G1 X160 E5 F3600") == "");
  CHECK(rig.ready("G1 X101 E4 F3600") == "script-fast 1");  // 240 mm/s of filament
}

TEST_CASE("what is pushed out standing still is flow, but for what was drawn back before") {
  Rig rig;
  CHECK(rig.ready("G1 E50 F299") == "");
  CHECK(rig.ready("G1 E50 F300") == "script-fast 1");
  CHECK(rig.ready("G1 E-2 F2400\nG1 E2 F2400") == "");
  CHECK(rig.ready("G1 E-2 F2400\nG1 E2.1 F2400") == "script-fast 2");
  CHECK(rig.ready("G1 E-1 F2400\nG1 E-1 F2400\nG1 E2 F2400\nG1 E1 F2400") == "script-fast 4");
  CHECK(rig.ready("G10\nG11\nG1 E1 F2400") == "script-fast 3");
}

TEST_CASE("absolute extrusion counts from the last position that is known") {
  Rig rig;
  rig.controller.relative_extrusion = false;
  auto says = [&](std::string_view text) {
    Machine machine(rig.controller);
    machine.run(ScriptSlot::start, "G28\nM82\nM109 S200\nG92 E0\nG1 X100 Y100 Z50 F1200\n");
    machine.run(ScriptSlot::end, text);
    return test::told(machine.findings());
  };
  CHECK(says("G1 X160 E4.98 F3600\nG1 X100 E9.96") == "");
  CHECK(says("G1 X160 E4.98 F3600\nG1 X100 E9.99") == "script-fast end:2");
  CHECK(says("G1 X160 E4.98 F3600\nG92 E0\nG1 X100 E4.98") == "");
  CHECK(says("G1 X160 E4.98 F3600\nG92 E0\nG1 X100 E5") == "script-fast end:3");
  CHECK(says("G92 E500\nG1 X160 E504 F3600") == "");
}

TEST_CASE("a feed above nothing is given before the first move") {
  CHECK(Rig().cold("G28\nG1 X5") == "script-feedless? start:2");
  CHECK(Rig().cold("G28\nG1 X5 F600") == "");
  CHECK(Rig().cold("G28\nG1 F600\nG1 X5") == "");
  CHECK(Rig().cold("G28") == "");
  CHECK(Rig().cold("M109 S200\nM83\nG1 E5") == "script-feedless? start:3");
  CHECK(Rig().ready("G1 X5 F0") == "script-value 1");
  CHECK(Rig().ready("G1 X5 F-600") == "script-value 1");
}

TEST_CASE("an axis without a number goes nowhere") {
  CHECK(Rig().ready("G1 X") == "script-syntax 1");
  CHECK(Rig().ready("G1 X5 Y") == "script-syntax 1");
}

}  // TEST_SUITE
