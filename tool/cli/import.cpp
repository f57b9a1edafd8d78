// `import`: files of another program back into the tree.
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <set>

#include <unistd.h>

#include <fmt/format.h>

#include "base/failure.h"
#include "base/words.h"
#include "check/check.h"
#include "cli/dialects.h"
#include "dialect/read_back.h"
#include "edit/propose.h"
#include "report/diagnostics.h"
#include "report/import.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

// The fragment that --into names, with or without its kind; one of the profile's, or of what they extend.
FragmentId find_target(const Tree& tree, const Triple& triple, const std::string& name) {
  std::vector<std::string> known;
  std::vector<FragmentId> found;
  for (FragmentId own : triple.of) {
    for (FragmentId each : tree[own].linear) {
      known.push_back(tree[each].id());
      if (known.back() == name || tree[each].name() == name) found.push_back(each);
    }
  }
  if (found.size() == 1) return found.front();
  if (found.size() > 1)
    throw UsageError(fmt::format("'{}' names fragments of several kinds", name),
                     fmt::format("write {}", join_words({tree[found[0]].id(), tree[found[1]].id()}, "or")));
  std::string near = nearest(name, {known.begin(), known.end()});
  throw UsageError(fmt::format("'{}' is no fragment that the profile is made of", name),
                   near.empty() ? fmt::format("known: {}", join_words(known)) : fmt::format("did you mean '{}'", near));
}

class Importing {
 public:
  explicit Importing(const Options& options)
      : options_(options), session_(open_session(options, program_files())), resolver_(session_.tree) {}

  Exit run() {
    Diagnostics found;
    std::vector<Dialect> dialects = read_dialects(session_.tree, found);
    Dialect dialect = find_dialect(dialects, *options_.dialect);
    Triple triple = find_profile(session_, resolver_, *options_.like);
    ProposalForm form = wanted_form(triple);
    Answer answer = resolve_one(session_, resolver_, triple);
    for (const Diagnostic& item : found.items()) {
      if (item.span.known() && item.span.file == dialect.file) answer.diagnostics.add(item);
    }
    if (!answer.whole() || dialect.broken) return refuse(answer.diagnostics, *session_.sources);
    for (FileId id : programs_) check_program_file(id);
    if (reports_.any_errors()) return refuse(reports_, *session_.sources);

    Selected selected = place_in_plan(session_.tree, triple);
    Diagnostics silent;
    Resolver::Axes axes = resolver_.axes_of(triple, &silent);
    ReadBack read = read_back(session_.tree, Press(session_.tree, dialect), read_sources(), selected, answer.profile,
                              axes, reports_);
    if (reports_.any_errors()) return refuse(reports_, *session_.sources);
    std::vector<Wish> wishes;
    for (const ReadValue& each : read.values) wishes.push_back({each.key, each.value, each.span});
    if (wishes.empty()) {
      fmt::print("{}", import_report(session_.tree, read, nullptr, outcome(triple), options_.format == "json"));
      return Exit::done;
    }
    auto remaining = [&](const Tree& tree, const Profile& profile, const Resolver::Axes& now) {
      return still_otherwise(tree, profile, now);
    };
    auto proposal = propose(session_.tree, triple, std::move(wishes), form, remaining, reports_);
    if (!proposal) return refuse(reports_, *session_.sources);
    if (!is_sound(*proposal)) return refuse(reports_, *session_.sources);
    ImportOutcome told = outcome(triple);
    fill(told, *proposal, answer.profile);
    if (options_.write) write(told);
    fmt::print("{}", import_report(session_.tree, read, &*proposal, told, options_.format == "json"));
    return Exit::done;
  }

 private:
  // The files to read, among the tree's own under the paths they were given; not part of the tree.
  std::vector<SourceFile> program_files() {
    std::vector<SourceFile> out;
    for (const std::string& path : options_.words) {
      SourceFile file = read_exported(path);
      while (is_tree_path(file.path)) file.path.insert(0, "./");
      bool twice = std::any_of(out.begin(), out.end(), [&](const SourceFile& each) { return each.path == file.path; });
      if (twice) throw UsageError(fmt::format("'{}' is named twice", path), "name each file once");
      file.present = false;
      paths_.insert(file.path);
      out.push_back(std::move(file));
    }
    if (options_.fresh) {
      if (!is_name(*options_.fresh))
        throw UsageError(fmt::format("'{}' is no name for a process", *options_.fresh),
                         "use small letters, digits, `.` and `-`");
      SourceFile file;
      file.path = fmt::format("profiles-src/process/{}.yaml", *options_.fresh);
      file.present = false;
      out.push_back(std::move(file));
    }
    return out;
  }

