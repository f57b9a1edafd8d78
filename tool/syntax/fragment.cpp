#include "syntax/fragment.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/words.h"
#include "syntax/fields.h"
#include "syntax/layer.h"
#include "syntax/limits.h"
#include "syntax/macros.h"

namespace bindery {

namespace {

const std::vector<std::string_view> base_headers = {"title",   "about",    "extends", "abstract", "tier",    "status",
                                                    "authors", "replaces", "fits",    "settings", "adjust",  "limits",
                                                    "when",    "locked",   "scripts", "macros",   "fittings"};
const std::vector<std::string_view> fitting_headers(base_headers.begin(), base_headers.end() - 1);
const std::vector<std::string_view> when_headers = {"if", "settings", "adjust", "limits", "scripts"};
const std::vector<std::string_view> condition_words = {"machine", "material", "process", "where"};

class FragmentReader {
 public:
  FragmentReader(FileId id, const Document& doc, FragmentFile& target, Diagnostics& out)
      : id_(id), doc_(doc), target_(target), out_(out), read_(doc, out), layer_(doc, target.owned, out) {}

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
    std::size_t count = 0;
    for (const Field& each : read_.fields(field.value, "'fittings'")) {
      if (!read_.within(++count, most::fittings, field.key.span, "fittings")) return;
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
    auto elsewhere = [&](const std::vector<std::string_view>& words) {
      return std::find(words.begin(), words.end(), key.text) != words.end();
    };
    std::string help;
    if (is_fitting && key.text == "fittings") help = "a fitting has no fittings of its own; write it beside this one";
    else if (key.text.find('.') != std::string_view::npos)
      help = fmt::format("a setting stands below `settings:`, so write `settings: {{ {}: ... }}`", key.text);
    else if (elsewhere(when_headers)) help = "it stands in an item of `when:`";
    else if (elsewhere(condition_words)) help = "it stands below `fits:` or below `if:`";
    else if (elsewhere({"at_most", "at_least", "among", "else"})) help = "it stands below a key of `limits:`";
    else if (operation_named(key.text)) help = "an operation stands below a key of `settings:`";
    if (help.empty()) return read_.unknown(key, Code::header_unknown, "header", headers);
    out_.add(Code::header_misplaced, key.span, fmt::format("'{}' does not stand here", key.text)).with_help(help);
  }

  void header(Fragment& fragment, const Field& field) {
    std::string_view key = field.key.text;
    RawLayer& own = fragment.layers.front();
    if (key == "title") fragment.title = read_.scalar(field);
    else if (key == "about") fragment.about = read_.scalar(field);
    else if (key == "abstract") fragment.abstract = read_.flag(field);
    else if (key == "extends") {
      fragment.extends = read_.words(field);
      fragment.extends_span = field.key.span;
    } else if (key == "authors") fragment.authors = read_.words(field);
    else if (key == "replaces") {
      fragment.replaces = read_.words(field);
      if (!read_.within(fragment.replaces.size(), most::old_names, field.key.span, "old names"))
        fragment.replaces.clear();
    } else if (key == "locked") fragment.locked = read_.words(field);
    else if (key == "tier") {
      fragment.tier_span = field.key.span;
      if (auto index = read_.choice(field, {"free", "supporter"})) fragment.tier = static_cast<Tier>(*index);
    } else if (key == "status") {
      fragment.status_span = field.key.span;
      if (auto index = read_.choice(field, {"draft", "beta", "stable", "retired"}))
        fragment.status = static_cast<Status>(*index);
    } else if (key == "fits") fragment.fits = condition(field);
    else if (key == "macros") macros(fragment, field);
    else if (key == "when") when(fragment, field);
    else layer_.read(own, field);
  }

  void macros(Fragment& fragment, const Field& field) {
    if (fragment.kind == Kind::machine) {
      fragment.macros = read_macros(doc_, field, out_);
      return;
    }
    out_.add(Code::header_misplaced, field.key.span, fmt::format("a {} declares no macros", name_of(fragment.kind)))
        .with_help("they are words of a machine's firmware: declare them in the machine's fragment");
  }

  void when(Fragment& fragment, const Field& field) {
    const Node& list = doc_[field.value];
    if (list.kind != NodeKind::list) {
      read_.wrong(list.text.span, "'when' is a list of blocks", "start each with `- if:`");
      return;
    }
    std::size_t count = 0;
    for (std::uint32_t at = field.value + 1; at < list.next; at = doc_[at].next) {
      if (!read_.within(++count, most::blocks, field.key.span, "blocks")) return;
      RawLayer layer;
      for (const Field& part : read_.fields(at, "an item of 'when'")) {
        if (part.key.text == "if") layer.condition = condition(part);
        else if (std::find(when_headers.begin(), when_headers.end(), part.key.text) != when_headers.end())
          layer_.read(layer, part);
        else read_.unknown(part.key, Code::header_unknown, "part of 'when'", when_headers);
      }
      if (!layer.condition) {
        if (doc_[at].kind == NodeKind::mapping) {
          out_.add(Code::key_missing, doc_[at].text.span, "this block has no 'if'")
              .with_help("write `if: { ... }`, or move its parts out of `when`");
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

  FileId id_;
  const Document& doc_;
  FragmentFile& target_;
  Diagnostics& out_;
  FieldReader read_;
  LayerReader layer_;
};

}  // namespace

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
  if (!file.named) {
    fragment.broken = true;
  } else if (!is_name(stem)) {
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
  FragmentReader(id, *document, result, out).read(std::move(fragment), 0);
  if (!named) result.fragments.front().broken = true;
  out.attribute(0, fmt::format("{}/{}", name_of(result.fragments.front().kind), result.fragments.front().name));
  result.unescaped = std::move(document->owned);
  return result;
}

}  // namespace bindery
