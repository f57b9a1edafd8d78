#include "syntax/fragment.h"

#include <algorithm>
#include <unordered_map>

#include <fmt/format.h>

#include "base/words.h"
#include "syntax/fields.h"

namespace bindery {

namespace {

template <typename Enum, std::size_t N>
std::optional<Enum> by_name(const std::array<std::string_view, N>& names, std::string_view word) {
  auto at = std::find(names.begin(), names.end(), word);
  if (at == names.end()) return std::nullopt;
  return static_cast<Enum>(at - names.begin());
}

constexpr std::array<std::string_view, 3> kind_names = {"machine", "material", "process"};
constexpr std::array<std::string_view, 2> tier_names = {"free", "supporter"};
constexpr std::array<std::string_view, 4> status_names = {"draft", "beta", "stable", "retired"};
constexpr std::array<std::string_view, 7> op_names = {"set", "calc", "add", "scale", "unset", "append", "remove"};
constexpr std::array<std::string_view, 4> slot_names = {"start", "layer", "pause", "end"};

const std::vector<std::string_view> base_headers = {"title",  "about",    "extends", "abstract", "tier", "status", "authors", "replaces",
                                                    "fits",   "settings", "adjust",  "limits",   "when", "locked", "scripts", "fittings"};
const std::vector<std::string_view> fitting_headers(base_headers.begin(), base_headers.end() - 1);
const std::vector<std::string_view> when_headers = {"if", "settings", "adjust", "limits", "scripts"};
const std::vector<std::string_view> condition_words = {"machine", "material", "process", "where"};
const std::vector<std::string_view> bound_words = {"at_most", "at_least", "among", "else"};

bool is_operation(std::string_view word) { return word != "set" && by_name<OpKind>(op_names, word).has_value(); }

class FragmentReader {
 public:
  FragmentReader(FileId id, const SourceFile& file, const Document& doc, FragmentFile& target, Diagnostics& out)
      : id_(id), file_(file), doc_(doc), target_(target), out_(out), read_(doc, out) {}

  void read(Fragment fragment, std::uint32_t node) {
    bool is_fitting = fragment.base.has_value();
    const auto& headers = is_fitting ? fitting_headers : base_headers;
    std::size_t errors = out_.count(Severity::error), before = out_.items().size();
    std::optional<Field> fittings;
    fragment.layers.emplace_back();
    fragment.parsed = true;
    for (const Field& field : read_.fields(node, "a fragment")) {
      std::string_view key = field.key.text;
      if (std::find(headers.begin(), headers.end(), key) == headers.end()) {
        unknown_header(field.key, headers, is_fitting);
      } else if (key == "fittings") {
        fittings.emplace(field);
      } else {
        header(fragment, field);
      }
    }
    fragment.has_fittings = fittings.has_value();
    fragment.broken = out_.count(Severity::error) > errors;
    out_.attribute(before, fmt::format("{}/{}", name_of(fragment.kind), fragment.name));
    std::string base = fragment.name;
    bool base_broken = fragment.broken;
    target_.fragments.push_back(std::move(fragment));
    if (fittings) read_fittings(base, base_broken, *fittings);
  }

 private:
  void read_fittings(const std::string& base, bool base_broken, const Field& field) {
    std::string_view base_name = target_.owned.emplace_back(base);
    for (const Field& each : read_.fields(field.value, "'fittings'")) {
      if (!is_name(each.key.text)) {
        out_.add(Code::name_invalid, each.key.span, fmt::format("'{}' is no name for a fitting", each.key.text))
            .with_help("use small letters, digits, `.` and `-`, and start with a letter or digit");
        continue;
      }
      Fragment fitting;
      fitting.kind = target_.fragments.front().kind;
      fitting.name = fmt::format("{}+{}", base, each.key.text);
      fitting.file = id_;
      fitting.span = each.key.span;
      fitting.base = base_name;
      read(std::move(fitting), each.value);
      target_.fragments.back().broken |= base_broken;
    }
  }

