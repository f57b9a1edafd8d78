// What print firmware reads. No standard says it: where a test names no source, the behaviour is from memory.
#include <random>

#include "base/number.h"
#include "gcode/block.h"

#include "../support.h"

using namespace bindery;

namespace {

// M117 takes text, as a message for the display.
bool takes_text(char letter, int tenths) { return letter == 'M' && tenths == 1170; }

ReadLine line_of(std::string_view line) { return read_printer(line, takes_text); }

// The words of a line in capitals, "X?" without a number, "X@" with one of the job; a macro with its keys; or the bytes that its fault points at.
std::string read(std::string_view line) {
  ReadLine got = line_of(line);
  if (got.fault) {
    CHECK_FALSE(got.fault->message.empty());
    CHECK_FALSE(got.fault->help.empty());
    REQUIRE(got.fault->end <= line.size());
    return fmt::format("fault: {}", line.substr(got.fault->begin, got.fault->end - got.fault->begin));
  }
  std::string out = got.block.macro;
  for (const MacroArgument& each : got.block.arguments) out += fmt::format(" {}=", each.key);
  for (const BlockWord& word : got.block.words) {
    if (!out.empty()) out += ' ';
    out += word.letter;
    out += word.value.known() ? write_number(word.value.number) : word.value.of == WordValue::Of::job ? "@" : "?";
  }
  return out;
}

bool faulty(std::string_view line) { return read(line).starts_with("fault: "); }

std::string message(std::string_view line) {
  ReadLine got = line_of(line);
  return got.fault ? got.fault->message : "";
}

}  // namespace

