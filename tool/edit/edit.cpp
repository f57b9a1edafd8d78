#include "edit/edit.h"

#include <algorithm>

#include <fmt/format.h>

#include "edit/editor.h"
#include "edit/writing.h"

namespace bindery {

namespace {

// What a document says in one place.
struct Leaf {
  std::string path;
  NodeKind kind = NodeKind::null;
  std::string text;
  bool quoted = false;

  bool operator==(const Leaf&) const = default;
};

// `section` is the path of the mapping in which nested and dotted keys are the same; other paths part by line breaks,
// which no key of a sound fragment holds.
void gather(const Document& doc, std::uint32_t node, const std::string& path, const std::string& section,
            std::vector<Leaf>& out) {
  const Node& it = doc[node];
  if (it.next == node + 1) {
    out.push_back({path, it.kind, std::string(it.text.text), it.text.quoted});
    return;
  }
  std::size_t index = 0;
  bool inside = path.size() > section.size() && path.starts_with(section) && path[section.size()] == '\n';
  for (std::uint32_t child = node + 1; child < it.next; child = doc[child].next) {
    if (it.kind == NodeKind::list) {
      gather(doc, child, fmt::format("{}\n{}", path, index++), section, out);
    } else {
      std::string_view key = doc[child].text.text;
      ++child;
      gather(doc, child, fmt::format("{}{}{}", path, inside ? '.' : '\n', key), section, out);
    }
  }
}

// Takes the leaves at or below the path out of `all`, and those that only said that nothing stood above it.
std::vector<Leaf> take(std::vector<Leaf>& all, const std::string& path) {
  auto is_below = [](const std::string& lower, const std::string& upper) {
    return lower.starts_with(upper) &&
           (lower.size() == upper.size() || lower[upper.size()] == '.' || lower[upper.size()] == '\n');
  };
  std::vector<Leaf> taken, rest;
  for (Leaf& leaf : all) {
    if (is_below(leaf.path, path)) taken.push_back(std::move(leaf));
    else if (leaf.kind == NodeKind::scalar || !is_below(path, leaf.path)) rest.push_back(std::move(leaf));
  }
  all = std::move(rest);
  return taken;
}

std::vector<Leaf> wanted(const FragmentEdit& edit, const std::string& path) {
  std::string at = edit.op == OpKind::set ? path : fmt::format("{}.{}", path, name_of(edit.op));
  if (!gives_list(edit)) return {{at, NodeKind::scalar, edit.op == OpKind::unset ? "true" : edit.scalar}};
  if (edit.items.empty()) return {{at, NodeKind::list, ""}};
  std::vector<Leaf> out;
  for (const std::string& item : edit.items)
    out.push_back({fmt::format("{}\n{}", at, out.size()), NodeKind::scalar, item});
  return out;
}

// Does the text hold the new value, and beside it what stood there before?
bool holds(FileId id, const SourceFile& file, const Document& before, const FragmentEdit& edit,
           std::optional<std::string_view> fitting) {
  Diagnostics ignored;
  SourceFile checked = file;
  check_text(id, checked, ignored);
  auto after = checked.sound ? parse_document(id, checked, ignored) : std::nullopt;
  if (!after) return false;
  std::string section = fitting ? fmt::format("\nfittings\n{}", *fitting) : "";
  section += edit.adjust ? "\nadjust" : "\nsettings";
  std::string path = fmt::format("{}\n{}", section, edit.key);
  std::vector<Leaf> old, now;
  gather(before, 0, "", section, old);
  gather(*after, 0, "", section, now);
  take(old, path);
  auto value = take(now, path);
  for (Leaf& leaf : value) {
    if (leaf.kind == NodeKind::scalar && edit.op != OpKind::unset) leaf.quoted = false;
  }
  return value == wanted(edit, path) && old == now;
}

std::string applied(std::string_view text, std::vector<TextChange> changes) {
  std::stable_sort(changes.begin(), changes.end(),
                   [](const TextChange& a, const TextChange& b) { return a.begin < b.begin; });
  std::string out;
  std::size_t at = 0;
  for (const TextChange& change : changes) {
    out.append(text.substr(at, std::max(change.begin, at) - at)).append(change.text);
    at = std::max(at, change.end);
  }
  return out.append(text.substr(at));
}

// The name of the fragment that a file holds; nothing where it is none.
std::optional<std::string_view> name_of_file(const SourceFile& file) {
  constexpr std::string_view folder = "profiles-src/", ending = ".yaml";
  std::string_view path = file.path;
  if (!path.starts_with(folder) || !path.ends_with(ending)) return std::nullopt;
  path.remove_prefix(folder.size());
  std::size_t slash = path.find('/');
  if (slash == std::string_view::npos || !kind_named(path.substr(0, slash))) return std::nullopt;
  path.remove_prefix(path.rfind('/') + 1);
  path.remove_suffix(ending.size());
  return path;
}

}  // namespace

std::optional<std::string> apply_edit(FileId id, const SourceFile& file, const FragmentEdit& edit, Diagnostics& out) {
  auto refuse = [&](Code code, Span span, std::string message, std::string help) {
    out.add(code, span, std::move(message)).with_help(std::move(help));
    return std::nullopt;
  };
  auto name = name_of_file(file);
  if (!name || !file.sound || !file.present)
    return refuse(Code::import_conflict, {id, 0, 0},
                  fmt::format("this file cannot be read as a fragment, so '{}' cannot be written", edit.key),
                  "a fragment is a sound `.yaml` file below profiles-src/machine, material or process");
  std::optional<std::string_view> fitting;
  std::string_view wants = edit.fragment;
  if (wants != *name) {
    if (!wants.starts_with(*name) || wants[name->size()] != '+')
      return refuse(Code::fragment_unknown, {id, 0, 0}, fmt::format("this file does not hold '{}'", wants),
                    fmt::format("it holds '{}' and its fittings", *name));
    fitting = wants.substr(name->size() + 1);
  }
  auto doc = parse_document(id, file, out);
  if (!doc) return std::nullopt;
  Editor editor(id, file, *doc, edit);
  if (!editor.run(fitting, out)) return std::nullopt;
  SourceFile after = file;
  after.text = applied(file.text, std::move(editor.changes));
  if (!holds(id, after, *doc, edit, fitting))
    return refuse(Code::import_conflict, editor.place,
                  fmt::format("'{}' cannot be written here so that it is read back as it was given", edit.key),
                  "write it by hand");
  return std::move(after.text);
}

}  // namespace bindery
