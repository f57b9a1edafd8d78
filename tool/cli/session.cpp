#include "cli/session.h"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "base/failure.h"
#include "base/words.h"
#include "check/check.h"
#include "report/diagnostics.h"
#include "resolve/needed.h"

namespace bindery {

namespace {

// A fragment and all that it extends; by `extends` itself, since one in a circle has no linearisation.
void add_reached(const Tree& tree, FragmentId id, std::set<std::string>& reached) {
  std::vector<FragmentId> open = {id};
  while (!open.empty()) {
    FragmentId each = open.back();
    open.pop_back();
    if (!reached.insert(tree[each].id()).second) continue;
    open.insert(open.end(), tree[each].extends.begin(), tree[each].extends.end());
  }
}

// The reports on the fragments which a triple is made of, and on the dictionary.
Diagnostics reaching(const Session& session, const Triple& triple) {
  std::set<std::string> reached;
  for (FragmentId own : triple.of) add_reached(session.tree, own, reached);
  Diagnostics out;
  for (const Diagnostic& item : session.diagnostics.items()) {
    if (item.severity != Severity::error) continue;
    if (session.of_dictionary(item) || reached.contains(item.fragment)) out.add(item);
  }
  return out;
}

// Sorts files in, and renumbers the reports.
void place_among(Sources& sources, Diagnostics& reports, std::vector<SourceFile> more) {
  std::vector<std::string> paths;
  for (const SourceFile& file : more) paths.push_back(file.path);
  Sources nothing;
  Diagnostics silent;
  align(sources, reports, nothing, silent, paths);
  for (SourceFile& file : more) {
    auto at = std::find_if(sources.files.begin(), sources.files.end(),
                           [&](const SourceFile& each) { return each.path == file.path; });
    if (!at->present) *at = std::move(file);
  }
}

// Are the profiles' fragments there, with nothing that the whole tree would have to explain?
bool tells_all(const Session& session, const std::vector<std::string>& profiles) {
  if (session.diagnostics.any_errors()) return false;
  for (const std::string& profile : profiles) {
    std::string_view rest = profile;
    for (Kind kind : all_kinds) {
      FragmentId id = session.tree.find(kind, rest.substr(0, rest.find('/')));
      if (id == no_fragment || session.tree[id].abstract) return false;
      rest.remove_prefix(std::min(rest.find('/'), rest.size() - 1) + 1);
    }
  }
  return true;
}

// Of a revision, the files at these paths.
Revision part_of(const Revision& revision, const std::set<std::string>& paths) {
  Revision out{revision.commit, {}};
  std::copy_if(revision.files.begin(), revision.files.end(), std::back_inserter(out.files),
               [&](const RevisionFile& file) { return paths.contains(file.path); });
  return out;
}

// A session of some files alone; nothing where these do not tell all.
std::optional<Session> open_part(const Options& options, const std::vector<std::string>& profiles) {
  Session session;
  session.root = find_root(options.folder);
  session.sources = std::make_unique<Sources>();
  std::optional<Revision> revision;
  Listing listing;
  if (options.at) {
    revision = find_revision(session.root, *options.at);
    session.commit = revision->commit;
    for (const RevisionFile& file : revision->files) {
      listing.paths.push_back(file.path);
      listing.sound &= !file.oddity;
    }
  } else {
    listing = list_folder(session.root);
  }
  if (!listing.sound) return std::nullopt;
  auto read = [&](const std::set<std::string>& paths) {
    return revision ? read_revision(session.root, part_of(*revision, paths), session.diagnostics)
                    : read_files(session.root, {paths.begin(), paths.end()}, session.diagnostics);
  };
  auto read_one = [&](const std::string& path) {
    Sources one = read({path});
    return one.files.empty() ? SourceFile{.path = path, .text = {}, .sound = false} : std::move(one.files.front());
  };
  std::set<std::string> needed;
  for (const std::string& path : listing.paths) {
    if (is_for_all_profiles(path)) needed.insert(path);
  }
  for (const std::string& profile : profiles) {
    if (!add_needed_files(listing.paths, profile, read_one, needed)) return std::nullopt;
  }
  *session.sources = read(needed);
  session.tree = load_tree(*session.sources, options.jobs, session.diagnostics, {.part = true});
  if (!tells_all(session, profiles)) return std::nullopt;
  return session;
}

FragmentId find_part(const Session& session, Kind kind, std::string_view name) {
  const Tree& tree = session.tree;
  FragmentId id = tree.find(kind, name);
  if (id == no_fragment) {
    // A fitting of a file that did not parse is unknown for that reason.
    FragmentId base = tree.find(kind, name.substr(0, name.find('+')));
    if (base != no_fragment && !tree[base].linked()) return base;
    const auto& successors = tree.successors[static_cast<std::size_t>(kind)];
    if (auto now = successors.find(name); now != successors.end())
      throw UsageError(fmt::format("no {} is named '{}'", name_of(kind), name),
                       fmt::format("its name is '{}' now", tree[now->second].name()));
    std::vector<std::string_view> names;
    for (FragmentId each : tree.of_kind[static_cast<std::size_t>(kind)]) {
      if (!tree[each].abstract) names.push_back(tree[each].name());
    }
    std::string near = nearest(name, names);
    throw UsageError(fmt::format("no {} is named '{}'", name_of(kind), name),
                     near.empty() ? fmt::format("see `list {}`",
                                                kind == Kind::process ? "processes" : fmt::format("{}s", name_of(kind)))
                                  : fmt::format("did you mean '{}'", near));
  }
  if (tree[id].abstract && tree[id].linked()) {
    throw UsageError(fmt::format("the {} '{}' is abstract, so it makes no profile", name_of(kind), name),
                     tree[id].raw->has_fittings
                         ? fmt::format("name one of its fittings, as in '{}+...'; see `list {}s`", name, name_of(kind))
                         : "name a fragment that extends it");
  }
  return id;
}

}  // namespace

bool Session::of_dictionary(const Diagnostic& item) const {
  if (!item.fragment.empty()) return false;
  return item.code == Code::dictionary_missing ||
         (item.span.known() && (*sources)[item.span.file].path.starts_with("schema/"));
}

Session open_session(const Options& options, std::vector<SourceFile> more) {
  Session session;
  session.root = find_root(options.folder);
  session.sources = std::make_unique<Sources>();
  options.progress->enter("reading");
  if (options.at) {
    Revision revision = find_revision(session.root, *options.at);
    *session.sources = read_revision(session.root, revision, session.diagnostics, nullptr, options.jobs);
    session.commit = revision.commit;
  } else {
    *session.sources = read_folder(session.root, options.jobs, session.diagnostics);
  }
  if (!more.empty()) place_among(*session.sources, session.diagnostics, std::move(more));
  options.progress->enter("parsing", session.sources->files.size());
  session.tree = load_tree(*session.sources, options.jobs, session.diagnostics, {.progress = options.progress});
  return session;
}

Session open_profiles(const Options& options, const std::vector<std::string>& profiles) {
  options.progress->enter("reading");
  if (auto part = open_part(options, profiles)) return std::move(*part);
  return open_session(options);
}

Triple find_profile(const Session& session, Resolver& resolver, const std::string& id) {
  std::size_t first = id.find('/'), second = first == std::string::npos ? first : id.find('/', first + 1);
  if (second == std::string::npos || id.find('/', second + 1) != std::string::npos) {
    throw UsageError(fmt::format("'{}' names no profile", id),
                     "a profile is named machine/material/process; see `list profiles`");
  }
  std::string_view whole = id;
  Triple triple{{find_part(session, Kind::machine, whole.substr(0, first)),
                 find_part(session, Kind::material, whole.substr(first + 1, second - first - 1)),
                 find_part(session, Kind::process, whole.substr(second + 1))}};
  bool linked = true;
  for (FragmentId each : triple.of) linked &= session.tree[each].linked();
  if (!linked) return triple;
  if (auto refusal = resolver.refused(triple)) {
    throw UsageError(fmt::format("'{}' is no profile: `fits` of {} refuses it ({})", id,
                                 session.tree[refusal->fragment].id(), refusal->reason),
                     "see `list profiles` for those that fit");
  }
  return triple;
}

Answer resolve_one(const Session& session, Resolver& resolver, const Triple& triple) {
  Answer answer;
  answer.diagnostics = reaching(session, triple);
  answer.profile.triple = triple;
  answer.profile.cells.resize(session.tree.dictionary.settings.size());
  answer.profile.whole = !session.tree.dictionary.broken;
  for (FragmentId each : triple.of) answer.profile.whole &= session.tree[each].linked();
  if (answer.profile.whole) {
    Resolver::Axes axes;
    answer.profile = resolver.resolve(triple, answer.diagnostics, &axes);
    check_profile(session.tree, answer.profile, axes, answer.diagnostics);
  }
  std::erase_if(answer.diagnostics.items(), [](const Diagnostic& item) { return item.severity != Severity::error; });
  answer.diagnostics.settle();
  return answer;
}

void print_diagnostics(const Diagnostics& diagnostics, const Sources& sources, const Options& options) {
  options.progress->finish();
  fmt::print(stderr, "{}", diagnostics_text(diagnostics, sources, Palette::of(options.colour)));
}

}  // namespace bindery
