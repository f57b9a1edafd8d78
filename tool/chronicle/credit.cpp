// Who made an edit: the commits whose version of the file says that piece otherwise than the one before.
#include <algorithm>
#include <map>
#include <memory>
#include <set>

#include <fmt/format.h>

#include "changes/edits.h"
#include "chronicle/chapter.h"
#include "source/history.h"
#include "syntax/document.h"

namespace bindery {

namespace {

// Is it the file of a machine, a material or a process?
bool is_fragment_path(std::string_view path) {
  constexpr std::string_view sources = "profiles-src/";
  if (!path.starts_with(sources)) return false;
  path.remove_prefix(sources.size());
  return path.find('/') != std::string_view::npos && kind_named(path.substr(0, path.find('/'))).has_value();
}

// One version of a file, parsed.
class FileVersion {
 public:
  // An empty name of the bytes stands for a file that is not there.
  FileVersion(const std::filesystem::path& root, const std::string& path, const std::string& blob)
      : file_(std::make_unique<SourceFile>()) {
    file_->path = path;
    if (blob.empty()) return;
    file_->text = read_blob(root, blob).substr(0, largest_text);
    Diagnostics silent;
    check_text(0, *file_, silent);
    if (!file_->sound) return;
    if (is_fragment_path(path)) fragments_ = read_fragment(0, *file_, silent);
    else doc_ = parse_document(0, *file_, silent);
  }

  const std::string& path() const { return file_->path; }

  const Fragment* fragment(std::string_view id) const {
    for (const Fragment& each : fragments_.fragments) {
      if (fmt::format("{}/{}", name_of(each.kind), each.name) == id) return &each;
    }
    return nullptr;
  }

  // All that an entry of the dictionary or the plan says under some of its keys, or under all where none is named.
  // `name` is looked for in each of the document's parts ("settings", "rules", "sets"...), or is a part itself.
  std::string entry(std::string_view name, const std::vector<std::string_view>& keys) const {
    std::string out;
    if (!doc_ || doc_->empty()) return out;
    auto take = [&](std::uint32_t node) {
      if (keys.empty() || (*doc_)[node].kind != NodeKind::mapping) return append(node, out);
      for_pairs(node, [&](std::uint32_t key, std::uint32_t value) {
        if (std::find(keys.begin(), keys.end(), (*doc_)[key].text.text) != keys.end()) append(value, out);
      });
    };
    for_pairs(0, [&](std::uint32_t part, std::uint32_t value) {
      if ((*doc_)[part].text.text == name) take(value);
      for_pairs(value, [&](std::uint32_t inner, std::uint32_t node) {
        if ((*doc_)[inner].text.text == name) take(node);
      });
    });
    return out;
  }

 private:
  template <typename Do>
  void for_pairs(std::uint32_t node, Do&& each) const {
    if ((*doc_)[node].kind != NodeKind::mapping) return;
    for (std::uint32_t at = node + 1; at < (*doc_)[node].next;) {
      std::uint32_t value = at + 1;
      each(at, value);
      at = (*doc_)[value].next;
    }
  }

  void append(std::uint32_t node, std::string& out) const {
    for (std::uint32_t at = node; at < (*doc_)[node].next; ++at) {
      out += static_cast<char>('0' + static_cast<int>((*doc_)[at].kind));
      out += (*doc_)[at].text.text;
      out += '\n';
    }
  }

  std::unique_ptr<SourceFile> file_;  // in its place, since views point into it
  FragmentFile fragments_;
  std::optional<Document> doc_;
};

// The keys of a dictionary's entry that a part is written under; none for the whole of it.
std::vector<std::string_view> keys_of(Part part) {
  switch (part) {
    case Part::standard: return {"default"};
    case Part::range: return {"range", "unit"};
    case Part::typical: return {"typical", "unit"};
    case Part::unit: return {"unit", "type", "list"};
    case Part::choices: return {"choices"};
    case Part::kinds: return {"kinds", "adjustable_by"};
    case Part::required: return {"required"};
    case Part::fact: return {"fact"};
    case Part::over_limit: return {"over_limit"};
    case Part::extrudes: return {"extrudes"};
    case Part::words: return {"title", "about", "reason", "source", "say", "help"};
    default: return {};
  }
}

// The files that a commit touched, before (in one parent) and after: a fragment may move from one to the other.
struct Versions {
  std::vector<FileVersion> olds, nows;

