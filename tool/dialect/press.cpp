#include "dialect/press.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number.h"
#include "check/finished.h"
#include "dialect/cell.h"
#include "dialect/feed.h"
#include "dialect/safe_path.h"
#include "dialect/sheet.h"

namespace bindery {

namespace {

std::string stem_of(std::string_view path) {
  std::string_view name = path.substr(path.rfind('/') + 1);
  return std::string(name.substr(0, name.rfind('.') == 0 ? name.size() : name.rfind('.')));
}

// Writes one profile into one file.
class PartWriter {
 public:
  PartWriter(const Tree& tree, const Dialect& dialect, std::size_t file,
             const std::map<KeyId, std::string_view>& carried, const std::vector<std::size_t>& twins,
             const Selected& selected, const Profile& profile, const Resolver::Axes& axes, const Stamp& stamp,
             RowMemory& memory, Diagnostics& out)
      : tree_(tree),
        dialect_(dialect),
        file_(dialect.files[file]),
        carried_(carried),
        twins_(twins),
        selected_(selected),
        profile_(profile),
        axes_(axes),
        stamp_(stamp),
        memory_(memory),
        out_(out),
        inputs_(profile) {}

  PressedPart write() {
    part_.path = path_of(file_);
    if (std::string why = why_unsafe(part_.path); !why.empty())
      report(Code::dialect_path, file_.path.span, fmt::format("the path '{}' {}", part_.path, why),
             "change the pattern or the name");
    if (file_.comment) part_.comment = filled(*file_.comment);
    for (std::size_t i = 0; i < file_.rows.size(); ++i) write_row(i);
    refuse_twice();
    if (!file_.parents.empty()) apply_parent();
    if (file_.for_all) place_in_all();
    return std::move(part_);
  }

 private:
  Diagnostic& report(Code code, Span span, std::string message, std::string help) {
    ++reports_;
    Diagnostic& item = out_.add(code, span, std::move(message)).with_help(std::move(help));
    item.profile = profile_id(tree_, profile_.triple);
    item.profiles = 1;
    return item;
  }

  std::string told(Told what) const {
    switch (what) {
      case Told::id: return profile_id(tree_, profile_.triple);
      case Told::title: return profile_title(tree_, profile_.triple);
      case Told::machine: return std::string(tree_[profile_.triple.of[0]].name());
      case Told::material: return std::string(tree_[profile_.triple.of[1]].name());
      case Told::process: return std::string(tree_[profile_.triple.of[2]].name());
      case Told::tier: return std::string(name_of(selected_.tier));
      case Told::status: return std::string(name_of(selected_.status));
      case Told::version: return std::string(stamp_.version);
      case Told::digest: return stamp_.digest;
      case Told::publisher: return std::string(tree_.plan.publisher.name);
    }
    return {};
  }

  std::string filled(const ToldText& pattern) const {
    std::string out;
    for (const auto& piece : pattern.pieces) out += piece.told ? told(*piece.told) : std::string(piece.literal);
    return out;
  }

  std::string path_of(const DialectFile& file) const { return filled(file.path); }

  // Does a condition of a row or a parent hold? One that reads an unset setting does not.
  bool holds(const Formula& formula) {
    FormulaResult result = evaluate(formula, inputs_);
    return result.stop == FormulaStop::none && result.value.flag();
  }

  void write_row(std::size_t index) {
    const Row& row = file_.rows[index];
    if (row.when && !holds(*row.when)) return;
    Entry entry;
    entry.section.assign(row.section.begin(), row.section.end());
    entry.key = row.key;
    switch (row.feed) {
      case Row::Feed::constant:
        for (std::string_view each : row.constant) entry.values.push_back({std::string(each), row.format.bare});
        entry.list = row.constant_list;
        break;
      case Row::Feed::told: entry.values.push_back({told(row.told), row.format.bare}); break;
      case Row::Feed::file: {
        std::string path = path_of(dialect_.files[row.file]);
        entry.values.push_back({row.stem ? stem_of(path) : path, false});
        break;
      }
      case Row::Feed::script: {
        auto text = script(row);
        if (!text) return;
        entry.values.push_back({std::move(*text), false});
        break;
      }
      case Row::Feed::formula: {
        auto text = value_text(row);
        if (!text) return;
        entry.values = std::move(text->values);
        entry.list = text->list;
        break;
      }
    }
    part_.rows.push_back({index, std::move(entry)});
  }

