#include "syntax/macros.h"

#include "syntax/limits.h"

#include <algorithm>
#include <cctype>

#include <fmt/format.h>

namespace bindery {

namespace {

const std::vector<std::string_view> macro_words = {"about", "takes",      "needs",    "homed",
                                                   "hot",   "positioned", "extruded", "off"};

// Capitals, digits and `_`, two letters or a `_` at its start, so that it is no code.
bool is_macro_name(std::string_view text) {
  auto capital = [](char c) { return c >= 'A' && c <= 'Z'; };
  auto rest = [&](char c) { return capital(c) || c == '_' || (c >= '0' && c <= '9'); };
  return text.size() >= 2 && text.size() <= 64 && capital(text[0]) && (capital(text[1]) || text[1] == '_') &&
         std::all_of(text.begin(), text.end(), rest);
}

class MacroReader {
 public:
  MacroReader(const Document& doc, Diagnostics& out) : read_(doc, out), out_(out) {}

  std::optional<RawMacro> read(const Field& field) {
    RawMacro macro;
    macro.name = field.key;
    if (!is_macro_name(field.key.text)) {
      out_.add(Code::name_invalid, field.key.span, fmt::format("'{}' is no name of a macro", field.key.text))
          .with_help("use capitals, digits and `_`, two letters at its start");
      return std::nullopt;
    }
    const Node& node = read_.doc[field.value];
    if (node.kind == NodeKind::scalar && !node.text.quoted && node.text.text == "none") {
      macro.drop = true;
      return macro;
    }
    std::size_t errors = out_.count(Severity::error);
    bool about = false;
    for (const Field& part : read_.fields(field.value, fmt::format("the macro {}", field.key.text))) {
      std::string_view word = part.key.text;
      if (word == "about") about = read_.scalar(part).has_value();
      else if (word == "takes") macro.takes = keys(part);
      else if (word == "needs") macro.needs = among(part, {"homed", "hot"});
      else if (word == "homed") macro.homed = among(part, {"x", "y", "z"});
      else if (word == "off") macro.off = among(part, {"nozzle", "bed", "chamber", "fans", "motors"});
      else if (word == "hot") macro.hot = values(part, {"nozzle", "bed", "chamber"});
      else if (word == "positioned") macro.positioned = values(part, {"x", "y", "z"});
      else if (word == "extruded") macro.extruded_name = part.key, macro.extruded = value(part);
      else read_.unknown(part.key, Code::header_unknown, "part of a macro", macro_words);
    }
    if (!about && out_.count(Severity::error) == errors)
      out_.add(Code::key_missing, field.key.span, fmt::format("the macro {} has no 'about'", field.key.text))
          .with_help("say what the firmware does when it is called");
    return macro;
  }

 private:
  std::vector<Text> among(const Field& field, const std::vector<std::string_view>& known) {
    std::vector<Text> words = read_.words(field);
    for (const Text& word : words) {
      if (std::find(known.begin(), known.end(), word.text) == known.end())
        read_.unknown(word, Code::choice_unknown, fmt::format("word of '{}'", field.key.text), known);
    }
    return words;
  }

  std::vector<Text> keys(const Field& field) {
    std::vector<Text> words = read_.words(field);
    for (const Text& word : words) {
      bool sound = std::all_of(word.text.begin(), word.text.end(),
                               [](char c) { return (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_'; });
      if (!sound)
        out_.add(Code::name_invalid, word.span, fmt::format("'{}' is no key of a macro", word.text))
            .with_help("use capitals, digits and `_`");
    }
    return words;
  }

  std::vector<std::pair<Text, RawValue>> values(const Field& field, const std::vector<std::string_view>& known) {
    std::vector<std::pair<Text, RawValue>> out;
    for (const Field& part : read_.fields(field.value, fmt::format("'{}'", field.key.text))) {
      if (std::find(known.begin(), known.end(), part.key.text) == known.end())
        read_.unknown(part.key, Code::choice_unknown, fmt::format("part of '{}'", field.key.text), known);
      else if (auto each = value(part)) out.emplace_back(part.key, std::move(*each));
    }
    return out;
  }

  // A literal, or `{ calc: FORMULA }`.
  std::optional<RawValue> value(const Field& field) {
    RawValue out;
    const Node& node = read_.doc[field.value];
    std::optional<Text> text;
    if (node.kind == NodeKind::mapping) {
      auto parts = read_.fields(field.value, field.key.text);
      if (parts.size() != 1 || parts.front().key.text != "calc") {
        out_.add(Code::operation_malformed, field.key.span, "this is a value or `{ calc: ... }`")
            .with_help("write one of these");
        return std::nullopt;
      }
      out.op = OpKind::calc;
      text = read_.scalar(parts.front());
    } else {
      text = read_.scalar(field);
    }
    if (!text) return std::nullopt;
    out.scalar = *text;
    out.span = text->span;
    return out;
  }

  FieldReader read_;
  Diagnostics& out_;
};

}  // namespace

std::vector<RawMacro> read_macros(const Document& doc, const Field& field, Diagnostics& out) {
  std::vector<RawMacro> macros;
  FieldReader read(doc, out);
  for (const Field& each : read.fields(field.value, "'macros'")) {
    if (!read.within(macros.size() + 1, most::macros, field.key.span, "macros")) break;
    if (auto macro = MacroReader(doc, out).read(each)) macros.push_back(std::move(*macro));
  }
  return macros;
}

}  // namespace bindery
