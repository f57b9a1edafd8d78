#include "dialect/check.h"

#include <algorithm>
#include <atomic>
#include <deque>
#include <set>

#include <fmt/format.h>

#include "base/parallel.h"
#include "base/words.h"
#include "check/check.h"
#include "dialect/reread.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

// A file that one profile makes.
struct Made {
  std::string path;
  std::uint64_t mark = 0;  // equal for equal contents
  std::size_t bytes = 0;
};

// What one profile makes with one dialect.
struct Pressed {
  std::vector<std::optional<Made>> files;         // by file; absent: of one for all
  std::vector<std::optional<PressedPart>> parts;  // of files for all
  std::vector<std::vector<bool>> written;         // by file and row
};

std::uint64_t mark_of(const PressedPart& part) {
  std::string text = part.comment;
  for (const PartRow& row : part.rows) {
    for (const std::string& name : row.entry.section) text.append(name).push_back('\0');
    text.append(row.entry.key).push_back('\0');
    for (const Scalar& value : row.entry.values) text.append(value.text).push_back(value.bare ? '\1' : '\2');
  }
  return std::hash<std::string>()(text);
}

// About how many operations a dialect takes for a profile.
std::uint64_t work_of(const Dialect& dialect) {
  std::uint64_t work = 1;
  for (const DialectFile& file : dialect.files) {
    for (const Row& row : file.rows)
      work += 12 + row.formula.nodes.size() + (row.when ? row.when->nodes.size() : 0) +
              (row.repeat ? row.repeat->nodes.size() : 0);
    for (const Parent& parent : file.parents) work += parent.holds.size() * file.rows.size() / 16;
  }
  return work;
}

class DialectChecker {
 public:
  DialectChecker(const Tree& tree, const Dialect& dialect, const Selection& selection, bool thorough)
      : tree_(tree),
        dialect_(dialect),
        selection_(selection),
        thorough_(thorough),
        press_(tree, dialect),
        pressed_(selection.profiles.size()),
        faulty_(dialect.files.size()) {}

  Tier tier() const { return dialect_.tier; }

  // From several threads, each another profile.
  void press(std::size_t index, const Profile& profile, const Resolver::Axes& axes, RowMemory& memory,
             Diagnostics& out) {
    const Selected& selected = selection_.profiles[index];
    Pressed& pressed = pressed_[index];
    static const Stamp stamp{"0.0.0", std::string(64, '0')};
    for (std::size_t f = 0; f < dialect_.files.size(); ++f) {
      const DialectFile& file = dialect_.files[f];
      std::size_t errors = out.count(Severity::error);
      PressedPart part = press_.part(f, selected, profile, axes, stamp, memory, out);
      bool sound = out.count(Severity::error) == errors;
      if (!sound) faulty_[f] = true;
      std::vector<bool> written(file.rows.size());
      for (std::size_t row : part.lost) written[row] = true;  // its own report tells it

      for (const auto* rows : {&part.rows, &part.inherited}) {
        for (const PartRow& row : *rows) {
          if (row.row != PartRow::of_parent) written[row.row] = true;
        }
      }
      pressed.written.push_back(std::move(written));
      pressed.files.emplace_back();
      pressed.parts.emplace_back();
      if (file.for_all) {
        pressed.parts.back() = std::move(part);
      } else {
        pressed.files.back() = Made{part.path, mark_of(part), 0};
        if (thorough_ && sound) pressed.files.back()->bytes = check_bytes(f, {&part}, out);
      }
    }
  }

  DialectTally finish(const std::vector<std::vector<bool>>& away, Diagnostics& out) {
    DialectTally tally;
    tally.dialect = &dialect_;
    for (std::size_t f = 0; f < dialect_.files.size(); ++f) {
      if (dialect_.files[f].for_all) finish_for_all(f, tally, out);
      else finish_single(f, tally, out);
      tally.rows += dialect_.files[f].rows.size();
    }
    if (!thorough_) return tally;
    for (std::size_t f = 0; f < dialect_.files.size(); ++f) find_unfed(f, tally, out);
    find_uncarried(away, tally, out);
    return tally;
  }

