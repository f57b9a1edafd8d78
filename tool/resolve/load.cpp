// Reading and binding every fragment of a tree, on all cores.
#include <algorithm>

#include <fmt/format.h>

#include "base/parallel.h"
#include "base/words.h"
#include "resolve/axis.h"
#include "resolve/tree.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

bool is_fragment_path(std::string_view path) {
  if (!path.starts_with("profiles-src/") || !is_source_path(path)) return false;
  path.remove_prefix(std::string_view("profiles-src/").size());
  std::size_t slash = path.find('/');
  return slash != std::string_view::npos && kind_named(path.substr(0, slash)).has_value();
}

// "machine/heron-220" of "profiles-src/machine/enclosed/heron-220.yaml".
std::string fragment_of_path(std::string_view path) {
  path.remove_prefix(std::string_view("profiles-src/").size());
  std::string_view stem = path.substr(path.rfind('/') + 1);
  stem = stem.substr(0, stem.rfind('.'));
  return fmt::format("{}/{}", path.substr(0, path.find('/')), stem);
}

// Has that tree read the same text, without an error that would have to be told again?
bool can_share(const Tree& like, FileId id, const SourceFile& file) {
  auto at = like.files.find(id);
  if (at == like.files.end() || (*like.sources)[id].text != file.text) return false;
  const auto& fragments = at->second->fragments;
  return std::none_of(fragments.begin(), fragments.end(), [](const Fragment& f) { return f.broken || !f.parsed; });
}

// What blocks of tasks report, in their order, as far as it is kept. Small trees stay on one core.
template <typename Work>
Diagnostics gather_reports(std::size_t tasks, unsigned jobs, Work&& work) {
  constexpr std::size_t block = 32;
  Diagnostics all(most::reports_in_all);
  auto run_block = [&](std::size_t b) {
    Diagnostics reports;
    for (std::size_t i = b * block; i < std::min((b + 1) * block, tasks); ++i) work(i, reports);
    return reports;
  };
  parallel_in_order((tasks + block - 1) / block, jobs, run_block,
                    [&](std::size_t, Diagnostics&& reports) { all.join(std::move(reports)); });
  all.shorten(0, most::reports_in_all);
  return all;
}

using FragmentFiles = std::map<FileId, std::shared_ptr<const FragmentFile>>;

FragmentFiles read_fragments(const Sources& sources, unsigned jobs, const LoadForm& form, Diagnostics& out) {
  FragmentFiles files;
  std::vector<FileId> ids;
  for (FileId id = 0; id < sources.files.size(); ++id) {
    if (!sources[id].present || !is_fragment_path(sources[id].path)) continue;
    bool shared = form.like != nullptr && can_share(*form.like, id, sources[id]);
    if (shared) files.emplace(id, form.like->files.at(id));
    else ids.push_back(id);
  }
  std::vector<std::shared_ptr<const FragmentFile>> read(ids.size());
  out.join(gather_reports(ids.size(), jobs, [&](std::size_t i, Diagnostics& report) {
    Diagnostics own(most::reports);
    read[i] = std::make_shared<const FragmentFile>(read_fragment(ids[i], sources[ids[i]], own));
    own.shorten(0, most::reports);
    report.join(std::move(own));
    if (form.progress != nullptr) form.progress->advance();
  }));
  for (std::size_t i = 0; i < ids.size(); ++i) files.emplace(ids[i], std::move(read[i]));
  return files;
}

// Numbers the fragments by kind and name; reports two files with one name.
void number_fragments(Tree& tree, Diagnostics& out) {
  std::vector<const Fragment*> all;
  for (const auto& [id, file] : tree.files) {
    for (const Fragment& fragment : file->fragments) all.push_back(&fragment);
  }
  std::stable_sort(all.begin(), all.end(), [](const Fragment* a, const Fragment* b) {
    return std::tie(a->kind, a->name, a->file) < std::tie(b->kind, b->name, b->file);
  });
  tree.fragments.reserve(all.size());
  for (const Fragment* fragment : all) {
    auto kind = static_cast<std::size_t>(fragment->kind);
    auto [first, fresh] = tree.index[kind].emplace(fragment->name, static_cast<FragmentId>(tree.fragments.size()));
    if (!fresh) {
      if (!fragment->base) {
        out.add(Code::name_taken, fragment->span,
                fmt::format("two files are named {}/{}", name_of(fragment->kind), fragment->name))
            .with_help("rename one; folders below a kind only group")
            .with_related(tree[first->second].raw->span, "the other one")
            .fragment = tree[first->second].id();
        tree.fragments[first->second].broken = true;
      }
      continue;
    }
    tree.of_kind[kind].push_back(first->second);
    BoundFragment& bound = tree.fragments.emplace_back();
    bound.raw = fragment;
    bound.broken = fragment->broken;
  }
}

// Notes where there may be fragments that nobody could read.
void note_unread(Tree& tree) {
  for (Kind kind : all_kinds) {
    auto k = static_cast<std::size_t>(kind);
    const auto& ids = tree.of_kind[k];
    tree.unparsed[k] = std::any_of(ids.begin(), ids.end(), [&](FragmentId id) { return !tree[id].raw->parsed; });
    std::string folder = fmt::format("profiles-src/{}", name_of(kind));
    const auto& files = tree.sources->files;
    tree.unread[k] = std::any_of(files.begin(), files.end(), [&](const SourceFile& file) {
      bool within = file.path.starts_with(folder) || folder.starts_with(file.path);
      return file.present && !file.sound && within && !file.path.ends_with(".yaml") && !file.path.ends_with(".yml");
    });
  }
}

