#include "dialect/read_back.h"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "base/number.h"
#include "base/words.h"
#include "dialect/feed.h"

namespace bindery {

namespace {

using Place = std::pair<std::vector<std::string>, std::string>;  // section and key

std::string told_place(const Place& place) {
  return place.first.empty() ? place.second : fmt::format("{}/{}", fmt::join(place.first, "/"), place.second);
}

std::string joined_text(const std::vector<Scalar>& values) {
  std::string out;
  for (const Scalar& each : values) out += (out.empty() ? "" : ", ") + each.text;
  return out;
}

bool same_texts(const std::vector<Scalar>& a, const std::vector<Scalar>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [](const Scalar& x, const Scalar& y) { return x.text == y.text; });
}

void report_two(const Tree& tree, const ReadValue& first, const ReadValue& second, Diagnostics& out) {
  out.add(Code::import_conflict, second.span,
          fmt::format("'{}' and '{}' give '{}' two values, {} and {}", first.row_key, second.row_key,
                      tree.dictionary.settings[second.key].key, first.text, second.text))
      .with_help("give both the same value, or take one out")
      .with_related(first.span, "the other one");
}

// One file as one of the dialect's.
class FileReader {
 public:
  FileReader(const Tree& tree, const Press& press, std::size_t file, const PressedPart& part, const Profile& profile,
             FileContent content, FileId id, std::map<KeyId, ReadValue>& agreed, ReadBack& into, Diagnostics& out)
      : tree_(tree),
        form_(press.dialect().files[file]),
        part_(part),
        profile_(profile),
        content_(std::move(content)),
        id_(id),
        agreed_(agreed),
        into_(into),
        out_(out) {}

  void read() {
    if (form_.for_all && !choose_part()) return;
    for (const Entry& entry : content_.entries) found_.emplace(Place{entry.section, entry.key}, &entry);
    choose_parent();
    std::set<std::size_t> expected;
    for (const auto* rows : {&part_.rows, &part_.inherited}) {
      for (const PartRow& row : *rows) {
        if (row.row == PartRow::of_parent) continue;
        expected.insert(row.row);
        read_row(form_.rows[row.row], place_of(form_.rows[row.row]), row.entry);
      }
    }
    for (std::size_t i = 0; i < form_.rows.size(); ++i) {
      if (!expected.contains(i)) read_unwritten(form_.rows[i]);
    }
    for (const Entry& entry : content_.entries) {
      Place place{entry.section, entry.key};
      if (!used_.contains(place))
        into_.rest.push_back({Remainder::Of::no_row, told_place(place), joined_text(entry.values), {}, entry.span});
    }
  }

 private:
  Place place_of(const Row& row) const { return {{row.section.begin(), row.section.end()}, std::string(row.key)}; }

  // Of a file for all profiles, what stands there for this one, without the sections round it.
  bool choose_part() {
    std::vector<std::string> own;
    bool numbered = form_.family == FileFamily::csv || form_.family == FileFamily::text;
    if (numbered) {
      own = find_record();
    } else if (!part_.rows.empty()) {
      own = part_.rows.front().entry.section;
      own.resize(own.size() - form_.rows[part_.rows.front().row].section.size());
    }
    std::vector<Entry> kept;
    for (Entry& entry : content_.entries) {
      bool inside = !own.empty() && entry.section.size() >= own.size() &&
                    std::equal(own.begin(), own.end(), entry.section.begin());
      if (!inside) continue;
      entry.section.erase(entry.section.begin(), entry.section.begin() + static_cast<std::ptrdiff_t>(own.size()));
      kept.push_back(std::move(entry));
    }
    content_.entries = std::move(kept);
    if (!content_.entries.empty()) return true;
    out_.add(Code::program_file, {id_, 0, 0},
             fmt::format("the file has no part for {}", profile_id(tree_, profile_.triple)))
        .with_help("name with --like a profile that the file holds");
    return false;
  }

  // The record whose rows that name the profile all say so.
  std::vector<std::string> find_record() const {
    std::map<std::vector<std::string>, bool> fits;
    for (const Entry& entry : content_.entries) {
      bool& fit = fits.try_emplace(entry.section, true).first->second;
      for (const PartRow& row : part_.rows) {
        bool names = form_.rows[row.row].feed == Row::Feed::told && form_.rows[row.row].told != Told::version &&
                     form_.rows[row.row].told != Told::digest;
        if (names && row.entry.key == entry.key) fit &= same_texts(row.entry.values, entry.values);
      }
    }
    std::vector<std::string> found;
    for (const auto& [section, fit] : fits) {
      if (!fit) continue;
      if (!found.empty()) return {};
      found = section;
    }
    return found;
  }