TEST_SUITE("gcode/printer") {

TEST_CASE("a line is one code and its words, with blanks between them or none") {
  CHECK(read("G1 X10 Y-2.5 E.4 F1200") == "G1 X10 Y-2.5 E0.4 F1200");
  CHECK(read("G1X10Y-2.5E.4F1200") == "G1 X10 Y-2.5 E0.4 F1200");
  CHECK(read("  g28 \t x\r") == "G28 X?");
  CHECK(read("T0") == "T0");
  CHECK(read("G01 X+5.") == "G1 X5");
  CHECK(read("M0104 S200") == "M104 S200");
  CHECK(read("G38.2 Z0") == "G38.2 Z0");
  CHECK(read("G28.1") == "G28.1");
}

TEST_CASE("a word knows the bytes that it stands on") {
  ReadLine got = line_of(" G1 X-10");
  REQUIRE(got.block.words.size() == 2);
  CHECK(got.block.words[0].begin == 1);
  CHECK(got.block.words[0].end == 3);
  CHECK(got.block.words[1].begin == 4);
  CHECK(got.block.words[1].end == 8);
  CHECK(got.block.find('X') == &got.block.words[1]);
  CHECK(got.block.find('Y') == nullptr);
}

TEST_CASE("what follows a semicolon is a comment") {
  ReadLine got = line_of("G28 ; home (all) * of it; @{layer.z}");
  CHECK(read("G28 ; home (all) * of it; @{layer.z}") == "G28");
  CHECK(got.block.comments == std::vector<std::string>{" home (all) * of it; @{layer.z}"});
  CHECK(read("; M104 S400") == "");
  CHECK(line_of("; M104 S400").block.empty());
  CHECK(read(";") == "");
  CHECK(read("") == "");
  CHECK(read("   \t") == "");
  CHECK(read("G1;X5") == "G1");
}

// Two lines that manuals of print firmware show, from memory; each checksum is the exclusive or of the bytes before `*`.
TEST_CASE("a checksum is the exclusive or of the bytes before it") {
  CHECK(read("N3 T0*57") == "T0");
  CHECK(read("N4 G92 E0*67") == "G92 E0");
  CHECK(read("N4 G92 E0*67 ; told twice") == "G92 E0");
  CHECK(read("N3 T0*56") == "fault: *56");
  CHECK(message("N3 T0*56") == "the checksum is 56, and the line's is 57");
  CHECK(read("N3 T0 *57") == "fault: *57");  // the blank counts
  CHECK(faulty("N3 T0*"));
  CHECK(faulty("N3 T0*x"));
  CHECK(faulty("N3 T0*57*57"));
  CHECK(faulty("N3 T0*57 M104 S400"));
  CHECK(faulty("N3 T0*00000000057"));
  CHECK(faulty("G1 X2*3"));
  CHECK(read("M117 *** ready ***") == "M117");  // text, where no number stands first
  CHECK(read("M117 5 * 3") == "M117");
  CHECK(faulty("N1 M117 ready*1"));
}

TEST_CASE("a line number stands first") {
  CHECK(line_of("N10 G28").block.line_number == 10);
  CHECK(line_of("n0G28").block.line_number == 0);
  CHECK(read("N10") == "");
  CHECK(line_of("N99999999999999999999 G28").fault.has_value());
  CHECK(faulty("N G28"));
  CHECK(faulty("N-5 G28"));
  CHECK(faulty("N1.5 G28"));
  CHECK(read("G28 N10") == "G28 N10");  // a word as any other: the list does not hold it
}

TEST_CASE("a whole word calls a macro with keys and values") {
  CHECK(read("SWEEP_NOZZLE") == "SWEEP_NOZZLE");
  CHECK(read("SWEEP_NOZZLE PASSES=3 SIDE=left") == "SWEEP_NOZZLE PASSES= SIDE=");
  CHECK(read("sweep_nozzle passes=3;x") == "SWEEP_NOZZLE PASSES=");
  CHECK(read("N7 SWEEP2 A_1=-4.5") == "SWEEP2 A_1=");
  CHECK(read("P_ X=@{layer.z}") == "P_ X=");
  CHECK(line_of("  SWEEP A=1").block.macro_end == 7);
  REQUIRE(line_of("SWEEP AB=17 C=x").block.arguments.size() == 2);
  CHECK(line_of("SWEEP AB=17 C=x").block.arguments[0].begin == 6);
  CHECK(line_of("SWEEP AB=17 C=x").block.arguments[0].end == 11);
}

TEST_CASE("what stands behind a macro and is no key with a value is a fault") {
  CHECK(read("SWEEP PASSES") == "fault: PASSES");
  CHECK(read("SWEEP PASSES=") == "fault: PASSES=");
  CHECK(read("SWEEP PASSES= 3") == "fault: PASSES=");
  CHECK(faulty("SWEEP PASSES =3"));
  CHECK(faulty("SWEEP 3"));
  CHECK(faulty("SWEEP =3"));
  CHECK(faulty("SWEEP X10"));
  CHECK(faulty("SWEEP.HARD"));
  CHECK(faulty("SWEEP-HARD"));
  CHECK(faulty("SWEEP(3)"));
  CHECK(faulty("SWEEP \"A=1\""));
}

TEST_CASE("the rest of a line behind a code of text is text") {
  CHECK(read("M117 Ready, 50 % (nearly) = done") == "M117");
  CHECK(read("m117M104 S400") == "M117");
  CHECK(read("M117") == "M117");
  CHECK(read("M117 heated ; M104 S400") == "M117");
  CHECK(read("M118 Ready") == "M118 R? E? A? D? Y?");  // of another code: letters
}

TEST_CASE("a placeholder of the running job stands for a number that nobody knows yet") {
  CHECK(read("G1 Z@{layer.z} F600") == "G1 Z@ F600");
  CHECK(read("G1 Z@{layer.z}E2") == "G1 Z@ E2");
  CHECK(faulty("G@{layer.number}"));
  CHECK(faulty("@{layer.number}"));
  CHECK(faulty("M@{layer.number} S1"));
  CHECK(faulty("G1 Z@{layer.z"));
  CHECK(faulty("G1 Z@layer.z"));
  CHECK(faulty("G1 Z@{layer.z;}"));  // the comment comes first
  CHECK(faulty("G1 Z-@{layer.z}"));
}

TEST_CASE("a letter may stand without a number") {
  CHECK(read("M84 X Y E") == "M84 X? Y? E?");
  CHECK(read("M84XYE") == "M84 X? Y? E?");
  CHECK(read("G28 XY") == "G28 X? Y?");
}

TEST_CASE("a second code on a line is a fault") {
  CHECK(read("G28 M104 S300") == "fault: M104");
  CHECK(read("G1 X5 G1 Y5") == "fault: G1");
  CHECK(read("G28M302P1") == "fault: M302");
  CHECK(read("g28 m302 p1") == "fault: m302");
  CHECK(read("M104 S200 T1") == "M104 S200 T1");  // T chooses which
}

TEST_CASE("a letter that stands twice is a fault") {
  CHECK(read("G1 X5 X500") == "fault: X500");
  CHECK(read("M104 S0 S400") == "fault: S400");
  CHECK(read("M104 S0 s400") == "fault: s400");
  CHECK(read("G1 X X5") == "fault: X5");
  CHECK(read("G1 X0x50") == "fault: x50");
}

TEST_CASE("a line that does not start with a code is a fault") {
  for (std::string_view line : {"X10 Y10", "S200", "G", "M", "T", "G X5", "N", "F1200", "G-1 X5", "M-104", "G1.25", "M104.04 S300", "G1000000 X1", "A", "E5"}) {
    CAPTURE(line);
    CHECK(faulty(line));
  }
}

TEST_CASE("what is no number is a fault") {
  CHECK(read("G1 X-") == "fault: -");
  CHECK(read("G1 X.") == "fault: .");
  CHECK(read("G1 X--5") == "fault: -");
  CHECK(read("G1 X+-5") == "fault: +");
  CHECK(faulty("G1 X1.2.3"));
  CHECK(faulty("G1 X5_0"));
  CHECK(faulty("G1 X 10"));
  CHECK(faulty("G1 X1,5"));
  CHECK(faulty("G1 X=5"));
  CHECK(faulty(fmt::format("G1 X{}", std::string(400, '9'))));
  CHECK(read("G1 X1e5") == "G1 X1 E5");  // as firmware splits it, lest a feed look like an exponent
}

TEST_CASE("signs of other grammars and of the streaming protocol start no word") {
  for (std::string_view line : {"/G28", "G28 /", "%", "$X", "!", "~", "?", "#1=5", "G1 X[1+2]", "{G28}", "\"G28\"", "G28\\", "G28 \xc2\xb0", "M104 S200\xc2\xa0", "G1 X\xd9\xa3", "\xef\xbc\xa7" "28"}) {
    CAPTURE(line);
    CHECK(faulty(line));
  }
  for (int byte = 1; byte < 256; ++byte) {
    char c = static_cast<char>(byte);
    if (std::isalnum(byte) != 0 || std::string_view(" \t\r;(").find(c) != std::string_view::npos) continue;
    CAPTURE(byte);
    CHECK(faulty(fmt::format("G28 {}", c)));
  }
}

// Firmware without comments in brackets looks for letters along the whole line, so it may read what stands in them.
TEST_CASE("brackets hide no words") {
  CHECK(read("G1 Z10 (Z-50) F600") == "fault: (");
  CHECK(read("(M104 S400)") == "fault: (");
  CHECK(faulty("G28 )"));
  CHECK(read("M117 (ready)") == "M117");
  CHECK(read("G28 ; (all)") == "G28");
}

// Fixed seed.
TEST_CASE("hostile lines end in words or in a fault that points inside the line") {
  constexpr std::string_view bits[] = {"G", "M", "T", "N", "X", "S", "1", "9", "0", ".", "-", "+", "*", ";", "(", ")", "@{", "}", "=", "_", " ", "\t", "\r", "\xff", "SWEEP", "K=", "117", "*57", "@"};
  std::mt19937 random(7);
  int sound = 0, faults = 0;
  for (int i = 0; i < 20000; ++i) {
    std::string line;
    for (std::size_t n = random() % 12; n > 0; --n) line += bits[random() % std::size(bits)];
    ReadLine got = line_of(line);
    (got.fault ? faults : sound) += 1;
    if (!got.fault) continue;
    bool inside = got.fault->begin <= got.fault->end && got.fault->end <= line.size();
    if (!inside) FAIL_CHECK("a fault outside of: " << line);
  }
  CHECK(sound > 500);
  CHECK(faults > 500);
}

}  // TEST_SUITE
