#include "syntax/layer.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/words.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

const std::vector<std::string_view> bound_words = {"at_most", "at_least", "among", "else"};

bool is_operation(std::string_view word) { return operation_named(word).has_value(); }

}  // namespace

void LayerReader::read(RawLayer& layer, const Field& field) {
  std::string_view key = field.key.text;
  if (key == "settings") layer.settings = writes(field);
  else if (key == "adjust") layer.adjust = writes(field);
  else if (key == "limits") layer.limits = limits(field);
  else if (key == "scripts") layer.scripts = scripts(field);
}

std::vector<RawWrite> LayerReader::writes(const Field& field) {
  std::vector<RawWrite> out;
  seen_.clear();
  flatten(field.value, {}, fmt::format("'{}'", field.key.text), out);
  out.shrink_to_fit();  // most of what a tree takes in memory
  return out;
}

void LayerReader::flatten(std::uint32_t node, std::string_view prefix, std::string_view what,
                          std::vector<RawWrite>& out) {
  for (const Field& field : read_.fields(node, what)) {
    std::string_view key = field.key.text;
    if (prefix.empty() && is_operation(key)) {
      out_.add(Code::header_misplaced, field.key.span, fmt::format("'{}' does not stand here", key))
          .with_help("an operation stands below the key that it acts on");
      continue;
    }
    if (!prefix.empty()) key = owned_.emplace_back(fmt::format("{}.{}", prefix, key));
    const Node& value = doc_[field.value];
    if (value.kind == NodeKind::mapping && !has_operation(field.value)) {
      if (value.next == field.value + 1)
        read_.wrong(value.text.span, fmt::format("'{}' holds nothing", key), "write a value, or remove the line");
      flatten(field.value, key, fmt::format("'{}'", key), out);
      continue;
    }
    auto [first, fresh] = seen_.emplace(key, field.key.span);
    if (!fresh) {
      out_.add(Code::key_duplicate, field.key.span, fmt::format("'{}' is written twice", key))
          .with_help("keep one of the two; nested and dotted keys are the same")
          .with_related(first->second, "first set here");
      continue;
    }
    if (auto raw = raw_value(field, key)) out.push_back({key, field.key.span, std::move(*raw)});
  }
}

bool LayerReader::has_operation(std::uint32_t node) const {
  for (std::uint32_t at = node + 1; at < doc_[node].next; at = doc_[doc_[at].next].next) {
    if (is_operation(doc_[at].text.text)) return true;
  }
  return false;
}

std::optional<RawValue> LayerReader::raw_value(const Field& field, std::string_view key) {
  const Node& node = doc_[field.value];
  RawValue value;
  value.span = node.text.span;
  if (node.kind == NodeKind::null) {
    out_.add(Code::value_missing, field.key.span, fmt::format("'{}' has no value", key))
        .with_help("write a value, or `{ unset: true }` to go back to the dictionary's default");
    return std::nullopt;
  }
  if (node.kind == NodeKind::scalar) {
    value.scalar = node.text;
    return value;
  }
  if (node.kind == NodeKind::list) {
    value.is_list = true;
    value.items = read_.words(field);
    return value;
  }
  auto parts = read_.fields(field.value, key);
  if (parts.size() != 1) {
    auto is_op = [](const Field& part) { return is_operation(part.key.text); };
    auto other = std::find_if_not(parts.begin(), parts.end(), is_op);
    if (other != parts.end()) {
      auto op = std::find_if(parts.begin(), parts.end(), is_op);
      out_.add(Code::operation_malformed, other->key.span,
               fmt::format("'{}' stands beside the operation `{}` on '{}'", other->key.text, op->key.text, key))
          .with_help("an operation stands alone in its mapping");
    } else {
      out_.add(Code::operation_malformed, parts[1].key.span, fmt::format("'{}' has more than one operation", key))
          .with_help("an operation stands alone; put the second one into a fragment that extends this one");
    }
    return std::nullopt;
  }
  return operation(parts.front(), key);
}

std::optional<RawValue> LayerReader::operation(const Field& part, std::string_view key) {
  RawValue value;
  value.op = *operation_named(part.key.text);
  value.span = doc_[part.value].text.span;
  if (value.op == OpKind::append || value.op == OpKind::remove) {
    value.is_list = true;
    value.items = read_.words(part);
    return value;
  }
  if (value.op == OpKind::unset) {
    auto flag = read_.flag(part);
    if (!flag) return std::nullopt;
    if (!*flag) {
      read_.wrong(value.span, fmt::format("'unset: false' says nothing about '{}'", key),
                  "write `unset: true`, or remove the line");
      return std::nullopt;
    }
    return value;
  }
  auto text = read_.scalar(part);
  if (!text) return std::nullopt;
  value.scalar = *text;
  return value;
}

