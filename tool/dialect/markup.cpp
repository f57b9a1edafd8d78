// XML before it is parsed: what a file may define itself (a document type, entities) is refused, and what the parser
// lets pass though XML forbids it.
#include <algorithm>

#include <fmt/format.h>

#include "dialect/families.h"

namespace bindery {

namespace {

// Goes over the text before it is parsed: document types, entities and what the parser lets pass.
class MarkupCheck {
 public:
  MarkupCheck(std::string_view text, Gathering& to) : text_(text), to_(to) {}

  bool sound() {
    if (std::size_t first = text_.find_first_not_of(" \t\r\n");
        first != std::string_view::npos && text_[first] != '<') {
      refuse(first, 1, "the file does not start with an element", "a file of the dialect is XML");
      return false;
    }
    while (sound_ && (at_ = text_.find_first_of("<&", at_)) != std::string_view::npos) {
      if (text_[at_] == '&') reference(text_.size());
      else markup();
    }
    return sound_;
  }

 private:
  void refuse(std::size_t at, std::size_t length, std::string message, std::string help,
              Code code = Code::program_file) {
    to_.report(code, to_.span(at, std::min(at + length, text_.size())), std::move(message)).with_help(std::move(help));
    sound_ = false;
  }

  bool here(std::string_view start) const { return text_.substr(at_, start.size()) == start; }

  void markup() {
    if (here("<!--")) skip(4, "-->", "comment");
    else if (here("<![CDATA[")) skip(9, "]]>", "CDATA section");
    else if (here("<?")) skip(2, "?>", "processing instruction");
    else if (here("<!"))
      refuse(at_, here("<!DOCTYPE") ? 9 : 2, "a document type is declared here, which could define entities",
             "delete the declaration; what it defines must stand where it is used", Code::program_entity);
    else tag();
  }

  void skip(std::size_t start, std::string_view end, std::string_view what) {
    std::size_t found = text_.find(end, at_ + start);
    if (found == std::string_view::npos)
      refuse(at_, start, fmt::format("this {} is never closed", what), fmt::format("close it with `{}`", end));
    else at_ = found + end.size();
  }

  void tag() {
    std::size_t start = at_++;
    while (sound_) {
      at_ = text_.find_first_of("<>\"'", at_);
      if (at_ == std::string_view::npos || text_[at_] == '<') {
        refuse(start, 1, "this tag is never closed",
               "close it with `>`, or take the file anew from the program if it was cut off");
      } else if (text_[at_] == '>') {
        ++at_;
        return;
      } else {
        attribute();
      }
    }
  }

  void attribute() {
    std::size_t start = at_, end = text_.find(text_[at_], at_ + 1);
    if (end == std::string_view::npos) {
      refuse(start, 1, "this quote is never closed", fmt::format("close it with `{}`", text_[start]));
      return;
    }
    // Looked for within the quotes alone: a file of many attributes would be searched to its end for each.
    std::string_view inner = text_.substr(0, end);
    for (++at_; sound_ && (at_ = inner.find_first_of("<&", at_)) != std::string_view::npos;) {
      if (text_[at_] == '<') refuse(at_, 1, "an attribute holds `<`", "write `&lt;`");
      else reference(end);
    }
    if (sound_) at_ = end + 1;
  }

  // `&name;`, `&#10;` or `&#xA;`.
  void reference(std::size_t limit) {
    constexpr std::size_t longest = 64;
    std::string_view rest = text_.substr(at_ + 1, std::min(limit - at_ - 1, longest));
    std::size_t end = rest.find(';');
    std::string_view name = rest.substr(0, end);
    if (end == std::string_view::npos || name.find_first_of(" \t\n\r<>&\"'") != std::string_view::npos ||
        name.empty()) {
      refuse(at_, 1, "this `&` starts no reference", "write `&amp;`");
      return;
    }
    if (name[0] == '#') {
      character(name.substr(1));
    } else if (name != "amp" && name != "lt" && name != "gt" && name != "quot" && name != "apos") {
      refuse(at_, end + 2, fmt::format("XML does not define the entity '{}' itself, and no other is expanded", name),
             "write the characters that it stands for", Code::program_entity);
    }
    at_ += end + 2;
  }

  void character(std::string_view digits) {
    bool hexadecimal = digits.starts_with('x');
    std::uint32_t base = hexadecimal ? 16 : 10, value = 0;
    std::string_view known = "0123456789abcdefABCDEF";
    if (hexadecimal) digits.remove_prefix(1);
    bool sound = !digits.empty();
    for (char c : digits) {
      std::size_t digit = known.find(c);
      if (digit > 15 && digit != std::string_view::npos) digit -= 6;
      if (digit >= base) sound = false;
      else value = std::min<std::uint32_t>(value * base + static_cast<std::uint32_t>(digit), 0x110000);
    }
    std::size_t length = digits.size() + (hexadecimal ? 4 : 3);
    if (!sound || value > 0x10ffff || (value >= 0xd800 && value <= 0xdfff))
      refuse(at_, length, "this reference names no character", "write the character itself");
    else if ((value < 0x20 && value != '\n' && value != '\t' && value != '\r') || value == 0xfffe || value == 0xffff)
      refuse(
          at_, length,
          fmt::format("this reference makes the character U+{:04X}, which hides or reorders what a reader sees", value),
          "delete it", Code::character_forbidden);
  }

  std::string_view text_;
  Gathering& to_;
  std::size_t at_ = 0;
  bool sound_ = true;
};

}  // namespace

bool sound_markup(std::string_view text, Gathering& to) { return MarkupCheck(text, to).sound(); }

}  // namespace bindery