// Takes out fragments whose linearisation lays more bounds than can be followed; told where it first gets too many.
void refuse_bounds(Tree& tree, Diagnostics& out) {
  std::vector<std::size_t> own(tree.fragments.size(), 0);
  for (FragmentId id = 0; id < tree.fragments.size(); ++id) {
    for (const Layer& layer : tree[id].layers) own[id] += layer.bounds.size();
  }
  std::vector<FragmentId> refused;
  auto bounds_of = [&](FragmentId id) {
    std::size_t sum = 0;
    for (FragmentId each : tree[id].linear) sum += own[each];
    return sum;
  };
  for (FragmentId id = 0; id < tree.fragments.size(); ++id) {
    if (bounds_of(id) <= most::inherited_bounds) continue;
    refused.push_back(id);
    const auto& linear = tree[id].linear;
    bool first = std::none_of(linear.begin() + 1, linear.end(),
                              [&](FragmentId each) { return bounds_of(each) > most::inherited_bounds; });
    if (first)
      out.add(Code::too_many, tree[id].raw->span,
              fmt::format("there are more than {} limits in {} and what it extends", most::inherited_bounds,
                          tree[id].id()))
          .with_help("write fewer limits, with globs")
          .fragment = tree[id].id();
  }
  for (FragmentId id : refused) {
    tree.fragments[id].linear.clear();
    tree.fragments[id].broken = true;
  }
}

void bind_all(Tree& tree, unsigned jobs, Diagnostics& out) {
  out.join(gather_reports(tree.fragments.size(), jobs, [&](std::size_t i, Diagnostics& reports) {
    Diagnostics own(most::reports);
    bind_fragment(tree, static_cast<FragmentId>(i), tree.fragments[i], own);
    if (own.items().empty()) return;
    own.shorten(0, most::reports);
    own.attribute(0, tree.fragments[i].id());
    reports.join(std::move(own));
  }));
}

void report_all_unmatched(const Tree& tree, Diagnostics& out) {
  NameSearch search;
  Diagnostics unmatched(most::reports_in_all);
  for (const BoundFragment& fragment : tree.fragments) {
    Diagnostics names(most::reports);
    if (fragment.fits) report_unmatched(tree, fragment.fits->names, Code::pattern_unmatched, search, names);
    for (const Layer& layer : fragment.layers) {
      if (layer.condition) report_unmatched(tree, layer.condition->names, Code::pattern_unmatched, search, names);
    }
    names.shorten(0, most::reports);
    unmatched.join(std::move(names));
  }
  unmatched.shorten(0, most::reports_in_all);
  out.join(std::move(unmatched));
}

}  // namespace

std::string BoundFragment::id() const { return fmt::format("{}/{}", name_of(kind()), name()); }

FragmentId Tree::find(Kind kind, std::string_view name) const {
  const auto& names = index[static_cast<std::size_t>(kind)];
  auto at = names.find(name);
  return at == names.end() ? no_fragment : at->second;
}

bool Tree::may_be_unread(Kind kind, std::string_view name) const {
  FragmentId base = find(kind, name.substr(0, name.find('+')));
  if (base != no_fragment && !fragments[base].raw->parsed) return true;
  auto k = static_cast<std::size_t>(kind);
  return (is_glob(name) && unparsed[k]) || unread[k];
}

Tree load_tree(const Sources& sources, unsigned jobs, Diagnostics& out, const LoadForm& form) {
  Tree tree;
  tree.sources = &sources;
  // What reading the files reported belongs to the fragments in them.
  for (Diagnostic& item : out.items()) {
    if (item.span.known() && is_fragment_path(sources[item.span.file].path))
      item.fragment = fragment_of_path(sources[item.span.file].path);
  }
  auto units = std::make_shared<Units>();

  // The dictionary and the fragments' syntax do not need each other.
  Diagnostics dictionary_report(most::dictionary_reports), fragment_report;
  parallel_for(2, jobs, [&](std::size_t task) {
    if (task == 0) tree.dictionary = read_dictionary(sources, units, jobs, dictionary_report);
    else tree.files = read_fragments(sources, jobs, form, fragment_report);
  });
  dictionary_report.shorten(0, most::dictionary_reports);
  out.join(std::move(dictionary_report));
  out.join(std::move(fragment_report));
  tree.plan = read_plan(sources, out);

  if (form.progress != nullptr) form.progress->enter("linking");
  number_fragments(tree, out);
  note_unread(tree);
  link_fragments(tree, out);
  if (!tree.dictionary.incomplete) bind_all(tree, jobs, out);
  refuse_bounds(tree, out);
  for (FragmentId id = 0; id < tree.fragments.size(); ++id) {
    Diagnostics locks(most::reports);
    check_axis_locks(tree, id, locks);
    if (locks.items().empty()) continue;
    locks.shorten(0, most::reports);
    locks.attribute(0, tree[id].id());
    out.join(std::move(locks));
    tree.fragments[id].broken = true;
  }
  if (!form.part) report_all_unmatched(tree, out);
  // What an error in a fragment reaches: all that extend it.
  for (BoundFragment& fragment : tree.fragments) {
    for (FragmentId each : fragment.linear) fragment.broken |= tree[each].broken;
    fragment.broken |= !fragment.linked();
  }
  return tree;
}

}  // namespace bindery
