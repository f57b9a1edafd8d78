#include "source/overlay.h"

#include <algorithm>
#include <cctype>
#include <fstream>
#include <map>
#include <system_error>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include "archive/archive.h"
#include "base/failure.h"
#include "base/utf8.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

constexpr std::size_t largest_zip = 64u << 20;
constexpr std::size_t longest_path = 300, deepest_folder = 16;

// A name in a message.
std::string shown(std::string_view name) {
  std::string out = plain_name(name.substr(0, 120));
  return name.size() > 120 ? out + "..." : out;
}

std::string whole_file(const fs::path& path, std::size_t most) {
  int handle = open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
  if (handle < 0) throw std::runtime_error("it cannot be read");
  std::string bytes(most + 1, '\0');
  std::size_t length = 0;
  ssize_t got = 0;
  while (length < bytes.size() && (got = ::read(handle, bytes.data() + length, bytes.size() - length)) > 0)
    length += static_cast<std::size_t>(got);
  close(handle);
  if (got < 0) throw std::runtime_error("it cannot be read");
  bytes.resize(length);
  bytes.shrink_to_fit();
  return bytes;
}

class OverlayReader {
 public:
  OverlayReader(const fs::path& path, Diagnostics& out) : path_(path), out_(out) {}

  Overlay read() {
    struct stat info {};
    if (stat(path_.c_str(), &info) != 0)
      throw UsageError(fmt::format("no file or folder {}", path_.string()), "name a folder or a zip after --overlay");
    if (S_ISDIR(info.st_mode)) walk("");
    else if (S_ISREG(info.st_mode)) read_zip(static_cast<std::size_t>(info.st_size));
    else throw UsageError(fmt::format("{} is neither a folder nor a zip", path_.string()), "name one of these");
    unwrap();
    Overlay overlay;
    bool any = false;
    for (auto& [path, bytes] : files_) {
      any |= is_tree_path(path);
      overlay.files.push_back({path, std::move(bytes)});
    }
    if (!any && !out_.any_errors())
      out_.add(Code::overlay_entry, {}, "nothing in the overlay stands where a tree has its files")
          .with_help("send the folders profiles-src, schema or release as they stand in the tree");
    return overlay;
  }

 private:
  void unsafe(std::string_view name, std::string_view what) {
    out_.add(Code::overlay_entry, {}, fmt::format("'{}' in the overlay is {}", shown(name), what))
        .with_help("send plain files at plain paths");
  }

  void too_large(std::string message) {
    if (!full_) out_.add(Code::overlay_large, {}, std::move(message)).with_help("send less at a time");
    full_ = true;
  }

  // False where no more is taken.
  bool admits(std::string_view path, std::size_t size) {
    if (full_) return false;
    if (files_.size() >= most_overlay_files)
      too_large(fmt::format("the overlay holds more than {} files", most_overlay_files));
    else if (total_ + size > most_overlay_bytes)
      too_large(fmt::format("the overlay holds more than {} MiB", most_overlay_bytes >> 20));
    else if (path.size() > longest_path ||
             static_cast<std::size_t>(std::count(path.begin(), path.end(), '/')) > deepest_folder)
      unsafe(path, "at a path longer than any in a tree");
    else return true;
    return false;
  }

  void keep(std::string path, std::string bytes) {
    total_ += bytes.size();
    std::string told = path;
    if (!files_.emplace(std::move(path), std::move(bytes)).second) unsafe(told, "there twice");
  }

  // Whoever unpacked it would get a hook that git runs.
  static bool is_of_git(std::string_view path) {
    return path == ".git" || path.starts_with(".git/") || path.ends_with("/.git") ||
           path.find("/.git/") != std::string_view::npos;
  }

  void walk(const std::string& below) {
    std::vector<std::string> names;
    std::error_code failure;
    for (fs::directory_iterator it(path_ / below, failure), end; !failure && it != end; it.increment(failure)) {
      names.push_back(it->path().filename().string());
      if (names.size() > 4 * most_overlay_files) {
        too_large(fmt::format("the overlay holds more than {} files", most_overlay_files));
        return;
      }
    }
    if (failure) {
      out_.add(Code::file_unreadable, {}, fmt::format("the folder '{}' of the overlay cannot be read", shown(below)))
          .with_help("give yourself the right to read and enter it");
      return;
    }
    std::sort(names.begin(), names.end());
    for (const std::string& name : names) {
      if (full_) return;
      std::string path = below.empty() ? name : below + "/" + name;
      visit(path);
    }
  }