  std::optional<CellText> value_text(const Row& row) {
    if (const auto* known = memory_.find(row, profile_)) return *known;
    std::size_t before = reports_;
    auto text = make_value_text(row);
    if (reports_ == before) memory_.keep(text);  // a report is each profile's own
    return text;
  }

  std::optional<CellText> make_value_text(const Row& row) {
    RowFeed feed(tree_, row);
    std::string why;
    auto value = feed.value(profile_, why);
    if (!value) {
      if (!why.empty()) lost(row, why);
      if (row.unset) return CellText{{{std::string(*row.unset), false}}, false};
      return std::nullopt;
    }
    std::size_t repeat = 0;
    if (row.repeat) {
      FormulaResult result = evaluate(*row.repeat, inputs_);
      double times = result.stop == FormulaStop::none ? result.value.number() : 1;
      repeat = static_cast<std::size_t>(std::clamp(std::round(times), 1.0, 64.0));
    }
    auto text = write_cell(row.format, *value, repeat, why);
    if (!text) {
      lost(row, why);
      return std::nullopt;
    }
    check_kept(row, feed, *value, *text);
    return text;
  }

  void lost(const Row& row, const std::string& why) {
    part_.lost.push_back(static_cast<std::size_t>(&row - file_.rows.data()));

    report(Code::dialect_lossy, row.span,
           fmt::format("the row '{}' of the dialect '{}' cannot write '{}': {}", row.key, dialect_.name,
                       row.formula.text.text, why),
           "give the row a format that holds it");
  }

  // A value that would come back as another one.
  void check_kept(const Row& row, const RowFeed& feed, const CellValue& value, const CellText& text) {
    if (row.unset && text.values.size() == 1 && text.values.front().text == *row.unset)
      return lost(row, fmt::format("'{}' stands for no value", *row.unset));
    if (!feed.can_turn_back(profile_)) return;
    std::string why;
    auto back = read_cell(row.format, feed.sort(), feed.is_list(), row.repeat.has_value(), text, why);
    if (!back) return lost(row, why);
    auto own = feed.turned_back(profile_, value), read = feed.turned_back(profile_, *back);
    if (own && read && same_cell(*own, *read)) return;
    if (row.format.rounds && value.of == CellValue::Of::number) return;
    auto shown = [&](const auto& self, const CellValue& each) -> std::string {
      if (each.of == CellValue::Of::flag) return each.flag ? "true" : "false";
      if (each.of == CellValue::Of::list) {
        std::string items;
        for (const CellValue& item : each.items) items += (items.empty() ? "" : ", ") + self(self, item);
        return fmt::format("[{}]", items);
      }
      return each.of == CellValue::Of::number ? fmt::format("{:.10g}", each.number) : each.word;
    };
    lost(row, fmt::format("{} would come back as {}", shown(shown, value), shown(shown, *back)));
  }

  // The text of a script with its placeholders as the program spells them; nothing where the profile has none.
  std::optional<std::string> script(const Row& row) {
    auto slot = static_cast<std::size_t>(row.slot);
    if (!profile_.scripts[slot]) return std::nullopt;
    std::string out;
    GatheredScripts gathered = gather_scripts(axes_);
    for (const ScriptOp* op : gathered[slot]) {
      if (!op->text) continue;
      if (!out.empty() && out.back() != '\n') out += '\n';
      for (const TemplatePiece& piece : op->text->pieces) out += spelled(row, piece);
    }
    return out;
  }

  std::string spelled(const Row& row, const TemplatePiece& piece) {
    if (piece.of == TemplatePiece::Of::literal) return std::string(piece.literal);
    if (piece.of == TemplatePiece::Of::job) {
      auto at = dialect_.job.find(piece.literal.substr(2, piece.literal.size() - 3));
      if (at != dialect_.job.end()) return std::string(at->second);
      report(Code::dialect_job, row.span,
             fmt::format("the {} script holds {}, which the dialect '{}' does not spell", name_of(row.slot),
                         piece.literal, dialect_.name),
             "add it under `scripts: job:` as the program writes it, or take the row out");
      return std::string(piece.literal);
    }
    const FormulaNode& root = piece.formula->nodes[piece.formula->root];
    if (root.op == FormulaOp::key && !dialect_.fed.empty()) {
      if (auto at = carried_.find(root.key); at != carried_.end()) {
        std::string text(dialect_.fed);
        text.replace(text.find("{key}"), 5, at->second);
        return text;
      }
    }
    FormulaResult result = evaluate(*piece.formula, inputs_);
    return placeholder_text(tree_.dictionary, *piece.formula, result.value);
  }