  static const Fragment* find(const std::vector<FileVersion>& files, const Edit& edit) {
    for (const std::string& id : {edit.fragment, edit.old_fragment}) {
      if (id.empty()) continue;
      for (const FileVersion& file : files) {
        if (const Fragment* found = file.fragment(id)) return found;
      }
    }
    return nullptr;
  }

  static std::string entry(const std::vector<FileVersion>& files, const Edit& edit) {
    std::string out;
    for (const FileVersion& file : files) {
      if (file.path() == edit.file || file.path() == edit.old_file) out += file.entry(edit.setting, keys_of(edit.part));
    }
    return out;
  }

  // Does one side say the piece otherwise than the other?
  bool differ(const Edit& edit) const {
    if (edit.fragment == "schema" || edit.fragment == "plan") return entry(olds, edit) != entry(nows, edit);
    const Fragment *before = find(olds, edit), *after = find(nows, edit);
    if (before == nullptr && after == nullptr) return false;
    for (const PieceEdit& piece : compare_fragments(before, after).pieces) {
      // The free audience's conditions have no names.
      bool same = piece.part == edit.part && piece.name == edit.setting &&
                  without_names(piece.condition) == without_names(edit.condition);
      if (same || piece.part == Part::fragment || edit.part == Part::fragment) return true;
    }
    return false;
  }
};

// A commit, against each of its parents.
std::vector<Versions> versions_of(const std::filesystem::path& root, const HistoryCommit& commit) {
  std::vector<Versions> out(commit.touched.front().olds.size());
  for (std::size_t parent = 0; parent < out.size(); ++parent) {
    for (const TouchedFile& file : commit.touched) {
      out[parent].olds.emplace_back(root, file.path, file.olds[parent]);
      out[parent].nows.emplace_back(root, file.path, file.now);
    }
  }
  return out;
}

}  // namespace

void credit(const std::filesystem::path& root, const Commit* from, const Commit& to, Chapter& chapter) {
  const Changes& changes = chapter.changes;
  chapter.commits.assign(changes.edits.size(), {});
  std::set<std::uint32_t> causes = changes.causes();
  // What the dictionary says, and who fits whom, is told without an effect.
  for (std::uint32_t i = 0; i < changes.edits.size(); ++i) {
    const Edit& edit = changes.edits[i];
    bool dictionary = edit.fragment == "schema" && edit.part != Part::words;
    if (edit.told && (dictionary || edit.part == Part::fits)) causes.insert(i);
  }
  std::map<std::string, std::vector<std::uint32_t>> by_file;
  for (std::uint32_t i = 0; i < changes.edits.size(); ++i) {
    by_file[changes.edits[i].file].push_back(i);
    if (!changes.edits[i].old_file.empty()) by_file[changes.edits[i].old_file].push_back(i);
  }
  std::vector<std::string> wanted;
  for (const auto& [path, edits] : by_file) wanted.push_back(path);
  History history = read_history(root, from == nullptr ? std::string() : from->id, to.id, wanted);
  chapter.cut = history.cut;
  std::set<std::string> people;
  for (const HistoryCommit& commit : history.commits) {
    std::vector<Versions> versions = versions_of(root, commit);
    std::set<std::uint32_t> candidates;
    for (const TouchedFile& file : commit.touched) {
      const auto& edits = by_file[file.path];
      candidates.insert(edits.begin(), edits.end());
    }
    for (std::uint32_t edit : candidates) {
      // What a merge took from one of its parents was made there.
      bool made = std::all_of(versions.begin(), versions.end(),
                              [&](const Versions& each) { return each.differ(changes.edits[edit]); });
      if (!made) continue;
      chapter.commits[edit].push_back(commit.id);
      if (causes.contains(edit)) people.insert(commit.people.begin(), commit.people.end());
    }
  }
  chapter.contributors.assign(people.begin(), people.end());
}

}  // namespace bindery