  ProposalForm wanted_form(const Triple& triple) {
    for (FileId id = 0; id < session_.sources->files.size(); ++id) {
      if (paths_.contains((*session_.sources)[id].path)) programs_.push_back(id);
    }
    ProposalForm form;
    form.jobs = options_.jobs;
    form.follow = options_.follow;
    if (options_.into && options_.fresh)
      throw UsageError("--into and --new contradict each other", "leave one of them out");
    if (options_.into) form.into = find_target(session_.tree, triple, *options_.into);
    if (!options_.fresh) return form;
    if (session_.tree.find(Kind::process, *options_.fresh) != no_fragment)
      throw UsageError(fmt::format("a process is named '{}' already", *options_.fresh),
                       "choose another name, or write into it with --into");
    form.fresh = *options_.fresh;
    return form;
  }

  void check_program_file(FileId id) {
    SourceFile& file = session_.sources->files[id];
    if (!file.sound)
      reports_
          .add(Code::file_too_large, {id, 0, 0},
               fmt::format("the file is larger than {} MiB", largest_program_file / 1024 / 1024))
          .with_help("import the file of one profile");
  }

  // The program's files alone stand in it, under the numbers that they have.
  Sources read_sources() const {
    Sources out = *session_.sources;
    for (FileId id = 0; id < out.files.size(); ++id) {
      if (std::find(programs_.begin(), programs_.end(), id) == programs_.end()) out.files[id].sound = false;
    }
    return out;
  }

  // What the files have otherwise than the profile of an edited tree.
  std::vector<Wish> still_otherwise(const Tree& tree, const Profile& profile, const Resolver::Axes& axes) const {
    Diagnostics silent;
    std::vector<Dialect> dialects = read_dialects(tree, silent);
    Dialect dialect = find_dialect(dialects, *options_.dialect);
    Selected selected = place_in_plan(tree, profile.triple);
    ReadBack read = read_back(tree, Press(tree, dialect), read_sources(), selected, profile, axes, silent);
    std::vector<Wish> out;
    for (const ReadValue& each : read.values) out.push_back({each.key, each.value, each.span});
    return out;
  }

  Exit refuse(Diagnostics& why, const Sources& sources) {
    why.settle();
    print_diagnostics(why, sources, options_);
    fmt::print(stderr, "{}: nothing is written\n", tally(why));
    return Exit::sources;
  }

  // The edited tree has no error that was not there before.
  bool is_sound(Proposal& proposal) {
    Selection before = session_.select(options_.jobs);
    check_selection(session_.tree, before, options_.jobs, session_.diagnostics);
    session_.diagnostics.settle();
    Selection after = select_profiles(proposal.tree, proposal.diagnostics, most::triples, options_.jobs);
    check_selection(proposal.tree, after, options_.jobs, proposal.diagnostics);
    bool selected = std::any_of(after.profiles.begin(), after.profiles.end(),
                                [&](const Selected& each) { return each.triple == proposal.triple; });
    if (!selected) {
      Resolver resolver(proposal.tree);
      Resolver::Axes axes;
      Profile profile = resolver.resolve(proposal.triple, proposal.diagnostics, &axes);
      check_profile(proposal.tree, profile, axes, proposal.diagnostics);
    }
    proposal.diagnostics.settle();
    std::set<std::pair<Code, std::string>> known;
    for (const Diagnostic& item : session_.diagnostics.items()) known.emplace(item.code, item.message);
    reach_.before = std::move(before);
    for (const Diagnostic& item : proposal.diagnostics.items()) {
      if (item.severity == Severity::error && !known.contains({item.code, item.message})) refuse_for(proposal, item);
    }
    return !reports_.any_errors();
  }

