// Reads profiles-src/dialect/*.yaml.
#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "base/utf8.h"
#include "base/words.h"
#include "dialect/rows.h"
#include "dialect/safe_path.h"
#include "dialect/sheet.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

constexpr std::array<std::string_view, told_count> told_names = {"id",   "title",  "machine", "material", "process",
                                                                 "tier", "status", "version", "digest",   "publisher"};
const std::vector<std::string_view> dialect_words = {"title",   "about",   "tried",  "tier",
                                                     "without", "scripts", "groups", "files"};
const std::vector<std::string_view> file_words = {"family",  "layout", "path",     "each",
                                                  "comment", "parent", "template", "rows"};
const std::vector<std::string_view> layout_words = {"separator", "comment", "indent",   "delimiter", "root",
                                                    "item",      "key_in",  "value_in", "section"};

class DialectReader {
 public:
  DialectReader(const Tree& tree, FileId id, Diagnostics& out) : tree_(tree), id_(id), out_(out) {}

  Dialect read() {
    const SourceFile& source = (*tree_.sources)[id_];
    std::string_view path = source.path;
    std::string_view stem = path.substr(path.rfind('/') + 1);
    dialect_.name = stem.substr(0, stem.size() - std::string_view(".yaml").size());
    dialect_.file = id_;
    dialect_.title = stem.substr(0, dialect_.name.size());  // of the sources, which outlive the dialect
    std::size_t errors = out_.count(Severity::error);
    if (!source.sound) {
      dialect_.broken = true;
      return std::move(dialect_);
    }
    if (!is_name(dialect_.name))
      report(Code::name_invalid, {id_, 0, 0}, fmt::format("'{}' is no name for a dialect", dialect_.name),
             "use small letters, digits, `.` and `-`");
    if (auto parsed = parse_document(id_, source, out_)) {
      dialect_.document = std::make_shared<const Document>(std::move(*parsed));
      read_document(*dialect_.document);
    }
    dialect_.broken = out_.count(Severity::error) > errors;
    return std::move(dialect_);
  }

 private:
  void report(Code code, Span span, std::string message, std::string help) {
    out_.add(code, span, std::move(message)).with_help(std::move(help));
  }

  void read_document(const Document& doc) {
    FieldReader read(doc, out_);
    std::optional<Field> files;
    std::map<std::string_view, std::uint32_t> groups;
    for (const Field& field : read.fields(0, "a dialect")) {
      std::string_view word = field.key.text;
      if (word == "title" || word == "about") {
        if (auto text = read.scalar(field)) (word == "title" ? dialect_.title : dialect_.about) = text->text;
      } else if (word == "tried") {
        dialect_.tried = read.words(field);
      } else if (word == "tier") {
        if (auto index = read.choice(field, {"free", "supporter"})) dialect_.tier = static_cast<Tier>(*index);
      } else if (word == "without") {
        dialect_.without = read.names(field);
      } else if (word == "scripts") {
        read_scripts(read, field);
      } else if (word == "groups") {
        for (const Field& group : read.fields(field.value, "'groups'")) groups.emplace(group.key.text, group.value);
      } else if (word == "files") {
        files.emplace(field);
      } else {
        read.unknown(field.key, Code::header_unknown, "part of a dialect", dialect_words);
      }
    }
    if (!files) {
      report(Code::key_missing, {id_, 0, 0}, fmt::format("the dialect '{}' writes no file", dialect_.name),
             "add `files:` with the files that the program reads");
      return;
    }
    std::vector<Field> parts = read.fields(files->value, "'files'");
    if (parts.empty() && doc[files->value].kind == NodeKind::mapping)
      report(Code::value_missing, files->key.span, fmt::format("the dialect '{}' writes no file", dialect_.name),
             "name under `files:` those that the program reads");

    if (!read.within(parts.size(), most::dialect_files, files->key.span, "files of a dialect")) return;
    std::vector<std::string_view> names;
    for (const Field& part : parts) names.push_back(part.key.text);
    RowReader rows(tree_, doc, names, groups, out_);
    for (const Field& part : parts) dialect_.files.push_back(read_file(doc, part, rows));
  }