  // Rows for one key are parted by conditions, of which one alone may hold.
  void refuse_twice() {
    std::map<std::size_t, std::size_t> met;
    for (const PartRow& row : part_.rows) {
      if (twins_[row.row] == Press::no_twin) continue;
      auto [at, fresh] = met.try_emplace(twins_[row.row], row.row);
      if (fresh) continue;
      report(Code::dialect_twice, file_.rows[row.row].span,
             fmt::format("two rows of '{}' write the key '{}' at once", file_.name, row.entry.key),
             "part them by conditions that never hold together")
          .with_related(file_.rows[at->second].span, "the other one");
    }
  }

  // Leaves out what the parent holds.
  void apply_parent() {
    for (const Parent& each : file_.parents) {
      if (each.when && !holds(*each.when)) continue;
      part_.parent = &each;
      break;
    }
    if (part_.parent == nullptr) return;
    for (const Parent::Holding& held : part_.parent->holds) {
      auto is_it = [&](const auto& section, std::string_view key) {
        return key == held.key && std::equal(section.begin(), section.end(), held.section.begin(), held.section.end());
      };
      auto at = std::find_if(part_.rows.begin(), part_.rows.end(),
                             [&](const PartRow& row) { return is_it(row.entry.section, row.entry.key); });
      if (at == part_.rows.end()) {
        auto row = std::find_if(file_.rows.begin(), file_.rows.end(),
                                [&](const Row& each) { return is_it(each.section, each.key); });
        if (row != file_.rows.end())
          report(Code::dialect_parent, row->span,
                 fmt::format("the profile writes no '{}', and its parent '{}' gives it '{}'", row->key,
                             part_.parent->name, held.text),
                 "give the row `unset:`, or choose another parent for such profiles")
              .with_related(held.span, "held here");
        continue;
      }
      if (at->entry.list || at->entry.values.size() != 1 || at->entry.values.front().text != held.text) continue;
      part_.inherited.push_back(std::move(*at));
      part_.rows.erase(at);
    }
    Entry entry;
    entry.section.assign(file_.parent_section.begin(), file_.parent_section.end());
    entry.key = file_.parent_key;
    entry.values.push_back({std::string(part_.parent->name), false});
    part_.rows.insert(part_.rows.begin(), {PartRow::of_parent, std::move(entry)});
  }

  // In a file for all profiles each has a section of its own.
  void place_in_all() {
    std::vector<std::string> within;
    std::string name = filled(*file_.each);
    if (file_.family == FileFamily::csv || file_.family == FileFamily::text) {
      within.push_back(name);
    } else {
      for (std::size_t at = 0; at <= name.size();) {
        std::size_t end = std::min(name.find('/', at), name.size());
        within.push_back(name.substr(at, end - at));
        at = end + 1;
      }
    }
    for (const std::string& part : within) {
      std::string why = file_.family == FileFamily::text ? "" : why_unfit(file_.family, file_.layout, part, true);
      if (!why.empty()) {
        report(Code::dialect_key, file_.each->span, fmt::format("'{}' cannot stand in the file: {}", part, why),
               "name the part of each profile otherwise");
        return;
      }
    }
    for (PartRow& row : part_.rows) row.entry.section.insert(row.entry.section.begin(), within.begin(), within.end());
  }