  // The parent that the file names, which may be another than the dialect would take.
  void choose_parent() {
    if (form_.parents.empty()) return;
    Place place{{form_.parent_section.begin(), form_.parent_section.end()}, std::string(form_.parent_key)};
    used_.insert(place);
    auto at = found_.find(place);
    if (at == found_.end()) return;
    std::string name = joined_text(at->second->values);
    auto parent =
        std::find_if(form_.parents.begin(), form_.parents.end(), [&](const Parent& each) { return each.name == name; });
    if (parent != form_.parents.end()) {
      parent_ = &*parent;
      return;
    }
    std::vector<std::string> names;
    for (const Parent& each : form_.parents) names.emplace_back(each.name);
    out_.add(Code::program_value, at->second->span,
             fmt::format("the dialect knows no parent '{}', so what the file leaves out is not known", name))
        .with_help(fmt::format("known are {}; add it to the dialect with what it holds", join_words(names)));
  }

  // What the file has at a place: itself, or its parent.
  std::optional<Entry> entry_at(const Place& place) {
    auto at = found_.find(place);
    if (at != found_.end()) {
      used_.insert(place);
      return *at->second;
    }
    if (parent_ == nullptr) return std::nullopt;
    for (const Parent::Holding& held : parent_->holds) {
      if (held.key != place.second ||
          !std::equal(held.section.begin(), held.section.end(), place.first.begin(), place.first.end()))
        continue;
      Entry entry;
      entry.values.push_back({std::string(held.text), false});
      entry.span = {id_, 0, 0};
      return entry;
    }
    return std::nullopt;
  }

  void read_row(const Row& row, const Place& place, const Entry& expected) {
    auto entry = entry_at(place);
    if (!entry) {
      if (!expected.values.empty())
        into_.rest.push_back(
            {Remainder::Of::missing, told_place(place), {}, joined_text(expected.values), {id_, 0, 0}});
      return;
    }
    if (same_texts(entry->values, expected.values)) return confirm(row, place, *entry);
    switch (row.feed) {
      case Row::Feed::told:
      case Row::Feed::file: return;  // names and digests follow the profile, not the file
      case Row::Feed::constant:
        into_.rest.push_back({Remainder::Of::constant, told_place(place), joined_text(entry->values),
                              joined_text(expected.values), entry->span});
        return;
      case Row::Feed::script:
        into_.rest.push_back({Remainder::Of::script, told_place(place), joined_text(entry->values),
                              joined_text(expected.values), entry->span});
        return;
      case Row::Feed::formula: return read_formula(row, place, *entry, &expected);
    }
  }

  // A row that the dialect does not write for this profile; a value there gives the setting one.
  void read_unwritten(const Row& row) {
    Place place = place_of(row);
    auto entry = found_.find(place);
    if (entry == found_.end() || used_.contains(place)) return;
    used_.insert(place);
    if (row.feed == Row::Feed::formula && !row.when) return read_formula(row, place, *entry->second, nullptr);
    into_.rest.push_back(
        {Remainder::Of::left_out, told_place(place), joined_text(entry->second->values), {}, entry->second->span});
  }

  // The file agrees with the profile: another row for the same setting must not say otherwise.
  void confirm(const Row& row, const Place& place, const Entry& entry) {
    if (!row.one_key || row.feed != Row::Feed::formula) return;
    KeyId key = row.formula.keys.front();
    agreed_.emplace(key, ReadValue{key, std::nullopt, told_place(place), joined_text(entry.values), entry.span});
  }

  void read_formula(const Row& row, const Place& place, const Entry& entry, const Entry* expected) {
    RowFeed feed(tree_, row);
    ReadValue read;
    read.key = feed.key();
    read.row_key = told_place(place);
    read.text = joined_text(entry.values);
    read.span = entry.span;
    if (row.unset && entry.values.size() == 1 && entry.values.front().text == *row.unset) {
      if (feed.key() != no_key && row.one_key) keep(std::move(read));
      return;
    }
    std::string why;
    auto value =
        read_cell(row.format, feed.sort(), feed.is_list(), row.repeat.has_value(), {entry.values, entry.list}, why);
    if (!value) {
      out_.add(Code::program_value, entry.span,
               fmt::format("the row '{}' cannot read '{}': {}", read.row_key, read.text, why))
          .with_help("write the value as the dialect writes it, or mend the row's format");
      return;
    }
    auto own = feed.value(profile_, why);
    if (own && same_cell(*own, *value)) return confirm(row, place, entry);
    if (own && expected != nullptr) {
      // Digits that the row would not write are no difference.
      auto written = write_cell(row.format, *value, row.repeat ? entry.values.size() : 0, why);
      if (written && same_texts(written->values, expected->values)) return confirm(row, place, entry);
    }
    auto turned = feed.turned_back(profile_, *value);
    if (!turned || feed.key() == no_key) {
      into_.rest.push_back({Remainder::Of::formula, read.row_key, read.text,
                            expected == nullptr ? "" : joined_text(expected->values), entry.span});
      return;
    }
    if (turned->of == CellValue::Of::number) turned->number = *decimal(turned->number);
    read.value = std::move(*turned);
    keep(std::move(read));
  }

  // A value as it would be written.
  static std::optional<double> decimal(double number) {
    auto read = read_number(write_number(number));
    return read ? std::optional(read->value) : std::optional(number);
  }