  void visit(const std::string& path) {
    struct stat info {};
    if (lstat((path_ / path).c_str(), &info) != 0) return;
    if (!is_plain_name(path)) return unsafe(path, "named with characters that hide or reorder what a reader sees");
    if (is_of_git(path) && !S_ISDIR(info.st_mode)) return unsafe(path, "a file of git's own folder");
    if (S_ISDIR(info.st_mode)) {
      if (admits(path, 0)) walk(path);
      return;
    }
    if (S_ISLNK(info.st_mode)) return unsafe(path, "a symbolic link");
    if (!S_ISREG(info.st_mode)) return unsafe(path, "a device or a pipe");
    auto size = std::min<std::size_t>(static_cast<std::size_t>(info.st_size), largest_text + 1);
    if (!admits(path, size)) return;
    try {
      keep(path, whole_file(path_ / path, largest_text));
    } catch (const std::runtime_error&) {
      out_.add(Code::file_unreadable, {}, fmt::format("'{}' of the overlay cannot be read", shown(path)))
          .with_help("give yourself the right to read it");
    }
  }

  void read_zip(std::size_t size) {
    if (size > largest_zip) return too_large(fmt::format("the zip is larger than {} MiB", largest_zip >> 20));
    try {
      std::string bytes = whole_file(path_, size);
      UnpackLimits limits{most_overlay_bytes, most_overlay_bytes, 2 * most_overlay_files};
      unpack(bytes, limits, [&](UnpackedEntry&& entry) { take(std::move(entry)); });
    } catch (const ArchiveFault& fault) {
      refuse_zip(fault);
    }
  }

  void refuse_zip(const ArchiveFault& fault) {
    switch (fault.kind) {
      case ArchiveFault::Kind::large: return too_large(fmt::format("the zip unpacks to too much: {}", fault.what()));
      case ArchiveFault::Kind::twice:
      case ArchiveFault::Kind::name:
        out_.add(Code::overlay_entry, {}, fmt::format("the zip is unsafe: {}", fault.what()))
            .with_help("send plain files at plain paths");
        return;
      default:
        out_.add(Code::archive_damaged, {}, fmt::format("the overlay cannot be unpacked: {}", fault.what()))
            .with_help("send a sound zip of a few files, or a folder");
    }
  }

  void take(UnpackedEntry&& entry) {
    std::string_view path = entry.path;
    if (entry.folder && path.ends_with('/')) path.remove_suffix(1);
    if (!is_safe_path(path)) return unsafe(entry.path, "at an unsafe path");
    if (entry.irregular) return unsafe(entry.path, "a link or a device");
    if (entry.encrypted) return unsafe(entry.path, "encrypted");
    if (!is_plain_name(path))
      return unsafe(entry.path, "named with characters that hide or reorder what a reader sees");
    if (entry.folder) return;
    if (is_of_git(path)) return unsafe(entry.path, "a file of git's own folder");
    std::size_t kept = std::min(entry.bytes.size(), largest_text + 1);
    entry.bytes.resize(kept);
    if (admits(path, kept)) keep(std::string(path), std::move(entry.bytes));
  }

  // Takes off one folder in which all stands, as archives of a repository have it.
  void unwrap() {
    if (files_.empty()) return;
    std::string top = files_.begin()->first.substr(0, files_.begin()->first.find('/') + 1);
    bool wrapped = !top.empty() && std::all_of(files_.begin(), files_.end(),
                                               [&](const auto& each) { return each.first.starts_with(top); });
    if (!wrapped || is_tree_path(top)) return;
    std::map<std::string, std::string> inner;
    for (auto& [path, bytes] : files_) inner.emplace(path.substr(top.size()), std::move(bytes));
    files_ = std::move(inner);
  }

