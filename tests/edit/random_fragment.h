// Fragments in a random mixture of all styles that YAML has.
#pragma once

#include <random>
#include <string>
#include <string_view>

#include <fmt/format.h>

namespace bindery::test {

// One that writes settings, or corrections; comments hold quotes and brackets that close nothing.
class RandomFragment {
 public:
  RandomFragment(std::mt19937& random, bool adjust) : random_(random), adjust_(adjust), line_break_(random() % 6 == 0 ? "\r\n" : "\n") {}

  std::string text() {
    text_.clear();
    if (chance(3)) comment(0);
    if (chance(8)) {
      text_ += "{";
      flow_space(false);
      text_ += "title: \"}\",";
      flow_space(true);
      text_ += word("settings") + ": ";
      flow();
      flow_space(false);
      text_ += "}" + std::string(line_break_);
      return text_;
    }
    line(0, "title: Q");
    if (chance(3)) text_ += line_break_;
    if (chance(3)) {
      line(0, "about: |");
      line(2, "# words");
      if (chance(2)) text_ += line_break_;
    }
    if (chance(4)) comment(0);
    if (!chance(5)) {
      if (chance(4)) {
        text_ += word(section()) + ": ";
        flow();
        end_line();
      } else if (chance(8)) {
        line(0, std::string(section()) + ":");
      } else {
        line(0, word(section()) + ":");
        block(2 + random_() % 3, 0);
      }
    }
    if (chance(3)) text_ += line_break_;
    if (chance(3)) comment(0);
    if (chance(2)) line(0, "locked: [x.y]");
    if (chance(3)) {
      line(0, "when:");
      line(2, "- if: { machine: m }");
      line(4, std::string(section()) + ": { n0.n1: 4 }");
    }
    if (chance(4)) {
      while (text_.ends_with("\n") || text_.ends_with("\r")) text_.pop_back();
    }
    return text_;
  }

 private:
  std::string_view section() const { return adjust_ ? "adjust" : "settings"; }
  bool chance(unsigned of) { return random_() % of == 0; }
  std::string word(std::string_view text) {
    unsigned which = random_() % 8;
    return which == 0 ? fmt::format("\"{}\"", text) : which == 1 ? fmt::format("'{}'", text) : std::string(text);
  }
  std::string name() {
    std::string out = fmt::format("n{}", next_++);
    while (chance(3)) out += fmt::format(".n{}", next_++);
    return out;
  }
  void end_line() {
    if (chance(4)) text_ += "  # it's [{ \"";
    text_ += line_break_;
  }
  void line(std::size_t indent, const std::string& text) {
    text_ += std::string(indent, ' ') + text;
    bool is_text = text.ends_with("|") || text.starts_with("# words");
    if (is_text) text_ += line_break_;
    else end_line();
  }
  void comment(std::size_t indent) { line(indent, "# a comment: { ["); }

  void block(std::size_t indent, int depth) {
    for (std::size_t i = 1 + random_() % 4; i > 0; --i) {
      if (chance(5)) comment(indent);
      if (chance(8)) text_ += line_break_;
      std::string key = word(name());
      switch (random_() % 9) {
        case 0:
        case 1:
          if (depth < 4) {
            line(indent, key + ":");
            block(indent + 2 + random_() % 2, depth + 1);
            break;
          }
          [[fallthrough]];
        case 2: line(indent, key + ": 5 mm"); break;
        case 3:
          text_ += std::string(indent, ' ') + key + ": ";
          flow();
          end_line();
          break;
        case 4:
          line(indent, key + (chance(2) ? ": |" : ": >-"));
          line(indent + 2, "# words");
          if (chance(2)) line(indent + 4, "# words, too");
          if (chance(3)) text_ += line_break_;
          break;
        case 5:
          line(indent, key + ":");
          line(indent + (chance(2) ? 0 : 2), "- one");
          break;
        case 6:
          line(indent, key + ":");
          line(indent + 2, "add: 5 K");
          break;
        case 7:
          text_ += std::string(indent, ' ') + key + ": plain" + std::string(line_break_) + std::string(indent + 3, ' ') + "and more";
          end_line();
          break;
        default: line(indent, key + ": " + (chance(2) ? "'it''s # {'" : "\"}\\\" # \"")); break;
      }
    }
  }

  void flow_space(bool must) {
    unsigned which = random_() % 8;
    if (which == 0) text_ += fmt::format(" # }} ' \"{}   ", line_break_);
    else if (which == 1) text_ += fmt::format("{}    ", line_break_);
    else if (must || which < 6) text_ += ' ';
  }

  void flow() {
    if (++depth_ > 5 || chance(8)) {
      text_ += chance(2) ? "{}" : "{ }";
      --depth_;
      return;
    }
    text_ += '{';
    flow_space(false);
    for (std::size_t i = 1 + random_() % 3; i > 0; --i) {
      text_ += word(name()) + ":";
      flow_space(true);
      switch (random_() % 6) {
        case 0: flow(); break;
        case 1: text_ += "{ scale: 80 % }"; break;
        case 2: text_ += "[a, \"]\", 'b']"; break;
        case 3: text_ += "\"}, {\""; break;
        case 4: text_ += "'it''s }'"; break;
        default: text_ += "5 mm"; break;
      }
      flow_space(false);
      if (i > 1 || chance(4)) {
        text_ += ',';
        flow_space(true);
      }
    }
    text_ += '}';
    --depth_;
  }

  std::mt19937& random_;
  bool adjust_;
  std::string_view line_break_;
  std::string text_;
  int next_ = 0, depth_ = 0;
};

}  // namespace bindery::test