 private:
  // Writes the file and reads it again. Gives how many bytes it has.
  std::size_t check_bytes(std::size_t f, const std::vector<const PressedPart*>& parts, Diagnostics& out) const {
    Reread again = reread(press_, f, parts);
    if (!again.fault.empty()) {
      const DialectFile& form = dialect_.files[f];
      Diagnostic& item = out.add(Code::dialect_lossy, form.span,
                                 fmt::format("the file '{}' of '{}' does not read back as it was written: {}",
                                             form.name, dialect_.name, again.fault))
                             .with_help("choose other words, another family or another template");
      item.profile = parts.front()->path;
      item.profiles = 1;
    }
    return again.bytes;
  }

  void finish_for_all(std::size_t f, DialectTally& tally, Diagnostics& out) {
    std::map<std::string, std::vector<const PressedPart*>> by_path;
    for (const Pressed& each : pressed_) {
      if (!each.parts.empty()) by_path[each.parts[f]->path].push_back(&*each.parts[f]);
    }
    std::map<std::pair<std::string, std::vector<std::string>>, bool> sections;
    for (const auto& [path, parts] : by_path) {
      ++tally.files;
      note_path(path, f, out);
      std::set<std::vector<std::string>> names;
      for (const PressedPart* part : parts) {
        if (part->rows.empty() || dialect_.files[f].family == FileFamily::text) continue;
        std::vector<std::string> own = part->rows.front().entry.section;
        own.resize(std::min(own.size(), part_depth(f, *part)));
        if (names.insert(own).second) continue;
        faulty_[f] = true;
        out.add(Code::dialect_clash, dialect_.files[f].each->span,
                fmt::format("two profiles have the part '{}' in the file '{}'", fmt::join(own, "/"), path))
            .with_help("name the parts so that each profile has its own, as in `@{id}`");
        break;
      }
      if (thorough_ && !faulty_[f]) tally.bytes += check_bytes(f, parts, out);
    }
  }

  std::size_t part_depth(std::size_t f, const PressedPart& part) const {
    const PartRow& row = part.rows.front();
    std::size_t own = row.row == PartRow::of_parent ? 0 : dialect_.files[f].rows[row.row].section.size();
    return row.entry.section.size() - own;
  }