  const fs::path& path_;
  Diagnostics& out_;
  std::map<std::string, std::string> files_;
  std::size_t total_ = 0;
  bool full_ = false;
};

std::string lower(std::string_view text) {
  std::string out(text);
  std::transform(out.begin(), out.end(), out.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return out;
}

}  // namespace

Overlay read_overlay(const fs::path& path, Diagnostics& out) { return OverlayReader(path, out).read(); }

Sources lay_over(const Sources& base, const Diagnostics& of_base, const Overlay& overlay, Diagnostics& out) {
  Sources laid;
  std::vector<FileId> numbers(base.files.size(), no_file);  // of the files that stay
  std::vector<FileId> fresh;
  auto own = base.files.begin();
  auto next = overlay.files.begin();
  while (own != base.files.end() || next != overlay.files.end()) {
    bool stays = next == overlay.files.end() || (own != base.files.end() && own->path < next->path);
    auto id = static_cast<FileId>(laid.files.size());
    if (stays) {
      numbers[static_cast<std::size_t>(own - base.files.begin())] = id;
      laid.files.push_back(*own++);
      continue;
    }
    if (own != base.files.end() && own->path == next->path) ++own;
    if (is_source_path(next->path) || is_stray_path(next->path)) {
      laid.files.push_back({.path = next->path, .text = next->bytes});
      fresh.push_back(id);
    }
    ++next;
  }
  for (const Diagnostic& item : of_base.items()) {
    if (item.span.known() && numbers[item.span.file] == no_file) continue;
    Diagnostic copy = item;
    if (copy.span.known()) copy.span.file = numbers[copy.span.file];
    out.add(std::move(copy));
  }
  for (FileId id : fresh) {
    SourceFile& file = laid.files[id];
    if (!is_source_path(file.path)) report_oddity(id, file, Oddity::stray, out);
    else check_text(id, file, out);
  }
  return laid;
}

void check_places(const Overlay& overlay, const fs::path& root, Diagnostics& out) {
  auto report = [&](const std::string& path, std::string_view what) {
    out.add(Code::overlay_entry, {}, fmt::format("'{}' in the overlay {}", shown(path), what))
        .with_help("rename it, or remove what stands in its way first");
  };
  std::error_code failure;
  for (const OverlayFile& file : overlay.files) {
    if (fs::is_directory(root / file.path, failure)) {
      report(file.path, "is a folder of the tree");
      continue;
    }
    for (std::size_t slash = file.path.find('/'); slash != std::string::npos; slash = file.path.find('/', slash + 1)) {
      fs::file_status status = fs::symlink_status(root / file.path.substr(0, slash), failure);
      if (!fs::exists(status) || fs::is_directory(status)) continue;
      report(file.path,
             fmt::format("stands below '{}', which is no folder of the tree", shown(file.path.substr(0, slash))));
      break;
    }
  }
}

std::vector<std::string> touched_by(const Overlay& overlay, const fs::path& root) {
  std::vector<std::string> out;
  for (const OverlayFile& file : overlay.files) {
    bool same = false;
    try {
      same = whole_file(root / file.path, largest_text) == file.bytes;
    } catch (const std::runtime_error&) {
      // Not there, or not to be read: then the overlay adds it.
    }
    if (!same) out.push_back(file.path);
  }
  return out;
}

void check_paths(const std::vector<std::string>& touched, const Sources& sources, Diagnostics& out) {
  std::multimap<std::string, std::string> names;
  for (const SourceFile& file : sources.files) {
    if (file.present) names.emplace(lower(file.path), file.path);
  }
  for (const std::string& path : touched) {
    auto [first, last] = names.equal_range(lower(path));
    for (auto at = first; at != last; ++at) {
      // Of two that are both touched, the later is told.
      bool told_there = at->second > path && std::binary_search(touched.begin(), touched.end(), at->second);
      if (at->second == path || told_there) continue;
      out.add(Code::overlay_entry, {},
              fmt::format("the path '{}' differs from '{}' in case alone", shown(path), shown(at->second)))
          .with_help("rename the file");
      break;
    }
  }
}

}  // namespace bindery
