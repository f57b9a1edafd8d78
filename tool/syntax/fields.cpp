#include "syntax/fields.h"

#include <fmt/format.h>

#include "base/words.h"
#include "syntax/limits.h"

namespace bindery {

std::vector<Field> FieldReader::fields(std::uint32_t node, std::string_view what) {
  std::vector<Field> pairs;
  const Node& mapping = doc[node];
  if (mapping.kind != NodeKind::mapping) {
    bool is_null = mapping.kind == NodeKind::null;
    bool glued = mapping.kind == NodeKind::scalar && !mapping.text.quoted &&
                 mapping.text.text.find(':') != std::string_view::npos;
    out_.add(is_null ? Code::value_missing : Code::value_malformed, mapping.text.span,
             is_null ? fmt::format("{} has no value", what) : fmt::format("{} is a mapping", what))
        .with_help(glued ? "put a blank after the colon" : "write `key: value` pairs below it");
    return pairs;
  }
  for (std::uint32_t at = node + 1; at < mapping.next;) {
    std::uint32_t value = doc[at].next;
    pairs.push_back({doc[at].text, value});
    at = doc[value].next;
  }
  return pairs;
}

std::optional<Text> FieldReader::scalar(const Field& field) {
  const Node& node = doc[field.value];
  if (node.kind == NodeKind::scalar && !node.text.empty()) return node.text;
  if (node.kind == NodeKind::null || node.kind == NodeKind::scalar) {
    out_.add(Code::value_missing, field.key.span, fmt::format("'{}' has no value", field.key.text))
        .with_help("write the value, or remove the line");
  } else {
    wrong(node.text.span, fmt::format("'{}' takes one value", field.key.text), "write it on the same line");
  }
  return std::nullopt;
}

std::optional<bool> FieldReader::flag(const Field& field) {
  auto text = scalar(field);
  if (!text) return std::nullopt;
  if (!text->quoted && text->text == "true") return true;
  if (!text->quoted && text->text == "false") return false;
  wrong(text->span, fmt::format("'{}' is true or false, not '{}'", field.key.text, text->text),
        "write `true` or `false` without quotes");
  return std::nullopt;
}

std::vector<Text> FieldReader::words(const Field& field) {
  const Node& node = doc[field.value];
  if (node.kind == NodeKind::mapping) {
    wrong(node.text.span, fmt::format("'{}' takes a word or a list of words", field.key.text),
          "write it as in `[one, other]`");
    return {};
  }
  if (node.kind != NodeKind::list) {
    auto one = scalar(field);
    return one ? std::vector<Text>{*one} : std::vector<Text>{};
  }
  std::vector<Text> items;
  for (std::uint32_t at = field.value + 1; at < node.next; at = doc[at].next) {
    if (!within(items.size() + 1, most::list_items, field.key.span, fmt::format("items of '{}'", field.key.text)))
      break;
    if (doc[at].kind == NodeKind::scalar && !doc[at].text.empty()) {
      items.push_back(doc[at].text);
    } else {
      wrong(doc[at].text.span, fmt::format("an item of '{}' is not a word", field.key.text), "write one word an item");
    }
  }
  return items;
}

std::vector<Text> FieldReader::names(const Field& field) {
  const Node& node = doc[field.value];
  if (node.kind == NodeKind::list && node.next == field.value + 1) {
    wrong(node.text.span, fmt::format("'{}' is empty, so no name would fit", field.key.text),
          "name one, or remove the key");
  }
  std::vector<Text> out = words(field);
  for (const Text& name : out) {
    if (!within(name.text.size(), most::key_letters, name.span, "letters of a name")) return {};
  }
  return out;
}

std::optional<std::size_t> FieldReader::choice(const Field& field, std::initializer_list<std::string_view> words) {
  auto text = scalar(field);
  if (!text) return std::nullopt;
  std::size_t index = 0;
  std::vector<std::string> names;
  for (std::string_view word : words) {
    if (word == text->text) return index;
    names.emplace_back(word);
    ++index;
  }
  wrong(text->span, fmt::format("'{}' is {}, not '{}'", field.key.text, join_words(names, "or"), text->text),
        "write one of these words");
  return std::nullopt;
}

void FieldReader::unknown(const Text& key, Code code, std::string_view what, std::vector<std::string_view> known) {
  if (out_.skip(code)) return;
  std::string near = nearest(key.text, known);
  std::vector<std::string> names(known.begin(), known.end());
  out_.add(code, key.span, fmt::format("unknown {} '{}'", what, key.text))
      .with_help(near.empty() ? fmt::format("known here: {}", join_words(names))
                              : fmt::format("did you mean '{}'", near));
}

bool FieldReader::within(std::size_t count, std::size_t most, Span span, std::string_view what) {
  if (count <= most) return true;
  out_.add(Code::too_many, span, fmt::format("there are more than {} {}", most, what))
      .with_help("write fewer, or split them over several fragments");
  return false;
}

void FieldReader::wrong(Span span, std::string message, std::string help) {
  out_.add(Code::value_malformed, span, std::move(message)).with_help(std::move(help));
}

}  // namespace bindery
