// `dialect draft`: a first dialect from a program's files.
#include <fmt/format.h>

#include "base/failure.h"
#include "base/words.h"
#include "cli/dialects.h"
#include "dialect/draft.h"

namespace bindery {

namespace {

constexpr std::string_view draft_path = "profiles-src/dialect/draft-in-the-making.yaml";

std::optional<DraftFile> read_draft_file(FileId id, const SourceFile& source, Diagnostics& out) {
  DraftFile file;
  file.path = source.path;
  if (!source.sound) {
    out.add(Code::file_too_large, {id, 0, 0},
            fmt::format("the file is larger than {} MiB", largest_program_file / 1024 / 1024))
        .with_help("export the file of one profile");
    return std::nullopt;
  }
  auto family = recognise_family(source.text);
  if (source.text.find_first_not_of(" \t\r\n") == std::string::npos) {
    out.add(Code::program_file, {id, 0, 0}, "the file is empty").with_help("name a file that the program wrote");
    return std::nullopt;
  }
  if (!family) {
    out.add(Code::program_file, {id, 0, 0}, "the file is of no family that is known by sight")
        .with_help("a plain text is described by hand: a dialect's file with `family: text` and a template");
    return std::nullopt;
  }
  file.family = *family;
  file.layout = recognise_layout(*family, source.text);
  DialectFile form;  // as a dialect's file reads it: of csv, one record
  form.family = file.family;
  form.layout = file.layout;
  auto content = read_program_file(form, id, source, out);
  if (!content) return std::nullopt;

  file.content = std::move(*content);
  return file;
}

// Writes the profile with the draft, and keeps word for word what does not come back as it was read. How many such
// there are still; a file's bytes where it does.
class Proof {
 public:
  Proof(const Session& session, const Selected& selected, const Profile* like, unsigned jobs)
      : session_(session), selected_(selected), like_(like), jobs_(jobs) {}

  // Keeps as a constant each entry that the draft writes otherwise.
  void mend(const std::vector<DraftFile>& files, std::vector<std::vector<Guess>>& guesses) const {
    auto written = write(files, guesses);
    for (std::size_t f = 0; f < files.size() && f < written.size(); ++f) {
      const auto& entries = files[f].content.entries;
      for (std::size_t i = 0; i < entries.size(); ++i) {
        Guess& guess = guesses[f][i];
        if (guess.of == Guess::Of::constant || same(written[f].entries, i, entries[i])) continue;
        std::string reason =
            fmt::format("not '{}', which is written otherwise", guess.of == Guess::Of::setting
                                                                    ? session_.tree.dictionary.settings[guess.key].key
                                                                    : std::string_view(guess.told));
        guess = {};
        guess.reason = std::move(reason);
      }
    }
  }

  // How many keys of each file the draft does not write as they were read; constants among them, which a row holds as a
  // text or a list of texts alone.
  std::vector<std::size_t> differing(const std::vector<DraftFile>& files,
                                     const std::vector<std::vector<Guess>>& guesses) const {
    std::vector<std::size_t> out;
    auto written = write(files, guesses);
    for (std::size_t f = 0; f < files.size(); ++f) {
      std::size_t& count = out.emplace_back(0);
      const auto& entries = files[f].content.entries;
      for (std::size_t i = 0; i < entries.size(); ++i) {
        if (f >= written.size() || !same(written[f].entries, i, entries[i])) ++count;
      }
    }
    return out;
  }

  // The bytes of each file as the draft writes it.
  std::vector<std::string> bytes(const std::vector<DraftFile>& files,
                                 const std::vector<std::vector<Guess>>& guesses) const {
    std::vector<std::string> out;
    for (auto& each : write(files, guesses)) out.push_back(std::move(each.bytes));
    return out;
  }

 private:
  struct Written {
    std::vector<std::optional<Entry>> entries;  // by row
    std::string bytes;
  };

  static bool same(const std::vector<std::optional<Entry>>& written, std::size_t row, const Entry& read) {
    return row < written.size() && written[row] && written[row]->values == read.values &&
           written[row]->list == read.list;
  }