  void unknown_header(const Text& key, const std::vector<std::string_view>& headers, bool is_fitting) {
    auto elsewhere = [&](const std::vector<std::string_view>& words) { return std::find(words.begin(), words.end(), key.text) != words.end(); };
    std::string help;
    if (is_fitting && key.text == "fittings") help = "a fitting has no fittings of its own; write it beside this one";
    else if (key.text.find('.') != std::string_view::npos) help = fmt::format("a setting stands below `settings:`, so write `settings: {{ {}: ... }}`", key.text);
    else if (elsewhere(when_headers)) help = "it stands in an item of `when:`";
    else if (elsewhere(condition_words)) help = "it stands below `fits:` or below `if:`";
    else if (elsewhere(bound_words)) help = "it stands below a key of `limits:`";
    else if (is_operation(key.text)) help = "an operation stands below a key of `settings:`";
    if (help.empty()) return read_.unknown(key, Code::header_unknown, "header", headers);
    out_.add(Code::header_misplaced, key.span, fmt::format("'{}' does not stand here", key.text)).with_help(help);
  }

  void header(Fragment& fragment, const Field& field) {
    std::string_view key = field.key.text;
    RawLayer& own = fragment.layers.front();
    if (key == "title") fragment.title = read_.scalar(field);
    else if (key == "about") fragment.about = read_.scalar(field);
    else if (key == "abstract") fragment.abstract = read_.flag(field);
    else if (key == "extends") { fragment.extends = read_.words(field); fragment.extends_span = field.key.span; }
    else if (key == "authors") fragment.authors = read_.words(field);
    else if (key == "replaces") fragment.replaces = read_.words(field);
    else if (key == "locked") fragment.locked = read_.words(field);
    else if (key == "tier") {
      fragment.tier_span = field.key.span;
      if (auto index = read_.choice(field, {"free", "supporter"})) fragment.tier = static_cast<Tier>(*index);
    } else if (key == "status") {
      if (auto index = read_.choice(field, {"draft", "beta", "stable", "retired"})) fragment.status = static_cast<Status>(*index);
    } else if (key == "fits") fragment.fits = condition(field);
    else if (key == "when") when(fragment, field);
    else layer_part(own, field);
  }

  void layer_part(RawLayer& layer, const Field& field) {
    std::string_view key = field.key.text;
    if (key == "settings") layer.settings = writes(field);
    else if (key == "adjust") layer.adjust = writes(field);
    else if (key == "limits") layer.limits = limits(field);
    else if (key == "scripts") layer.scripts = scripts(field);
  }

  void when(Fragment& fragment, const Field& field) {
    const Node& list = doc_[field.value];
    if (list.kind != NodeKind::list) {
      read_.wrong(list.text.span, "'when' is a list of blocks", "start each with `- if:`");
      return;
    }
    for (std::uint32_t at = field.value + 1; at < list.next; at = doc_[at].next) {
      RawLayer layer;
      for (const Field& part : read_.fields(at, "an item of 'when'")) {
        if (part.key.text == "if") layer.condition = condition(part);
        else if (std::find(when_headers.begin(), when_headers.end(), part.key.text) != when_headers.end()) layer_part(layer, part);
        else read_.unknown(part.key, Code::header_unknown, "part of 'when'", when_headers);
      }
      if (!layer.condition) {
        if (doc_[at].kind == NodeKind::mapping) {
          out_.add(Code::key_missing, doc_[at].text.span, "this block has no 'if'").with_help("write `if: { ... }`, or move its parts out of `when`");
        }
        continue;
      }
      fragment.layers.push_back(std::move(layer));
    }
  }

  Condition condition(const Field& field) {
    Condition out;
    out.span = field.key.span;
    for (const Field& part : read_.fields(field.value, fmt::format("'{}'", field.key.text))) {
      if (part.key.text == "where") out.where = read_.scalar(part);
      else if (auto kind = kind_named(part.key.text)) out.names[static_cast<std::size_t>(*kind)] = read_.names(part);
      else read_.unknown(part.key, Code::header_unknown, "condition", condition_words);
    }
    return out;
  }