  void read_scripts(FieldReader& read, const Field& field) {
    for (const Field& part : read.fields(field.value, "'scripts'")) {
      if (part.key.text == "job") {
        for (const Field& pair : read.fields(part.value, "'job'")) {
          const auto& job = tree_.dictionary.job;
          if (std::find(job.begin(), job.end(), pair.key.text) == job.end())
            read.unknown(pair.key, Code::choice_unknown, "name of the job", job);
          else if (auto text = read.scalar(pair)) dialect_.job.emplace(pair.key.text, text->text);
        }
      } else if (part.key.text == "fed") {
        auto text = read.scalar(part);
        if (text && text->text.find("{key}") == std::string_view::npos)
          report(Code::value_malformed, text->span, fmt::format("'{}' has no place for the key", text->text),
                 "write `{key}` where the program wants its key, as in `<{key}>`");
        else if (text) dialect_.fed = text->text;
      } else {
        read.unknown(part.key, Code::header_unknown, "part of the scripts", {"job", "fed"});
      }
    }
  }

  DialectFile read_file(const Document& doc, const Field& entry, RowReader& rows) {
    FieldReader read(doc, out_);
    DialectFile file;
    file.name = entry.key.text;
    file.span = entry.key.span;
    std::optional<Field> list, parent, layout;
    bool family = false, path = false;
    if (doc[entry.value].kind != NodeKind::mapping) {
      read.fields(entry.value, fmt::format("the file '{}'", file.name));
      return file;
    }

    for (const Field& field : read.fields(entry.value, fmt::format("the file '{}'", file.name))) {
      std::string_view word = field.key.text;
      if (word == "family") {
        auto text = read.scalar(field);
        auto named = text ? family_named(text->text) : std::nullopt;
        family = true;
        if (named) file.family = *named;
        else if (text)
          read.unknown(*text, Code::choice_unknown, "family of files", {"ini", "json", "yaml", "csv", "xml", "text"});
      } else if (word == "layout") {
        layout.emplace(field);
      } else if (word == "path" || word == "each" || word == "comment") {
        path |= word == "path";
        if (auto text = read.scalar(field)) {
          ToldText pattern = read_pattern(read, *text);
          if (word == "path") file.path = std::move(pattern);
          else if (word == "each") file.each = std::move(pattern);
          else file.comment = std::move(pattern);
        }
      } else if (word == "parent") {
        parent.emplace(field);
      } else if (word == "template") {
        if (auto text = read.scalar(field)) file.text = *text;
      } else if (word == "rows") {
        list.emplace(field);
      } else {
        read.unknown(field.key, Code::header_unknown, "part of a dialect's file", file_words);
      }
    }
    auto missing = [&](std::string_view what, std::string help) {
      report(Code::key_missing, file.span, fmt::format("the file '{}' has no '{}'", file.name, what), std::move(help));
    };
    if (!family) missing("family", "name one of ini, json, yaml, csv, xml and text");
    if (!path) missing("path", "name the file, as in `path: \"@{machine}/@{process}.ini\"`");
    if (!list) missing("rows", "list what stands in it");
    file.for_all = file.each.has_value();
    if (layout) read_layout(read, *layout, file);
    check_path(file);
    if (list) file.rows = rows.rows(*list, file);
    if (parent) read_parent(read, *parent, file, rows);
    check_template(file);
    if (file.comment &&
        (file.family == FileFamily::json || file.family == FileFamily::csv || file.family == FileFamily::text))
      report(Code::dialect_key, file.comment->span,
             fmt::format("a file of the family {} has no comments", name_of(file.family)),
             "add a row with `tell:` instead");
    check_twice(file);
    return file;
  }

  // `@{machine}` and its like among other text.
  ToldText read_pattern(FieldReader& read, const Text& text) {
    ToldText out;
    out.span = text.span;
    std::string_view whole = text.text;
    for (std::size_t at = 0; at < whole.size();) {
      std::size_t open = std::min(whole.find("@{", at), whole.size());
      if (open > at) out.pieces.push_back({whole.substr(at, open - at), std::nullopt});
      if (open == whole.size()) break;
      std::size_t close = whole.find('}', open);
      if (close == std::string_view::npos) {
        report(Code::placeholder_malformed, text.part(open, 2), "this placeholder is never closed",
               "close it with `}`");
        break;
      }
      Text name = text;
      name.text = whole.substr(open + 2, close - open - 2);
      name.span = text.part(open + 2, name.text.size());
      if (auto told = told_named(name.text)) out.pieces.push_back({{}, told});
      else read.unknown(name, Code::placeholder_malformed, "thing that can be told", told_words());
      at = close + 1;
    }
    return out;
  }

