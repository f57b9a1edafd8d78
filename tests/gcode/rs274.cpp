// The grammar of NISTIR 6556 (Kramer, Proctor, Messina: The NIST RS274NGC Interpreter, Version 3, 2000). Sections are
// named from memory, and so are the examples marked so.
#include <random>

#include "base/number.h"
#include "gcode/block.h"

#include "../support.h"

using namespace bindery;

namespace {

// The words of a line in capitals, or the bytes that its fault points at.
std::string read(std::string_view line, const Parameters& parameters = {}) {
  ReadLine got = read_rs274(line, parameters);
  if (got.fault) {
    CHECK_FALSE(got.fault->message.empty());
    CHECK_FALSE(got.fault->help.empty());
    REQUIRE(got.fault->end <= line.size());
    return fmt::format("fault: {}", line.substr(got.fault->begin, got.fault->end - got.fault->begin));
  }
  std::string out;
  for (const BlockWord& word : got.block.words) out += fmt::format("{}{}{}", out.empty() ? "" : " ", word.letter, write_number(word.value.number));
  return out;
}

bool faulty(std::string_view line, const Parameters& parameters = {}) { return read(line, parameters).starts_with("fault: "); }

// What an expression comes to.
double value(std::string_view expression, const Parameters& parameters = {}) {
  std::string line = fmt::format("x{}", expression);
  ReadLine got = read_rs274(line, parameters);
  REQUIRE_MESSAGE(!got.fault.has_value(), expression, ": ", got.fault ? got.fault->message : "");
  REQUIRE(got.block.words.size() == 1);
  return got.block.words.front().value.number;
}

bool near(double a, double b) { return std::abs(a - b) < 1e-9; }

}  // namespace

