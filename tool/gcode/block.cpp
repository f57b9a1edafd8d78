#include "gcode/block.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

namespace bindery {

namespace {

struct Group {
  char letter;
  int number;
  std::array<int, 13> tenths;  // filled with zeros; G0 and M0 stand first in theirs
};

constexpr int non_modal = 100;

// NISTIR 6556, table 4.
constexpr std::array<Group, 17> groups = {{
    {'G', 1, {0, 10, 20, 30, 382, 800, 810, 820, 830, 840, 850, 860, 870}},
    {'G', 1, {880, 890}},
    {'G', 2, {170, 180, 190}},
    {'G', 3, {900, 910}},
    {'G', 5, {930, 940}},
    {'G', 6, {200, 210}},
    {'G', 7, {400, 410, 420}},
    {'G', 8, {430, 490}},
    {'G', 10, {980, 990}},
    {'G', 12, {540, 550, 560, 570, 580, 590, 591, 592, 593}},
    {'G', 13, {610, 611, 640}},
    {'M', 4, {0, 10, 20, 300, 600}},
    {'M', 6, {60}},
    {'M', 7, {30, 40, 50}},
    {'M', 8, {70, 80, 90}},
    {'M', 9, {480, 490}},
    {'G', non_modal, {40, 100, 280, 300, 530, 920, 921, 922, 923}},
}};

}  // namespace

const BlockWord* Block::find(char letter) const {
  auto at = std::find_if(words.begin(), words.end(), [&](const BlockWord& word) { return word.letter == letter; });
  return at == words.end() ? nullptr : &*at;
}

std::optional<double> decimal(std::string_view text) {
  double value = 0;
  auto [end, failure] = std::from_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed);
  constexpr double largest = 1e9;  // of what any machine is told
  bool sound = failure == std::errc() && end == text.data() + text.size() && std::fabs(value) <= largest;
  return sound ? std::optional(value) : std::nullopt;
}

std::optional<int> code_tenths(double number) {
  double tenths = std::round(number * 10);
  if (!(tenths >= 0 && tenths < 1e6) || std::fabs(number * 10 - tenths) > 0.001) return std::nullopt;
  return static_cast<int>(tenths);
}

int modal_group(char letter, int tenths) {
  for (const Group& group : groups) {
    if (group.letter != letter) continue;
    for (std::size_t i = 0; i < group.tenths.size(); ++i) {
      bool filled = group.tenths[i] != 0 || (i == 0 && group.tenths[1] == 10);
      if (filled && group.tenths[i] == tenths) return group.number;
    }
  }
  return 0;
}

}  // namespace bindery