  void read_layout(FieldReader& read, const Field& field, DialectFile& file) {
    for (const Field& part : read.fields(field.value, "'layout'")) {
      std::string_view word = part.key.text;
      if (std::find(layout_words.begin(), layout_words.end(), word) == layout_words.end()) {
        read.unknown(part.key, Code::header_unknown, "part of a layout", layout_words);
        continue;
      }
      auto text = read.scalar(part);
      if (!text) continue;
      Layout& layout = file.layout;
      auto among = [&](std::initializer_list<std::string_view> known) {
        if (std::find(known.begin(), known.end(), text->text) != known.end()) return true;
        std::vector<std::string> names;
        for (std::string_view each : known) names.push_back(each == "\t" ? "a tab" : fmt::format("`{}`", each));
        report(Code::choice_unknown, text->span, fmt::format("'{}' is no '{}' of a layout", one_line(text->text), word),
               fmt::format("known here: {}", join_words(names, "or")));
        return false;
      };
      if (word == "separator") {
        std::string_view sign = text->text;
        while (sign.starts_with(' ')) sign.remove_prefix(1);
        while (sign.ends_with(' ')) sign.remove_suffix(1);
        if (sign == "=" || sign == ":") layout.separator = text->text;
        else
          read.wrong(text->span, fmt::format("'{}' separates no key from its value", text->text),
                     "write `=` or `:`, with blanks round it as the program does");
      } else if (word == "comment") {
        if (among({"#", ";"})) layout.comment = text->text;
      } else if (word == "indent") {
        if (among({"0", "1", "2", "3", "4", "8"})) layout.indent = text->text[0] - '0';
      } else if (word == "delimiter") {
        if (among({",", ";", "\t"})) layout.delimiter = text->text[0];
      } else {
        (word == "root"       ? layout.root
         : word == "item"     ? layout.item
         : word == "key_in"   ? layout.key_in
         : word == "value_in" ? layout.value_in
                              : layout.section) = text->text;
        Layout plain;
        if (std::string why = why_unfit(FileFamily::xml, plain, text->text, false); !why.empty())
          report(Code::dialect_key, text->span, fmt::format("'{}' cannot stand in the file: {}", text->text, why),
                 "write a name of XML");
      }
    }
    if (file.family == FileFamily::yaml && file.layout.indent == 0) file.layout.indent = 2;
  }

  // Literal pieces that leave the folder, or that some system cannot hold.
  void check_path(const DialectFile& file) {
    if (file.path.empty()) return;
    std::string sample;
    for (const auto& piece : file.path.pieces) sample += piece.told ? std::string("x") : std::string(piece.literal);
    if (std::string why = why_unsafe(sample); !why.empty())
      report(Code::dialect_path, file.path.span, fmt::format("the path of '{}' {}", file.name, why),
             "write a plain path below the dialect's folder, as in `@{machine}/@{process}.ini`");
  }

  void read_parent(FieldReader& read, const Field& field, DialectFile& file, RowReader& rows) {
    if (file.for_all)
      report(Code::dialect_parent, field.key.span, "a file for all profiles has no parent", "write one file a profile");
    bool of = false, key = false;
    file.parent_span = field.key.span;
    for (const Field& part : read.fields(field.value, "'parent'")) {
      std::string_view word = part.key.text;
      if (word == "key") {
        key = true;
        if (auto text = read.scalar(part)) {
          file.parent_key = text->text;
          rows.check_name(file, text->text, text->span, false);
        }
      } else if (word == "section") {
        file.parent_section = rows.section(part, file);
      } else if (word == "of") {
        of = true;
        read_parents(read, part, file, rows);
      } else {
        read.unknown(part.key, Code::header_unknown, "part of a parent", {"key", "section", "of"});
      }
    }
    if (!key || !of)
      report(Code::key_missing, field.key.span,
             fmt::format("the parent of '{}' has no '{}'", file.name, !key ? "key" : "of"),
             "name the key that says which parent a file has, and under `of:` the parents with what they hold");
  }

  void read_parents(FieldReader& read, const Field& field, DialectFile& file, RowReader& rows) {
    const Document& doc = read.doc;
    if (doc[field.value].kind != NodeKind::list)
      return read.wrong(field.key.span, "'of' is a list of parents", "write each as `- { name: ..., holds: { ... } }`");
    for (std::uint32_t at = field.value + 1; at < doc[field.value].next; at = doc[at].next) {
      if (!read.within(file.parents.size() + 1, most::list_items, field.key.span, "parents")) return;
      Parent parent;
      parent.span = doc[at].text.span;
      for (const Field& part : read.fields(at, "a parent")) {
        std::string_view word = part.key.text;
        if (word == "name") {
          if (auto text = read.scalar(part)) {
            parent.name = text->text;
            parent.span = text->span;
          }
        } else if (word == "when") {
          if (auto text = read.scalar(part))
            parent.when = rows.formula(*text, FormulaType{FormulaType::Kind::flag, {}}, "'when'");
        } else if (word == "holds") {
          read_holding(read, part, {}, file, rows, parent);
        } else {
          read.unknown(part.key, Code::header_unknown, "part of a parent", {"name", "when", "holds"});
        }
      }
      if (parent.name.empty())
        report(Code::key_missing, parent.span, "the parent has no 'name'",
               "write the name that the program knows it by");
      file.parents.push_back(std::move(parent));
    }
  }