  std::vector<RawWrite> writes(const Field& field) {
    std::vector<RawWrite> out;
    seen_.clear();
    flatten(field.value, {}, fmt::format("'{}'", field.key.text), out);
    return out;
  }

  void flatten(std::uint32_t node, std::string_view prefix, std::string_view what, std::vector<RawWrite>& out) {
    for (const Field& field : read_.fields(node, what)) {
      std::string_view key = field.key.text;
      if (prefix.empty() && is_operation(key)) {
        out_.add(Code::header_misplaced, field.key.span, fmt::format("'{}' does not stand here", key)).with_help("an operation stands below the key that it acts on");
        continue;
      }
      if (!prefix.empty()) key = target_.owned.emplace_back(fmt::format("{}.{}", prefix, key));
      const Node& value = doc_[field.value];
      if (value.kind == NodeKind::mapping && !has_operation(field.value)) {
        if (value.next == field.value + 1) read_.wrong(value.text.span, fmt::format("'{}' holds nothing", key), "write a value, or remove the line");
        flatten(field.value, key, fmt::format("'{}'", key), out);
        continue;
      }
      auto [first, fresh] = seen_.emplace(key, field.key.span);
      if (!fresh) {
        out_.add(Code::key_duplicate, field.key.span, fmt::format("'{}' is written twice", key))
            .with_help("keep one of the two; nested and dotted keys are the same").with_related(first->second, "first set here");
        continue;
      }
      if (auto raw = raw_value(field, key)) out.push_back({key, field.key.span, std::move(*raw)});
    }
  }

  bool has_operation(std::uint32_t node) const {
    for (std::uint32_t at = node + 1; at < doc_[node].next; at = doc_[doc_[at].next].next) {
      if (is_operation(doc_[at].text.text)) return true;
    }
    return false;
  }

  std::optional<RawValue> raw_value(const Field& field, std::string_view key) {
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
        out_.add(Code::operation_malformed, other->key.span, fmt::format("'{}' stands beside the operation `{}` on '{}'", other->key.text, op->key.text, key))
            .with_help("an operation stands alone in its mapping");
      } else {
        out_.add(Code::operation_malformed, parts[1].key.span, fmt::format("'{}' has more than one operation", key))
            .with_help("an operation stands alone; put the second one into a fragment that extends this one");
      }
      return std::nullopt;
    }
    return operation(parts.front(), key);
  }