  void keep(ReadValue read) {
    auto same = std::find_if(into_.values.begin(), into_.values.end(),
                             [&](const ReadValue& each) { return each.key == read.key; });
    if (same == into_.values.end()) {
      into_.values.push_back(std::move(read));
      return;
    }
    bool agree =
        same->value.has_value() == read.value.has_value() && (!read.value || same_cell(*same->value, *read.value));
    if (!agree) report_two(tree_, *same, read, out_);
  }

  const Tree& tree_;
  const DialectFile& form_;
  const PressedPart& part_;
  const Profile& profile_;
  FileContent content_;
  FileId id_;
  std::map<KeyId, ReadValue>& agreed_;  // settings of which a row says what the profile has
  ReadBack& into_;
  Diagnostics& out_;
  std::map<Place, const Entry*> found_;
  std::set<Place> used_;

  const Parent* parent_ = nullptr;
};

// How many entries of a content the file has rows for.
std::size_t known_entries(const DialectFile& form, const FileContent& content) {
  std::set<std::string_view> keys;
  for (const Row& row : form.rows) keys.insert(row.key);
  return static_cast<std::size_t>(std::count_if(content.entries.begin(), content.entries.end(),
                                                [&](const Entry& each) { return keys.contains(each.key); }));
}

// The dialect's file that a text is a version of: the one that reads it and knows the most of it; of equal ones the one
// whose name it has. Reports where none does.
struct Chosen {
  std::size_t file;
  FileContent content;
};
std::optional<Chosen> choose(const Press& press, const std::vector<PressedPart>& parts, FileId id,
                             const SourceFile& source, Diagnostics& out) {
  const auto& files = press.dialect().files;
  std::optional<Chosen> best;
  std::pair<std::size_t, bool> best_rank{0, false};
  Diagnostics first;
  for (std::size_t f = 0; f < files.size(); ++f) {
    Diagnostics faults;
    auto content = read_program_file(files[f], id, source, faults);
    if (!content) {
      if (first.items().empty()) first = std::move(faults);
      continue;
    }
    std::string_view path = source.path, own = parts[f].path;
    bool named = path.substr(path.rfind('/') + 1) == own.substr(own.rfind('/') + 1);
    std::pair<std::size_t, bool> rank{known_entries(files[f], *content), named};
    if (best && rank <= best_rank) continue;
    best_rank = rank;
    best = Chosen{f, std::move(*content)};
  }
  if (best && best_rank.first > 0) return best;
  auto family = recognise_family(source.text);
  bool other = family && std::none_of(files.begin(), files.end(),
                                      [&](const DialectFile& each) { return each.family == *family; });
  if (best || other) {
    std::vector<std::string> families;
    for (const DialectFile& each : files) {
      if (std::string name(name_of(each.family)); std::find(families.begin(), families.end(), name) == families.end())
        families.push_back(name);
    }
    out.add(Code::program_file, {id, 0, 0},
            other ? fmt::format("the file looks like {}, and the dialect '{}' reads {}", name_of(*family),
                                press.dialect().name, join_words(families))
                  : fmt::format("no row of the dialect '{}' has a key of the file", press.dialect().name))
        .with_help("name the dialect of the program that wrote it, or a file that it wrote");
    return std::nullopt;
  }
  out.join(std::move(first));
  return std::nullopt;
}

}  // namespace

ReadBack read_back(const Tree& tree, const Press& press, const Sources& sources, const Selected& selected,
                   const Profile& profile, const Resolver::Axes& axes, Diagnostics& out) {
  ReadBack result;
  std::vector<PressedPart> parts;
  RowMemory memory;
  Diagnostics silent;
  Stamp stamp{"unreleased", {}};
  for (std::size_t f = 0; f < press.dialect().files.size(); ++f)
    parts.push_back(press.part(f, selected, profile, axes, stamp, memory, silent));
  std::map<std::size_t, FileId> taken;
  std::map<KeyId, ReadValue> agreed;
  for (FileId id = 0; id < sources.files.size(); ++id) {
    if (!sources[id].sound) continue;
    auto chosen = choose(press, parts, id, sources[id], out);
    if (!chosen) continue;
    const DialectFile& form = press.dialect().files[chosen->file];
    if (auto [at, fresh] = taken.emplace(chosen->file, id); !fresh) {
      out.add(Code::program_file, {id, 0, 0},
              fmt::format("this is the file '{}' of the dialect, and so is another", form.name))
          .with_help("import the files of one profile at a time")
          .with_related({at->second, 0, 0}, "the other one");
      continue;
    }
    result.files.emplace_back(sources[id].path, form.name);
    FileReader(tree, press, chosen->file, parts[chosen->file], profile, std::move(chosen->content), id, agreed, result,
               out)
        .read();
  }
  for (const ReadValue& each : result.values) {
    if (auto other = agreed.find(each.key); other != agreed.end()) report_two(tree, other->second, each, out);
  }
  std::stable_sort(result.values.begin(), result.values.end(),
                   [](const ReadValue& a, const ReadValue& b) { return a.key < b.key; });
  return result;
}

}  // namespace bindery