std::vector<RawLimit> LayerReader::limits(const Field& field) {
  std::vector<RawLimit> out;
  for (const Field& each : read_.fields(field.value, "'limits'")) {
    if (!read_.within(out.size() + 1, most::limits, field.key.span, "limits")) break;
    RawLimit limit;
    limit.pattern = each.key;
    const Node& node = doc_[each.value];
    if (node.kind == NodeKind::scalar && node.text.text == "none") {
      limit.drop_all = true;
      out.push_back(std::move(limit));
      continue;
    }
    bool any = node.kind != NodeKind::mapping;
    for (const Field& part : read_.fields(each.value, fmt::format("the limit of '{}'", each.key.text))) {
      any |= part.key.text != "else";
      if (part.key.text == "else") {
        if (auto index = read_.choice(part, {"cap", "refuse"})) limit.refuse = *index == 1;
      } else if (std::find(bound_words.begin(), bound_words.end(), part.key.text) == bound_words.end()) {
        read_.unknown(part.key, Code::header_unknown, "part of a limit", bound_words);
      } else if (auto bound = read_bound(part)) {
        limit.bounds.push_back(std::move(*bound));
      }
    }
    if (!any)
      read_.wrong(each.key.span, fmt::format("the limit of '{}' has no bound", each.key.text),
                  "give it `at_most`, `at_least` or `among`");
    out.push_back(std::move(limit));
  }
  return out;
}

std::optional<RawBound> LayerReader::read_bound(const Field& part) {
  RawBound bound;
  bound.span = part.key.span;
  bound.side = part.key.text == "at_most"    ? RawBound::Side::at_most
               : part.key.text == "at_least" ? RawBound::Side::at_least
                                             : RawBound::Side::among;
  const Node& node = doc_[part.value];
  if (node.kind == NodeKind::scalar && !node.text.quoted && node.text.text == "none") {
    bound.drop = true;
    return bound;
  }
  if (bound.side == RawBound::Side::among) {
    bound.value.is_list = true;
    bound.value.items = read_.words(part);
    bound.value.span = node.text.span;
    if (bound.value.items.empty()) {
      read_.wrong(node.text.span, "'among' is empty, so no word would be admitted",
                  "list the words, or remove the line");
      return std::nullopt;
    }
    return bound;
  }
  if (node.kind == NodeKind::mapping) {
    auto parts = read_.fields(part.value, part.key.text);
    if (parts.size() != 1 || parts.front().key.text != "calc") {
      out_.add(Code::operation_malformed, node.text.span, "a bound is a value, `none`, or `{ calc: ... }`")
          .with_help("write one of these");
      return std::nullopt;
    }
    bound.value.op = OpKind::calc;
    auto text = read_.scalar(parts.front());
    if (!text) return std::nullopt;
    bound.value.scalar = *text;
  } else {
    auto text = read_.scalar(part);
    if (!text) return std::nullopt;
    bound.value.scalar = *text;
  }
  bound.value.span = bound.value.scalar.span;
  return bound;
}

std::optional<Text> LayerReader::script_text(const Field& field) {
  auto text = read_.scalar(field);
  if (text && !read_.within(text->text.size(), most::script_letters, field.key.span, "letters of a script"))
    text.reset();
  return text;
}

std::vector<RawScript> LayerReader::scripts(const Field& field) {
  std::vector<RawScript> out;
  for (const Field& each : read_.fields(field.value, "'scripts'")) {
    auto slot = slot_named(each.key.text);
    if (!slot) {
      read_.unknown(each.key, Code::header_unknown, "script", {"start", "layer", "pause", "end"});
      continue;
    }
    const Node& node = doc_[each.value];
    if (node.kind != NodeKind::mapping) {
      auto text = script_text(each);
      if (!text) continue;
      bool drop = !text->quoted && text->text == "none";
      out.push_back({drop ? RawScript::Act::drop : RawScript::Act::replace, *slot, *text, each.key.span});
      continue;
    }
    for (const Field& part : read_.fields(each.value, each.key.text)) {
      bool before = part.key.text == "before";
      if (!before && part.key.text != "after") {
        read_.unknown(part.key, Code::header_unknown, "part of a script", {"before", "after"});
      } else if (auto text = script_text(part)) {
        out.push_back({before ? RawScript::Act::before : RawScript::Act::after, *slot, *text, each.key.span});
      }
    }
  }
  return out;
}

}  // namespace bindery
