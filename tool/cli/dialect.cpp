// `dialect check`, `dialect write` and `dialect draft`.
#include <filesystem>
#include <fstream>

#include <sys/stat.h>
#include <unistd.h>

#include <fmt/format.h>

#include "base/digest.h"
#include "base/failure.h"
#include "base/words.h"
#include "cli/dialects.h"
#include "release/profile_file.h"
#include "report/dialect.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

// The reports on a dialect and on nothing else.
Diagnostics of_dialect(const Diagnostics& all, const Dialect& dialect) {
  Diagnostics out;
  for (const Diagnostic& item : all.items()) {
    if (item.span.known() && item.span.file == dialect.file) out.add(item);
  }
  return out;
}

Exit check(const Options& options) {
  Session session = open_session(options);
  Selection selection = session.select(options.jobs);
  Diagnostics found;
  std::vector<Dialect> dialects = read_dialects(session.tree, found);
  if (dialects.empty() && options.words[1].empty())
    throw UsageError("the tree has no dialect", "write one below profiles-src/dialect/, or begin with `dialect draft`");
  if (!options.words[1].empty()) {
    Dialect wanted = find_dialect(dialects, options.words[1]);
    found = of_dialect(found, wanted);
    dialects = {std::move(wanted)};
  }
  std::vector<DialectTally> tallies =
      check_dialects(session.tree, dialects, selection, {options.jobs, true, false, false}, found);
  // Errors of the tree leave profiles out of the check.
  Diagnostics tree;
  check_selection(session.tree, selection, options.jobs, session.diagnostics);
  std::size_t errors = session.diagnostics.count(Severity::error);
  found.settle();
  if (options.format == "json") {
    fmt::print("{}", dialects_json(tallies, found, *session.sources));
  } else {
    print_diagnostics(found, *session.sources, options);
    if (!tallies.empty()) fmt::print("{}", dialects_text(tallies));

    fmt::print("{}: {}\n", counted(dialects.size(), "dialect"), tally(found));
  }
  if (errors > 0)
    fmt::print(stderr, "the tree itself has {}, and what {} reach{} was not pressed; see `validate`\n",
               counted(errors, "error"), errors == 1 ? "it" : "they", errors == 1 ? "es" : "");
  bool warned = options.strict && found.count(Severity::warning) > 0;
  return found.any_errors() || errors > 0 || warned ? Exit::sources : Exit::done;
}

void write_below(const fs::path& folder, const std::string& path, const std::string& bytes) {
  fs::path target = folder / path;
  std::error_code failure;
  fs::create_directories(target.parent_path(), failure);
  fs::path beside = target;
  beside += fmt::format(".{}~", getpid());
  std::ofstream out(beside, std::ios::binary);
  out << bytes;
  out.close();
  if (out) fs::rename(beside, target, failure);
  if (!out || failure) {
    std::error_code ignored;
    fs::remove(beside, ignored);
    throw SystemError(fmt::format("{} cannot be written", target.string()),
                      "name a folder with --out that you may write to");
  }
}

Exit write(const Options& options) {
  Session session = open_session(options);
  Diagnostics found;
  std::vector<Dialect> dialects = read_dialects(session.tree, found);
  Dialect dialect = find_dialect(dialects, options.words[1]);
  Resolver resolver(session.tree);
  Triple triple = find_profile(session, resolver, options.words[2]);
  Answer answer = resolve_one(session, resolver, triple);
  answer.diagnostics.join(of_dialect(found, dialect));
  std::vector<std::pair<std::string, std::string>> files;
  if (answer.whole() && !dialect.broken) {
    Diagnostics silent;
    Resolver::Axes axes = resolver.axes_of(triple, &silent);
    Selected selected = place_in_plan(session.tree, triple);
    Stamp stamp{"unreleased", sha256(ProfileWriter(session.tree).write(selected, answer.profile))};
    Press press(session.tree, dialect);
    RowMemory memory;
    for (std::size_t f = 0; f < dialect.files.size(); ++f) {
      PressedPart part = press.part(f, selected, answer.profile, axes, stamp, memory, answer.diagnostics);
      files.emplace_back(part.path, press.bytes(f, {&part}));
    }
  }
  answer.diagnostics.settle();
  print_diagnostics(answer.diagnostics, *session.sources, options);
  if (answer.diagnostics.any_errors() || dialect.broken || !answer.profile.whole) {
    fmt::print(stderr, "{}: nothing is written\n", tally(answer.diagnostics));
    return Exit::sources;
  }
  for (const auto& [path, bytes] : files) {
    if (!options.out.empty()) {
      write_below(options.out, path, bytes);
      fmt::print("{}\n", (options.out / path).string());
    } else {
      if (files.size() > 1) fmt::print("==> {} <==\n", path);
      fmt::print("{}", bytes);
    }
  }
  return Exit::done;
}

}  // namespace

Dialect find_dialect(const std::vector<Dialect>& dialects, const std::string& name) {
  std::vector<std::string_view> names;
  for (const Dialect& each : dialects) {
    if (each.name == name) return each;
    names.push_back(each.name);
  }
  std::string near = nearest(name, names);
  std::vector<std::string> known(names.begin(), names.end());
  throw UsageError(fmt::format("no dialect is named '{}'", name),
                   !near.empty()   ? fmt::format("did you mean '{}'", near)
                   : known.empty() ? "the tree has none; they stand below profiles-src/dialect/"
                                   : fmt::format("known: {}", join_words(known)));
}

SourceFile read_exported(const std::string& path) {
  struct stat info {};
  if (stat(path.c_str(), &info) != 0)
    throw UsageError(fmt::format("there is no file '{}'", path), "name a file that the program wrote");
  if (!S_ISREG(info.st_mode))
    throw UsageError(fmt::format("'{}' is no file", path), "name a file that the program wrote");
  SourceFile file;
  file.path = plain_name(path);
  file.sound = static_cast<std::size_t>(info.st_size) <= largest_program_file;
  if (!file.sound) return file;
  std::ifstream in(path, std::ios::binary);
  file.text.assign(std::istreambuf_iterator<char>(in), {});
  if (!in && !in.eof())
    throw SystemError(fmt::format("'{}' cannot be read", path), "give yourself the right to read it");
  return file;
}

Exit run_dialect(const Options& options) {
  const std::string& act = options.words[0];
  if (act == "check") return check(options);
  if (act == "write") return write(options);
  return run_draft(options);
}

}  // namespace bindery