TEST_SUITE("gcode/rs274") {

// NISTIR 6556, 3.3.1, its own example.
TEST_CASE("blanks and case do not count outside comments") {
  CHECK(read("g0x +0. 12 34y 7") == "G0 X0.1234 Y7");
  CHECK(read("g0 x+0.1234 y7") == read("g0x +0. 12 34y 7"));
  CHECK(read("\tG 1\tX\t1\t0") == "G1 X10");
  CHECK(read("m3s1000\r") == "M3 S1000");
}

// NISTIR 6556, 3.3.
TEST_CASE("a line is an optional slash, an optional number, then words, settings and comments in any order") {
  ReadLine got = read_rs274("/N12 (one) G1 #3=4 X2 (two) #5=6", {});
  REQUIRE_FALSE(got.fault.has_value());
  CHECK(got.block.skipped);
  CHECK(got.block.line_number == 12);
  CHECK(got.block.comments == std::vector<std::string>{"one", "two"});
  CHECK(got.block.stores == std::vector<std::pair<int, double>>{{3, 4}, {5, 6}});
  CHECK(read("/N12 (one) G1 #3=4 X2 (two) #5=6") == "G1 X2");
  CHECK(read("X2 G1") == "X2 G1");
  CHECK(read("G1 /X2") == "fault: /");
  CHECK(read("N1 / G1") == "fault: /");
  CHECK(read("G1 N1") == "fault: N");
  CHECK_FALSE(read_rs274("G1", {}).block.skipped);
}

// NISTIR 6556, 3.3.
TEST_CASE("a line has at most 256 characters, and may be blank") {
  CHECK(read("") == "");
  CHECK(read("  \t ") == "");
  CHECK(read_rs274("", {}).block.empty());
  CHECK(read(fmt::format("G1 X{}1", std::string(251, ' '))) == "G1 X1");  // 256
  CHECK(faulty(fmt::format("G1 X{}1", std::string(252, ' '))));
  CHECK(faulty(fmt::format("({})", std::string(255, 'a'))));
}

// NISTIR 6556, 3.3.1.
TEST_CASE("a line number has one to five digits and no sign; repeats and disorder are for no line to judge") {
  CHECK(read_rs274("N99999", {}).block.line_number == 99999);
  CHECK(read_rs274("n0", {}).block.line_number == 0);
  CHECK(read_rs274("N00009 G1", {}).block.line_number == 9);
  CHECK(read("N000009") == "fault: N000009");
  CHECK(faulty("N100000"));
  CHECK(faulty("N"));
  CHECK(faulty("N-1"));
  CHECK(faulty("N+1"));
  CHECK(faulty("N1.5 G1"));
  CHECK(faulty("N#1"));
}

// NISTIR 6556, 3.3.4, with its example; case and blanks stay as they are in a comment.
TEST_CASE("what stands in brackets is a comment, and MSG makes it a message") {
  ReadLine got = read_rs274("G80 M5 (stop motion)", {});
  REQUIRE_FALSE(got.fault.has_value());
  CHECK(read("G80 M5 (stop motion)") == "G80 M5");
  CHECK(got.block.comments == std::vector<std::string>{"stop motion"});
  CHECK(read_rs274("(MSG, Mind the Clamp)", {}).block.comments == std::vector<std::string>{"MSG, Mind the Clamp"});
  CHECK(read_rs274("()", {}).block.comments == std::vector<std::string>{""});
  CHECK(read("G1 (X5) Y6") == "G1 Y6");
}

// NISTIR 6556, 3.3.4.
TEST_CASE("a comment inside a comment and one that is never closed are faults") {
  CHECK(read("(a (b))") == "fault: (");
  CHECK(read("G1 (left open") == "fault: (left open");
  CHECK(faulty("closed)"));
  CHECK(faulty("G1 X5)"));
  CHECK(faulty("; of another grammar"));
}

// NISTIR 6556, 3.4 and its table 4.
TEST_CASE("two codes of one modal group on a line are a fault") {
  for (std::string_view pair : {"G0 G1", "G1 G2", "G2 G3", "G1 G80", "G38.2 G1", "G90 G91", "G20 G21", "G17 G18", "G18 G19", "G93 G94", "G40 G41", "G43 G49", "G54 G59.3", "G61 G64",
                                "G98 G99", "G28 G30", "G4 G53", "G10 G92", "G92 G92.1", "M0 M1", "M2 M30", "M3 M5", "M7 M9", "M48 M49"}) {
    CAPTURE(pair);
    CHECK(read(pair) == fmt::format("fault: {}", pair.substr(pair.find(' ') + 1)));
  }
  CHECK(read("G1 G1") == "fault: G1");
  CHECK(read("G17 G20 G90 G1 G40 G54 G94 M3 M8 M48") == "G17 G20 G90 G1 G40 G54 G94 M3 M8 M48");
  CHECK(read("G53 G0") == "G53 G0");
}

// NISTIR 6556, 3.3.3.
TEST_CASE("two words of one letter are a fault, but for G and M") {
  CHECK(read("G1 X1 X2") == "fault: X2");
  CHECK(read("G1 X1 x1") == "fault: x1");
  CHECK(read("G1 F1 Y2 F3") == "fault: F3");
  CHECK(read("G1 G17 M3 M8 X1 Y2 Z3 A4") == "G1 G17 M3 M8 X1 Y2 Z3 A4");
}

// NISTIR 6556, 3.3.3.
TEST_CASE("a line has at most four M words") {
  CHECK(read("M3 M8 M48 M1") == "M3 M8 M48 M1");
  CHECK(faulty("M3 M8 M48 M1 M6"));
}

// NISTIR 6556, 3.3.2.1.
TEST_CASE("a number that must be whole is taken within 0.0001") {
  CHECK(read("G1.00005 X1") == "G1.00005 X1");
  CHECK(code_tenths(1.00009) == 10);
  CHECK(code_tenths(0.99991) == 10);
  CHECK(code_tenths(38.2) == 382);
  CHECK(code_tenths(59.3) == 593);
  CHECK_FALSE(code_tenths(1.0002).has_value());
  CHECK_FALSE(code_tenths(1.25).has_value());
  CHECK_FALSE(code_tenths(-1).has_value());
  CHECK_FALSE(code_tenths(1e300).has_value());
  CHECK(faulty("G1.0002"));
  CHECK(faulty("M-3"));
  CHECK(read("G[0.5+0.5] X1") == "G1 X1");
  CHECK(value("#2.00009", {{2, 7}}) == 7);
  CHECK(value("#1.99991", {{2, 7}}) == 7);
  CHECK(faulty("X#2.001"));
  CHECK(faulty("X#1.5"));
}

// NISTIR 6556, 3.3.2.1.
TEST_CASE("a number is digits with at most one point and an optional sign, and no exponent") {
  CHECK(value("7.") == 7);
  CHECK(value(".5") == 0.5);
  CHECK(value("-.5") == -0.5);
  CHECK(value("+05.50") == 5.5);
  CHECK(faulty("X"));
  CHECK(faulty("X."));
  CHECK(faulty("X-"));
  CHECK(faulty("X--5"));
  CHECK(faulty("X5-"));
  CHECK(faulty("X1.2.3"));
  CHECK(faulty("X0x10"));  // two X words
  CHECK(read("X1e5") == "X1 E5");  // a word E, which a list may hold or not
  CHECK(faulty("Xnan"));
  CHECK(faulty("Xinf"));
  CHECK(faulty("X1,5"));
}

// NISTIR 6556, 3.3.2.3: its example comes to 0.5; powers first, then products, then sums and logic, each from the left.
TEST_CASE("operators are done by their ranks") {
  CHECK(near(value("[2.0 / 3 * 1.5 - 5.5 / 11.0]"), 0.5));
  CHECK(value("[1 + 2 * 3 ** 2]") == 19);
  CHECK(value("[2 * 3 ** 2]") == 18);
  CHECK(value("[2 ** 3 ** 2]") == 64);
  CHECK(value("[[2 ** 3] * 2]") == 16);
  CHECK(value("[10 - 3 - 2]") == 5);
  CHECK(value("[8 / 4 / 2]") == 1);
  CHECK(value("[7 MOD 4 * 2]") == 6);
  CHECK(value("[1 or 0 and 0]") == 0);  // from the left: logic has one rank
  CHECK(value("[0 and 0 or 1]") == 1);
  CHECK(value("[1 + 1 or 0]") == 1);
  CHECK(value("[2-1]") == 1);
  CHECK(value("[2--1]") == 3);
  CHECK(value("[2 * -3]") == -6);
  CHECK(value("[1 2 * * 2]") == 144);  // blanks do not count
}

// NISTIR 6556, 3.3.2.3.
TEST_CASE("logic takes whatever is not 0 as true, and gives 1 or 0") {
  CHECK(value("[5 and 0.1]") == 1);
  CHECK(value("[5 and 0]") == 0);
  CHECK(value("[0 or -2]") == 1);
  CHECK(value("[3 xor 4]") == 0);
  CHECK(value("[3 xor 0]") == 1);
}

// NISTIR 6556, 3.3.2.4; angles in degrees. From memory: FIX goes down and FUP up, below 0 too.
TEST_CASE("functions give what their names say") {
  CHECK(value("abs[-3]") == 3);
  CHECK(near(value("acos[0]"), 90));
  CHECK(near(value("acos[-1]"), 180));
  CHECK(near(value("asin[1]"), 90));
  CHECK(near(value("atan[1]/[1]"), 45));
  CHECK(near(value("atan[1]/[-1]"), 135));
  CHECK(near(value("atan [-1] / [0]"), -90));
  CHECK(near(value("cos[60]"), 0.5));
  CHECK(near(value("exp[0]"), 1));
  CHECK(value("fix[2.8]") == 2);
  CHECK(value("fix[-2.8]") == -3);
  CHECK(value("fup[2.8]") == 3);
  CHECK(value("fup[-2.8]") == -2);
  CHECK(near(value("ln[exp[2]]"), 2));
  CHECK(value("round[2.5]") == 3);
  CHECK(value("round[-2.4]") == -2);
  CHECK(near(value("sin[30]"), 0.5));
  CHECK(value("sqrt[9]") == 3);
  CHECK(near(value("tan[45]"), 1));
  // From memory, an expression of its text: [1 + acos[0] - [#3 ** [4.0/2]]], with 3 for #3: 1 + 90 - 9.
  CHECK(near(value("[1 + acos[0] - [#3 ** [4.0/2]]]", {{3, 3}}), 82));
}

// NISTIR 6556, 3.2.1 and 3.3.3; the examples from memory.
TEST_CASE("a parameter is set when its whole line has been read") {
  ReadLine got = read_rs274("#3=6 G1 x#3", {{3, 15}});
  REQUIRE_FALSE(got.fault.has_value());
  CHECK(read("#3=6 G1 x#3", {{3, 15}}) == "G1 X15");
  CHECK(got.block.stores == std::vector<std::pair<int, double>>{{3, 6}});
  CHECK(value("#77") == 0);
  CHECK(value("##2", {{2, 9}, {9, 4}}) == 4);
  CHECK(value("#[1+2]", {{3, 5}}) == 5);
  CHECK(value("[#1+2]", {{1, 10}, {3, 5}}) == 12);  // `#` binds before the sum
  CHECK(read_rs274("# 3 = [ 1 + 1 ] ", {}).block.stores == std::vector<std::pair<int, double>>{{3, 2}});
  CHECK(read_rs274("#3=1 #3=2", {}).block.stores == std::vector<std::pair<int, double>>{{3, 1}, {3, 2}});
}

TEST_CASE("a parameter without a value, a number or a place is a fault") {
  CHECK(read("#3") == "fault: #3");
  CHECK(faulty("#3="));
  CHECK(faulty("#=5"));
  CHECK(faulty("G1 X#"));
  CHECK(faulty("X#0"));
  CHECK(faulty("X#-1"));
  CHECK(faulty("X#6000"));
  CHECK(faulty("#6000=1"));
  CHECK(faulty("X##1"));  // #1 is 0, and there is no #0
}

TEST_CASE("an expression that is not finished is a fault") {
  for (std::string_view line : {"X[", "X[1", "X[1+", "X[1+]", "X[]", "X[+]", "X]", "X[1]2", "X[1 ** ]", "X[* 2]", "X[1 @ 2]", "Xsin", "Xsin 30", "Xsin(30)", "Xsin[30", "Xcot[30]",
                                "Xatan[1]", "Xatan[1]/", "Xatan[1]/2", "Xatan[1][2]", "X[not 1]", "X[1 eq 1]", "X-[1]", "X[-#1]"}) {
    CAPTURE(line);
    CHECK(faulty(line));
  }
}

TEST_CASE("an expression without a finite value is a fault") {
  for (std::string_view line : {"X[1/0]", "X[0/0]", "X[1 mod 0]", "Xsqrt[-1]", "Xln[0]", "Xln[-1]", "Xacos[2]", "Xasin[-2]", "X[0 ** -1]", "X[[0-2] ** 0.5]", "Xexp[1000]", "X[10 ** 400]"}) {
    CAPTURE(line);
    CHECK(faulty(line));
  }
}

TEST_CASE("a placeholder of the running job stands for a number that nobody knows yet") {
  ReadLine got = read_rs274("G1 Z@{layer.z} F600", {});
  REQUIRE_FALSE(got.fault.has_value());
  REQUIRE(got.block.words.size() == 3);
  CHECK(got.block.words[1].value.of == WordValue::Of::job);
  CHECK(faulty("N@{layer.number}"));
  CHECK(faulty("X[@{layer.z}+1]"));
  CHECK(faulty("#1=@{layer.z}"));
  CHECK(faulty("X@{layer.z"));
}

TEST_CASE("brackets nest, but not without end") {
  auto nested = [](std::size_t depth) { return fmt::format("X{}1{}", std::string(depth, '['), std::string(depth, ']')); };
  CHECK(read(nested(20)) == "X1");
  CHECK(faulty(nested(120)));
  CHECK(faulty(fmt::format("X{}1", std::string(250, '#'))));
  CHECK(faulty(fmt::format("X{}1", std::string(250, '['))));
  std::string functions = "X";
  for (int i = 0; i < 50; ++i) functions += "abs[";
  CHECK(faulty(functions + "1"));
}

TEST_CASE("what starts no word is a fault, whatever byte it is") {
  for (int byte = 1; byte < 256; ++byte) {
    char c = static_cast<char>(byte);
    if (std::isalnum(byte) != 0 || std::string_view(". \t\r(#").find(c) != std::string_view::npos) continue;
    CAPTURE(byte);
    CHECK(read(fmt::format("G1 {}", c)) == fmt::format("fault: {}", c));
  }
}

// Fixed seed.
TEST_CASE("hostile lines end in words or in a fault that points inside the line") {
  constexpr std::string_view bits[] = {"G", "M", "X", "N", "#", "[", "]", "(", ")", "/", "=", "*", "**", "-", "+", ".", "1", "9", "0", "e", "MOD", "ATAN", "SIN", "OR", " ", "\t", "\r", "%", ";", "\xff", "99999"};
  std::mt19937 random(7);
  int sound = 0, faults = 0;
  for (int i = 0; i < 20000; ++i) {
    std::string line;
    for (std::size_t n = random() % 14; n > 0; --n) line += bits[random() % std::size(bits)];
    ReadLine got = read_rs274(line, {{1, 1}, {9, -1}});
    (got.fault ? faults : sound) += 1;
    if (!got.fault) continue;
    bool inside = got.fault->begin <= got.fault->end && got.fault->end <= line.size();
    if (!inside) FAIL_CHECK("a fault outside of: " << line);
  }
  CHECK(sound > 500);
  CHECK(faults > 500);
}

// NISTIR 6556, table 4.
TEST_CASE("modal groups are those of table 4") {
  CHECK(modal_group('G', 0) == modal_group('G', 30));
  CHECK(modal_group('G', 10) == modal_group('G', 382));
  CHECK(modal_group('G', 900) == modal_group('G', 910));
  CHECK(modal_group('G', 200) == modal_group('G', 210));
  CHECK(modal_group('G', 40) == modal_group('G', 920));
  CHECK(modal_group('G', 10) != modal_group('G', 900));
  CHECK(modal_group('G', 10) != modal_group('G', 920));
  CHECK(modal_group('M', 0) == modal_group('M', 300));
  CHECK(modal_group('M', 70) == modal_group('M', 90));
  // Of no group: what print firmware has made of its own.
  CHECK(modal_group('M', 1040) == 0);
  CHECK(modal_group('G', 290) == 0);
  CHECK(modal_group('M', 10) != modal_group('G', 10));
}

}  // TEST_SUITE