  const Tree& tree_;
  const Dialect& dialect_;
  const DialectFile& file_;
  const std::map<KeyId, std::string_view>& carried_;
  const std::vector<std::size_t>& twins_;
  const Selected& selected_;
  const Profile& profile_;
  const Resolver::Axes& axes_;
  const Stamp& stamp_;
  RowMemory& memory_;
  Diagnostics& out_;
  std::size_t reports_ = 0;
  Finished inputs_;
  PressedPart part_;
};

// Takes the section off the one record of a file. False, after a report, where there are several, or none.
bool take_record(FileContent& content, FileId id, Diagnostics& out) {
  for (const Entry& entry : content.entries) {
    if (entry.section == content.entries.front().section) continue;
    out.add(Code::program_file, entry.span, "the file has several records, and this one is of one profile")
        .with_help("keep the heads and one record");
    return false;
  }
  if (content.entries.empty()) {
    out.add(Code::program_file, {id, 0, 0}, "the file has no record").with_help("give it the heads and one record");
    return false;
  }
  for (Entry& entry : content.entries) entry.section.clear();
  return true;
}

// Entries of one section together, those of its own before its sections, each in the order of first appearance.
std::vector<Entry> grouped(std::vector<Entry> entries) {
  std::map<std::vector<std::string>, std::map<std::string, std::size_t>> ranks;
  std::vector<std::pair<std::vector<std::size_t>, std::size_t>> order;
  for (std::size_t i = 0; i < entries.size(); ++i) {
    std::vector<std::size_t> rank;
    std::vector<std::string> prefix;
    for (const std::string& part : entries[i].section) {
      auto& known = ranks[prefix];
      rank.push_back(known.emplace(part, known.size() + 1).first->second);
      prefix.push_back(part);
    }
    rank.push_back(0);  // own entries come first
    order.emplace_back(std::move(rank), i);
  }
  std::sort(order.begin(), order.end());
  std::vector<Entry> out;
  out.reserve(entries.size());
  for (const auto& [rank, i] : order) out.push_back(std::move(entries[i]));
  return out;
}

// By row: the first of the rows that write the same key of the same section, where there are several.
std::vector<std::size_t> find_twins(const DialectFile& file) {
  std::map<std::pair<std::vector<std::string_view>, std::string_view>, std::size_t> first;
  std::vector<std::size_t> out(file.rows.size(), Press::no_twin);
  for (std::size_t i = 0; i < file.rows.size(); ++i) {
    const Row& row = file.rows[i];
    auto [at, fresh] = first.try_emplace({{row.section.begin(), row.section.end()}, row.key}, i);
    if (!fresh) out[i] = out[at->second] = at->second;
  }
  return out;
}

}  // namespace

Press::Press(const Tree& tree, const Dialect& dialect) : tree_(tree), dialect_(dialect) {
  for (const DialectFile& file : dialect.files) {
    for (const Row& row : file.rows) {
      if (row.feed == Row::Feed::formula && row.one_key) carried_.emplace(row.formula.keys.front(), row.key);
    }
    twins_.push_back(find_twins(file));
  }
}

PressedPart Press::part(std::size_t file, const Selected& selected, const Profile& profile, const Resolver::Axes& axes,
                        const Stamp& stamp, RowMemory& memory, Diagnostics& out) const {
  return PartWriter(tree_, dialect_, file, carried_, twins_[file], selected, profile, axes, stamp, memory, out).write();
}

std::string Press::bytes(std::size_t file, const std::vector<const PressedPart*>& parts) const {
  const DialectFile& form = dialect_.files[file];
  if (form.family == FileFamily::text) {
    std::vector<std::vector<Entry>> entries;
    for (const PressedPart* part : parts) {
      auto& own = entries.emplace_back();
      for (const PartRow& row : part->rows) own.push_back(row.entry);
    }
    return write_sheet(form, entries);
  }
  FileContent content;
  if (!parts.empty() && !parts.front()->comment.empty()) content.comments.push_back(parts.front()->comment);
  for (const PressedPart* part : parts) {
    for (const PartRow& row : part->rows) content.entries.push_back(row.entry);
  }
  content.entries = grouped(std::move(content.entries));
  return write_content(form.family, form.layout, content);
}

std::optional<FileContent> read_program_file(const DialectFile& file, FileId id, const SourceFile& source,
                                             Diagnostics& out) {
  if (file.family == FileFamily::text) return read_sheet(file, id, source, out);
  auto content = read_content(file.family, file.layout, id, source, out);
  if (content && file.family == FileFamily::csv && !file.for_all && !take_record(*content, id, out))
    return std::nullopt;
  return content;
}

}  // namespace bindery