  // An error that the edit would bring, told where the value was read.
  void refuse_for(const Proposal& proposal, const Diagnostic& item) {
    const auto& settings = session_.tree.dictionary.settings;
    auto names = [&](const Proposed& line) {
      std::string_view key = settings[line.key].key;
      return item.setting == key || item.message.find(fmt::format("'{}'", key)) != std::string::npos ||
             stands_at(proposal, line, item.span);
    };
    auto line = std::find_if(proposal.lines.begin(), proposal.lines.end(), names);
    bool one = line != proposal.lines.end() || proposal.lines.size() == 1;
    if (line == proposal.lines.end()) line = proposal.lines.begin();
    std::string edit = one ? fmt::format("`{}` in {}", line->line, line->where) : std::string("the edit");
    Diagnostic& told = reports_.add(Code::import_conflict, one ? line->span : Span{line->span.file, 0, 0},
                                    fmt::format("{} would bring an error: {}", edit, item.message));
    told.help = item.help;
    told.profile = item.profile;
    told.profiles = item.profiles;
    told.rule = item.rule;
    told.setting = item.setting.empty() ? item.message : item.setting;  // one report a cause
  }

  // Is the place in the line that the edit writes?
  static bool stands_at(const Proposal& proposal, const Proposed& line, Span span) {
    if (!span.known() || line.fragment == no_fragment) return false;
    std::string_view text = line_at(*proposal.sources, span);
    std::string_view key = std::string_view(line.line).substr(0, line.line.find(':'));
    return !text.empty() && text.starts_with(key.substr(key.rfind('.') + 1));
  }

  ImportOutcome outcome(const Triple& triple) const {
    ImportOutcome told;
    told.dialect = *options_.dialect;
    told.profile = profile_id(session_.tree, triple);
    if (options_.fresh) told.fresh = *options_.fresh;
    return told;
  }

  void fill(ImportOutcome& told, const Proposal& proposal, const Profile& before) const {
    for (FileId id = 0; id < proposal.sources->files.size(); ++id) {
      const SourceFile& old = (*session_.sources)[id];
      const SourceFile& now = (*proposal.sources)[id];
      if (old.text == now.text && old.present == now.present) continue;
      told.files.push_back({now.path, old.text, now.text, !old.present});
    }
    std::set<FragmentId> edited;
    for (const Proposed& line : proposal.lines) edited.insert(line.fragment);
    for (const Selected& each : reach_.before.profiles) {
      bool reached = std::any_of(each.triple.of.begin(), each.triple.of.end(), [&](FragmentId own) {
        const auto& linear = session_.tree[own].linear;
        return std::any_of(linear.begin(), linear.end(), [&](FragmentId id) { return edited.contains(id); });
      });
      if (reached && each.triple != before.triple) ++told.others;
    }
    Resolver resolver(proposal.tree);
    Diagnostics silent;
    Profile after = resolver.resolve(proposal.triple, silent);
    std::set<KeyId> wished;
    for (const Proposed& line : proposal.lines) wished.insert(line.key);
    const auto& settings = session_.tree.dictionary.settings;
    for (KeyId key = 0; key < settings.size(); ++key) {
      std::string a = written(settings[key], before.cells[key].value),
                  b = written(settings[key], after.cells[key].value);
      if (a != b && !wished.contains(key)) told.followed.push_back({std::string(settings[key].key), a, b});
    }
  }

  // Beside the files, then by one renaming each.
  void write(ImportOutcome& told) const {
    std::vector<std::pair<fs::path, fs::path>> ready;
    auto fail = [&](const fs::path& path) {
      std::error_code ignored;
      for (const auto& [beside, target] : ready) fs::remove(beside, ignored);
      throw SystemError(fmt::format("{} cannot be written, and nothing was", path.string()),
                        "make its folder writable, then import again");
    };
    for (const auto& file : told.files) {
      fs::path target = session_.root / file.path,
               beside = target.parent_path() / fmt::format(".{}.{}", target.filename().string(), getpid());
      std::ifstream in(target, std::ios::binary);
      std::string now{std::istreambuf_iterator<char>(in), {}};
      if (now != file.before) fail(target);
      ready.emplace_back(beside, target);
      std::ofstream out(beside, std::ios::binary);
      out << file.after;
      if (!out.flush()) fail(target);
    }
    for (const auto& [beside, target] : ready) {
      std::error_code failure;
      fs::rename(beside, target, failure);
      if (failure) fail(target);
    }
    told.wrote = true;
  }

  const Options& options_;
  std::set<std::string> paths_;
  Session session_;
  Resolver resolver_;
  std::vector<FileId> programs_;
  Diagnostics reports_;
  struct {
    Selection before;
  } reach_;
};

}  // namespace

Exit run_import(const Options& options) { return Importing(options).run(); }

}  // namespace bindery