  // Keys with their texts, sections as mappings.
  void read_holding(FieldReader& read, const Field& field, const std::vector<std::string_view>& within,
                    const DialectFile& file, RowReader& rows, Parent& parent) {
    for (const Field& pair : read.fields(field.value, "'holds'")) {
      if (!read.within(parent.holds.size() + 1, most::dialect_rows, field.key.span, "values of a parent")) return;
      bool section = read.doc[pair.value].kind == NodeKind::mapping;
      rows.check_name(file, pair.key.text, pair.key.span, section);
      if (section) {
        std::vector<std::string_view> inside = within;
        inside.push_back(pair.key.text);
        read_holding(read, pair, inside, file, rows, parent);
      } else if (auto text = rows.text(pair)) {
        parent.holds.push_back({within, pair.key.text, text->text, text->span});
      }
    }
  }

  void check_template(DialectFile& file) {
    if (file.family != FileFamily::text) {
      if (!file.text.empty())
        report(Code::dialect_template, file.text.span,
               fmt::format("a file of the family {} has no template", name_of(file.family)),
               "write `family: text`, or take the template out");
      return;
    }
    if (file.text.empty()) {
      report(Code::key_missing, file.span, fmt::format("the file '{}' has no 'template'", file.name),
             "write the text with a placeholder for each row, as in `@{key}`");
      return;
    }
    auto faults = check_sheet(file);
    for (const SheetFault& fault : faults)
      report(Code::dialect_template, place_within((*tree_.sources)[id_], file.text, fault.at, fault.length),
             fault.message, fault.help);
  }

  // Two rows for one key, unless conditions part them.
  void check_twice(const DialectFile& file) {
    std::map<std::pair<std::vector<std::string_view>, std::string_view>, const Row*> met;
    auto check = [&](const std::vector<std::string_view>& section, std::string_view key, Span span, const Row* row) {
      auto [at, fresh] = met.try_emplace({section, key}, row);
      if (fresh) return;
      bool parted = row != nullptr && at->second != nullptr && row->when && at->second->when;
      if (parted) return;
      out_.add(Code::dialect_twice, span, fmt::format("two rows of '{}' are for the key '{}'", file.name, key))
          .with_help("keep one, or part them by `when:`")
          .with_related(at->second != nullptr ? at->second->span : file.parent_span, "the other one");
    };
    if (!file.parent_key.empty()) check(file.parent_section, file.parent_key, file.parent_span, nullptr);
    for (const Row& row : file.rows) check(row.section, row.key, row.span, &row);
  }

  const Tree& tree_;
  FileId id_;
  Diagnostics& out_;
  Dialect dialect_;
};

}  // namespace

std::string_view name_of(Told told) { return told_names[static_cast<std::size_t>(told)]; }

std::optional<Told> told_named(std::string_view word) {
  auto at = std::find(told_names.begin(), told_names.end(), word);
  return at == told_names.end() ? std::nullopt : std::optional(static_cast<Told>(at - told_names.begin()));
}

std::vector<std::string_view> told_words() { return {told_names.begin(), told_names.end()}; }

std::vector<Dialect> read_dialects(const Tree& tree, Diagnostics& out) {
  std::vector<Dialect> dialects;
  for (FileId id = 0; id < tree.sources->files.size(); ++id) {
    const SourceFile& file = (*tree.sources)[id];
    if (!file.present || !file.path.starts_with("profiles-src/dialect/") || !is_source_path(file.path)) continue;
    if (dialects.size() == most::dialects) {
      out.add(Code::too_many, {id, 0, 0}, fmt::format("there are more than {} dialects", most::dialects))
          .with_help("write fewer");
      break;
    }
    std::size_t before = out.items().size();
    dialects.push_back(DialectReader(tree, id, out).read());
    for (std::size_t i = before; i < out.items().size(); ++i)
      out.items()[i].supporters |= dialects.back().tier == Tier::supporter;
  }
  return dialects;
}

}  // namespace bindery