  std::vector<Written> write(const std::vector<DraftFile>& files,
                             const std::vector<std::vector<Guess>>& guesses) const {
    Sources sources = *session_.sources;
    std::erase_if(sources.files, [](const SourceFile& file) { return file.path.starts_with("profiles-src/dialect/"); });
    SourceFile draft;
    draft.path = draft_path;
    draft.text = draft_text(session_.tree, like_, files, guesses);
    auto at = std::lower_bound(sources.files.begin(), sources.files.end(), draft.path,
                               [](const SourceFile& file, const std::string& path) { return file.path < path; });
    sources.files.insert(at, std::move(draft));
    Diagnostics silent;
    Tree tree = load_tree(sources, jobs_, silent);
    std::vector<Dialect> dialects = read_dialects(tree, silent);
    std::vector<Written> out;
    if (dialects.empty() || dialects.front().files.size() != files.size()) return out;
    const Dialect& dialect = dialects.front();
    Resolver resolver(tree);
    Resolver::Axes axes;
    Profile profile = resolver.resolve(selected_.triple, silent, &axes);
    Press press(tree, dialect);
    for (std::size_t f = 0; f < files.size(); ++f) {
      Written& written = out.emplace_back();
      written.entries.resize(files[f].content.entries.size());
      bool whole = dialect.files[f].rows.size() == written.entries.size();
      if (!whole) continue;  // a row could not be read: nothing of the file is proved
      RowMemory memory;
      PressedPart part = press.part(f, selected_, profile, axes, {"", ""}, memory, silent);
      for (const PartRow& row : part.rows) written.entries[row.row] = row.entry;
      written.bytes = press.bytes(f, {&part});
    }
    return out;
  }

  const Session& session_;
  const Selected& selected_;
  const Profile* like_;
  unsigned jobs_;
};

}  // namespace

Exit run_draft(const Options& options) {
  Session session = open_session(options);
  Sources programs;
  for (std::size_t i = 1; i < options.words.size(); ++i) programs.files.push_back(read_exported(options.words[i]));
  Resolver resolver(session.tree);
  std::optional<Answer> like;
  if (options.like) {
    like = resolve_one(session, resolver, find_profile(session, resolver, *options.like));
    if (!like->whole()) {
      print_diagnostics(like->diagnostics, *session.sources, options);
      return Exit::sources;
    }
  }
  Diagnostics reports;
  std::vector<DraftFile> files;
  for (FileId id = 0; id < programs.files.size(); ++id) {
    if (auto file = read_draft_file(id, programs[id], reports)) files.push_back(std::move(*file));
  }
  reports.settle();
  print_diagnostics(reports, programs, options);
  if (reports.any_errors()) return Exit::sources;
  std::vector<std::vector<Guess>> guesses;
  for (const DraftFile& file : files) guesses.push_back(guess(session.tree, like ? &like->profile : nullptr, file));
  if (like) {
    Selected selected = place_in_plan(session.tree, like->profile.triple);
    Proof proof(session, selected, &like->profile, options.jobs);
    proof.mend(files, guesses);
    std::vector<std::string> bytes = proof.bytes(files, guesses);
    std::vector<std::size_t> differing = proof.differing(files, guesses);
    for (std::size_t f = 0; f < files.size(); ++f) {
      bool same = f < bytes.size() && bytes[f] == programs.files[f].text;
      std::string how = same                ? "to the byte"
                        : differing[f] == 0 ? "with the same values, in another layout"
                                            : fmt::format("but for {}", counted(differing[f], "key"));
      fmt::print(stderr, "{}: the draft writes it back {}\n", files[f].path, how);
    }
  }
  fmt::print("{}", draft_text(session.tree, like ? &like->profile : nullptr, files, guesses));
  std::size_t settings = 0, all = 0;
  for (const auto& each : guesses) {
    all += each.size();
    settings += static_cast<std::size_t>(
        std::count_if(each.begin(), each.end(), [](const Guess& one) { return one.of != Guess::Of::constant; }));
  }
  fmt::print(stderr, "{} matched, of {}; the others are kept as they are\n", settings, counted(all, "key"));
  return Exit::done;
}

}  // namespace bindery