  // Paths that some system holds to be one.
  void note_path(const std::string& path, std::size_t f, Diagnostics& out) {
    std::string folded = path;
    std::transform(folded.begin(), folded.end(), folded.begin(),
                   [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    for (std::size_t slash = folded.find('/'); slash != std::string::npos; slash = folded.find('/', slash + 1)) {
      auto file = paths_.find(folded.substr(0, slash));
      folders_.try_emplace(folded.substr(0, slash), f);
      if (file != paths_.end()) return report_folder(file->second.first, f, file->second.second, out);
    }
    if (auto folder = folders_.find(folded); folder != folders_.end())
      return report_folder(path, folder->second, f, out);
    auto [at, fresh] = paths_.try_emplace(folded, path, f);
    if (fresh || (at->second.first == path && at->second.second == f)) return;
    if (!told_.insert({std::min(f, at->second.second), std::max(f, at->second.second)}).second) return;

    out.add(Code::dialect_clash, dialect_.files[f].path.span,
            fmt::format("two files of '{}' are named '{}'{}", dialect_.name, path,
                        at->second.first == path ? "" : " but for capitals"))
        .with_help("give each a path of its own")
        .with_related(dialect_.files[at->second.second].path.span, "the other one");
  }

  void report_folder(const std::string& path, std::size_t inside, std::size_t file, Diagnostics& out) {
    if (!told_.insert({inside, file}).second) return;
    out.add(Code::dialect_clash, dialect_.files[inside].path.span,
            fmt::format("'{}' is a file of '{}', and this one needs a folder of that name", path, dialect_.name))
        .with_help("give one of them another name")
        .with_related(dialect_.files[file].path.span, "the file");
  }

  void finish_single(std::size_t f, DialectTally& tally, Diagnostics& out) {
    const DialectFile& file = dialect_.files[f];
    std::map<std::string, std::size_t> first;
    for (std::size_t i = 0; i < pressed_.size(); ++i) {
      if (pressed_[i].files.empty()) continue;
      const Made& made = *pressed_[i].files[f];
      auto [at, fresh] = first.try_emplace(made.path, i);
      if (fresh) {
        ++tally.files;
        tally.bytes += made.bytes;
        note_path(made.path, f, out);
      } else if (pressed_[at->second].files[f]->mark != made.mark) {
        Diagnostic& item = out.add(Code::dialect_clash, file.path.span,
                                   fmt::format("the profiles {} and {} make the file '{}', and differ in {}",
                                               profile_id(tree_, selection_.profiles[at->second].triple),
                                               profile_id(tree_, selection_.profiles[i].triple), made.path,
                                               difference(f, at->second, i)))
                               .with_help(
                                   "name the file by all that its rows depend on, as in `@{machine}/@{process}`, or "
                                   "take such rows out");
        item.profiles = 1;
        item.profile = profile_id(tree_, selection_.profiles[i].triple);
      }
    }
  }

  // The first row that two profiles write otherwise.
  std::string difference(std::size_t f, std::size_t left, std::size_t right) const {
    Resolver resolver(tree_);
    Diagnostics silent;
    RowMemory memory;
    auto part = [&](std::size_t index) {
      Resolver::Axes axes;
      Profile profile = resolver.resolve(selection_.profiles[index].triple, silent, &axes);
      return press_.part(f, selection_.profiles[index], profile, axes, {"", ""}, memory, silent);
    };
    PressedPart a = part(left), b = part(right);
    for (std::size_t i = 0; i < std::max(a.rows.size(), b.rows.size()); ++i) {
      bool both = i < a.rows.size() && i < b.rows.size();
      if (both && a.rows[i].row == b.rows[i].row && a.rows[i].entry.values == b.rows[i].entry.values) continue;
      const PressedPart& longer = i < a.rows.size() ? a : b;
      return fmt::format("the row '{}'", longer.rows[i].entry.key);
    }
    return "its comment";
  }

  void find_unfed(std::size_t f, DialectTally& tally, Diagnostics& out) {
    const DialectFile& file = dialect_.files[f];
    for (std::size_t r = 0; r < file.rows.size(); ++r) {
      bool any = std::any_of(pressed_.begin(), pressed_.end(),
                             [&](const Pressed& each) { return !each.written.empty() && each.written[f][r]; });
      if (any) continue;
      ++tally.unfed;
      out.add(Code::dialect_unfed, file.rows[r].span,
              fmt::format("no profile of the sets gives the row '{}' a value", file.rows[r].key))
          .with_help("take the row out, or see why nothing feeds it");
    }
  }

  void find_uncarried(const std::vector<std::vector<bool>>& away, DialectTally& tally, Diagnostics& out) {
    std::set<KeyId> alone, read;
    for (const DialectFile& file : dialect_.files) {
      for (const Row& row : file.rows) {
        if (row.feed != Row::Feed::formula) continue;
        if (row.one_key) alone.insert(row.formula.keys.front());
        read.insert(row.formula.keys.begin(), row.formula.keys.end());
      }
    }
    tally.alone = alone.size();
    tally.in_formula = read.size() - alone.size();
    const auto& settings = tree_.dictionary.settings;
    std::vector<bool> used(dialect_.without.size());
    for (KeyId key = 0; key < settings.size(); ++key) {
      bool out_on_purpose = false;
      for (std::size_t i = 0; i < used.size(); ++i) {
        if (!glob_match(dialect_.without[i].text, settings[key].key)) continue;
        used[i] = out_on_purpose = true;
      }
      if (read.contains(key)) continue;
      tally.without += out_on_purpose;
      if (out_on_purpose) continue;
      std::size_t profiles = 0, example = away.size();
      for (std::size_t i = 0; i < away.size(); ++i) {
        if (away[i].empty() || !away[i][key]) continue;
        if (profiles++ == 0) example = i;
      }
      if (profiles == 0) continue;
      ++tally.uncarried;
      out.add(Code::dialect_uncarried, {dialect_.file, 0, 0},
              fmt::format("no row of '{}' carries '{}', which {} set{} ({}{})", dialect_.name, settings[key].key,
                          counted(profiles, "profile"), profiles == 1 ? "s" : "",
                          profile_id(tree_, selection_.profiles[example].triple), profiles == 1 ? "" : ", ..."))
          .with_help("add a row `from: " + std::string(settings[key].key) +
                     "`, or name it under `without:` if the program has no place for it")
          .setting = settings[key].key;
    }
    for (std::size_t i = 0; i < used.size(); ++i) {
      if (!used[i])
        out.add(Code::pattern_unmatched, dialect_.without[i].span,
                fmt::format("'{}' matches no setting", dialect_.without[i].text))
            .with_help("mend the name, or take it out");
    }
  }

  const Tree& tree_;
  const Dialect& dialect_;
  const Selection& selection_;
  bool thorough_;
  Press press_;
  std::vector<Pressed> pressed_;
  std::deque<std::atomic<bool>> faulty_;  // by file: some part has an error

  std::map<std::string, std::size_t> folders_;                        // folded, with a file that needs it
  std::set<std::pair<std::size_t, std::size_t>> told_;                // files whose paths were reported
  std::map<std::string, std::pair<std::string, std::size_t>> paths_;  // by folded path: the path and its file
};

}  // namespace

std::vector<DialectTally> check_dialects(const Tree& tree, const std::vector<Dialect>& dialects,
                                         const Selection& selection, const DialectForm& form, Diagnostics& out) {
  std::vector<std::unique_ptr<DialectChecker>> checkers;
  std::uint64_t work = 0;
  for (const Dialect& each : dialects) {
    if (each.broken) continue;
    work += work_of(each) * selection.profiles.size();
    if (form.bounded && work > most::dialect_work) {
      out.add(Code::too_heavy, {each.file, 0, 0},
              fmt::format("the dialects have more rows than are pressed for {}",
                          counted(selection.profiles.size(), "profile")))
          .with_help("write fewer rows, or fewer dialects");
      return {};
    }
    checkers.push_back(std::make_unique<DialectChecker>(tree, each, selection, form.thorough));
  }
  std::vector<DialectTally> tallies;
  if (checkers.empty() || tree.dictionary.broken) return tallies;
  std::size_t count = selection.profiles.size();
  constexpr std::size_t block = 64;
  std::size_t blocks = (count + block - 1) / block;
  std::vector<Diagnostics> reports(blocks);
  std::vector<std::vector<bool>> away(form.thorough ? count : 0);  // by profile and key: set away from the default
  parallel_for(blocks, form.jobs, [&](std::size_t b) {
    Resolver resolver(tree);
    RowMemory memory;
    Diagnostics silent;  // what is wrong with a profile itself is told elsewhere
    for (std::size_t i = b * block; i < std::min((b + 1) * block, count); ++i) {
      Resolver::Axes axes;
      Profile profile = resolver.resolve(selection.profiles[i].triple, silent, &axes);
      if (!profile.whole) continue;
      if (form.thorough) {
        away[i].resize(tree.dictionary.settings.size());
        for (KeyId key = 0; key < tree.dictionary.settings.size(); ++key) away[i][key] = profile.how(key) != "default";
      }
      for (auto& checker : checkers) {
        std::size_t before = reports[b].items().size();
        checker->press(i, profile, axes, memory, reports[b]);
        reports[b].shorten(before, most::reports);
        if (form.by_tier) mark_tier(reports[b], before, std::max(selection.profiles[i].tier, checker->tier()));
      }
    }
    reports[b].settle();
  });
  for (Diagnostics& report : reports) out.join(std::move(report));
  for (auto& checker : checkers) {
    std::size_t before = out.items().size();
    tallies.push_back(checker->finish(away, out));
    // Which profile collides, and where, may lie in what is for supporters alone.
    if (form.by_tier) mark_tier(out, before, Tier::supporter);
  }
  return tallies;
}

}  // namespace bindery