  std::optional<RawValue> operation(const Field& part, std::string_view key) {
    RawValue value;
    value.op = *by_name<OpKind>(op_names, part.key.text);
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
        read_.wrong(value.span, fmt::format("'unset: false' says nothing about '{}'", key), "write `unset: true`, or remove the line");
        return std::nullopt;
      }
      return value;
    }
    auto text = read_.scalar(part);
    if (!text) return std::nullopt;
    value.scalar = *text;
    return value;
  }

  std::vector<RawLimit> limits(const Field& field) {
    std::vector<RawLimit> out;
    for (const Field& each : read_.fields(field.value, "'limits'")) {
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
      if (!any) read_.wrong(each.key.span, fmt::format("the limit of '{}' has no bound", each.key.text), "give it `at_most`, `at_least` or `among`");
      out.push_back(std::move(limit));
    }
    return out;
  }

  std::optional<RawBound> read_bound(const Field& part) {
    RawBound bound;
    bound.span = part.key.span;
    bound.side = part.key.text == "at_most" ? RawBound::Side::at_most : part.key.text == "at_least" ? RawBound::Side::at_least : RawBound::Side::among;
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
        read_.wrong(node.text.span, "'among' is empty, so no word would be admitted", "list the words, or remove the line");
        return std::nullopt;
      }
      return bound;
    }
    if (node.kind == NodeKind::mapping) {
      auto parts = read_.fields(part.value, part.key.text);
      if (parts.size() != 1 || parts.front().key.text != "calc") {
        out_.add(Code::operation_malformed, node.text.span, "a bound is a value, `none`, or `{ calc: ... }`").with_help("write one of these");
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

  std::vector<RawScript> scripts(const Field& field) {
    std::vector<RawScript> out;
    for (const Field& each : read_.fields(field.value, "'scripts'")) {
      auto slot = by_name<ScriptSlot>(slot_names, each.key.text);
      if (!slot) {
        read_.unknown(each.key, Code::header_unknown, "script", {slot_names.begin(), slot_names.end()});
        continue;
      }
      const Node& node = doc_[each.value];
      if (node.kind != NodeKind::mapping) {
        auto text = read_.scalar(each);
        if (!text) continue;
        bool drop = !text->quoted && text->text == "none";
        out.push_back({drop ? RawScript::Act::drop : RawScript::Act::replace, *slot, *text, each.key.span});
        continue;
      }
      for (const Field& part : read_.fields(each.value, each.key.text)) {
        bool before = part.key.text == "before";
        if (!before && part.key.text != "after") {
          read_.unknown(part.key, Code::header_unknown, "part of a script", {"before", "after"});
        } else if (auto text = read_.scalar(part)) {
          out.push_back({before ? RawScript::Act::before : RawScript::Act::after, *slot, *text, each.key.span});
        }
      }
    }
    return out;
  }

  FileId id_;
  const SourceFile& file_;
  const Document& doc_;
  FragmentFile& target_;
  Diagnostics& out_;
  FieldReader read_;
  std::unordered_map<std::string_view, Span> seen_;
};

}  // namespace

std::string_view name_of(Kind kind) { return kind_names[static_cast<std::size_t>(kind)]; }
std::string_view name_of(Tier tier) { return tier_names[static_cast<std::size_t>(tier)]; }
std::string_view name_of(Status status) { return status_names[static_cast<std::size_t>(status)]; }
std::string_view name_of(OpKind op) { return op_names[static_cast<std::size_t>(op)]; }
std::string_view name_of(ScriptSlot slot) { return slot_names[static_cast<std::size_t>(slot)]; }
std::optional<Kind> kind_named(std::string_view word) { return by_name<Kind>(kind_names, word); }
std::optional<Tier> tier_named(std::string_view word) { return by_name<Tier>(tier_names, word); }
std::optional<Status> status_named(std::string_view word) { return by_name<Status>(status_names, word); }

FragmentFile read_fragment(FileId id, const SourceFile& file, Diagnostics& out) {
  FragmentFile result;
  Fragment fragment;
  std::string_view below = std::string_view(file.path).substr(std::string_view("profiles-src/").size());
  fragment.kind = *kind_named(below.substr(0, below.find('/')));
  std::string_view stem = below.substr(below.rfind('/') + 1);
  stem.remove_suffix(std::string_view(".yaml").size());
  fragment.name = stem;
  fragment.file = id;
  fragment.span = {id, 0, 0};
  if (!is_name(stem)) {
    out.add(Code::name_invalid, fragment.span, fmt::format("'{}' is no name for a fragment", stem))
        .with_help("name the file in small letters, digits, `.` and `-`, starting with a letter or digit");
    fragment.broken = true;
  }
  std::optional<Document> document;
  if (file.sound) document = parse_document(id, file, out);
  if (!document) {
    fragment.broken = true;
    result.fragments.push_back(std::move(fragment));
    out.attribute(0, fmt::format("{}/{}", name_of(result.fragments.front().kind), result.fragments.front().name));
    return result;
  }
  bool named = !fragment.broken;
  FragmentReader(id, file, *document, result, out).read(std::move(fragment), 0);
  if (!named) result.fragments.front().broken = true;
  out.attribute(0, fmt::format("{}/{}", name_of(result.fragments.front().kind), result.fragments.front().name));
  result.unescaped = std::move(document->owned);
  return result;
}

}  // namespace bindery
