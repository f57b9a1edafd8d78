#include "release/verify.h"

#include <algorithm>
#include <fstream>
#include <map>
#include <optional>
#include <set>
#include <sstream>
#include <stdexcept>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "archive/archive.h"
#include "base/digest.h"
#include "base/failure.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

using Json = nlohmann::json;
using Files = std::map<std::string, std::string>;

constexpr std::uint64_t largest_file = 1ull << 30;

std::string read_file(const fs::path& path) {
  std::error_code failure;
  auto size = fs::file_size(path, failure);
  if (failure || size > largest_file)
    throw SystemError(fmt::format("{} cannot be read: {}", path.string(),
                                  failure ? failure.message() : "it is larger than any release"));
  std::ifstream stream(path, std::ios::binary);
  std::ostringstream bytes;
  bytes << stream.rdbuf();
  if (!stream) throw SystemError(fmt::format("{} cannot be read", path.string()));
  return std::move(bytes).str();
}

class Verifier {
 public:
  explicit Verifier(Diagnostics& out) : out_(out) {}

  // What `contents.json` says of each profile, by path.
  using Profiles = std::map<std::string, std::string>;

  Profiles archive(const std::string& name, std::string_view bytes, const Json* release) {
    ++done_.archives;
    Files files;
    try {
      files = read_archive(bytes);
    } catch (const std::runtime_error& error) {
      report(Code::archive_damaged, fmt::format("{} is no sound archive: {}", name, error.what()),
             "get it again from its publisher");
      return {};
    }
    done_.files += files.size();
    for (const char* needed :
         {"CHANGELOG.md", "LICENSE.txt", "READ-ME-FIRST.txt", "SHA256SUMS", "contents.json", "settings.json"}) {
      if (!files.contains(needed))
        report_file(Code::entry_missing, name, needed, fmt::format("{} holds no {}", name, needed),
                    "get it again from its publisher");
    }
    check_sums(name, files);
    return check_contents(name, files, release);
  }

  Profiles tier_folder(const fs::path& folder) {
    Files files;
    for (const auto& each : fs::directory_iterator(folder)) {
      if (each.is_regular_file()) files.emplace(each.path().filename().string(), read_file(each.path()));
      else
        report(Code::entry_unlisted, fmt::format("{} is not a file of the release", each.path().string()), "remove it");
    }
    std::string name = folder.string();
    for (const char* needed : {"CHANGELOG.md", "SHA256SUMS", "release.json"}) {
      if (!files.contains(needed))
        report_file(Code::entry_missing, name, needed, fmt::format("{} holds no {}", name, needed),
                    "get the release again from its publisher");
    }
    check_sums(name, files);
    std::optional<Json> release = parse(name, files, "release.json");
    if (release) check_release(name, files, *release);
    Profiles out;
    bool any = false;
    for (const auto& [file, bytes] : files) {
      if (!file.ends_with(".zip")) continue;
      any = true;
      out.merge(archive((folder / file).string(), bytes, release ? &*release : nullptr));
    }
    if (!any)
      report(Code::entry_missing, fmt::format("{} holds no archive", name), "get the release again from its publisher");
    return out;
  }

  void version_folder(const fs::path& folder) {
    std::map<std::string, Profiles> tiers;
    for (const char* tier : {"free", "supporter"}) {
      if (fs::is_directory(folder / tier)) tiers[tier] = tier_folder(folder / tier);
    }
    if (tiers.size() < 2) return;
    for (const auto& [path, digest] : tiers["free"]) {
      auto at = tiers["supporter"].find(path);
      if (at == tiers["supporter"].end())
        report(Code::entry_missing, fmt::format("{} is in the free archive and not in the supporter archive", path),
               "build the release again");
      else if (at->second != digest)
        report(Code::checksum_wrong, fmt::format("{} differs between the two archives", path),
               "build the release again");
    }
  }

  Verified done() const { return done_; }

 private:
  void report(Code code, std::string message, std::string help) {
    out_.add(code, {}, std::move(message)).with_help(std::move(help));
  }

  // The same for one file: what was said of it first is its cause, and the rest follows from that.
  void report_file(Code code, const std::string& where, const std::string& path, std::string message,
                   std::string help) {
    if (told_.insert({where, path}).second) report(code, std::move(message), std::move(help));
  }

  // SHA256SUMS names every other file, with its digest, and nothing else.
  void check_sums(const std::string& name, const Files& files) {
    auto sums = files.find("SHA256SUMS");
    if (sums == files.end()) return;
    std::set<std::string> listed;
    std::istringstream lines(sums->second);
    for (std::string line; std::getline(lines, line);) {
      bool sound = line.size() > 66 && line.substr(64, 2) == "  " && line.find_first_not_of("0123456789abcdef") == 64;
      std::string path = sound ? line.substr(66) : std::string();
      if (!sound || !listed.insert(path).second) {
        report(Code::checksum_wrong, fmt::format("SHA256SUMS of {} has a line that is no checksum, or one twice", name),
               "get the release again from its publisher");
        continue;
      }
      auto file = files.find(path);
      if (file == files.end())
        report_file(Code::entry_missing, name, path, fmt::format("{} lists {}, which is not there", name, path),
                    "get the release again from its publisher");
      else if (sha256(file->second) != line.substr(0, 64))
        report_file(Code::checksum_wrong, name, path, fmt::format("{} of {} is not what was published", path, name),
                    "get the release again from its publisher");
    }
    for (const auto& [path, bytes] : files) {
      if (path != "SHA256SUMS" && !listed.contains(path))
        report_file(Code::entry_unlisted, name, path,
                    fmt::format("{} holds {}, which its SHA256SUMS does not list", name, path),
                    "do not use it; get the release again");
    }
  }

  std::optional<Json> parse(const std::string& name, const Files& files, const std::string& path) {
    auto at = files.find(path);
    if (at == files.end()) return std::nullopt;
    Json json = Json::parse(at->second, nullptr, false);
    if (json.is_object()) return json;
    report_file(Code::archive_damaged, name, path, fmt::format("{} of {} is no JSON object", path, name),
                "get the release again from its publisher");
    return std::nullopt;
  }

  static std::string text(const Json& object, const char* key) {
    auto at = object.find(key);
    return at != object.end() && at->is_string() ? at->get<std::string>() : std::string();
  }

  void check_release(const std::string& name, const Files& files, const Json& release) {
    auto list = release.find("files");
    bool archive = false;
    for (const Json& each : list != release.end() && list->is_array() ? *list : Json::array()) {
      std::string file = each.is_object() ? text(each, "name") : std::string();
      if (file.empty()) {
        report(Code::entry_missing, fmt::format("release.json of {} lists a file without a name", name),
               "get the release again from its publisher");
        continue;
      }
      archive |= file.ends_with(".zip");
      auto at = files.find(file);
      if (at == files.end())
        report_file(Code::entry_missing, name, file,
                    fmt::format("release.json of {} names {}, which is not there", name, file),
                    "get the release again from its publisher");
      else if (sha256(at->second) != text(each, "sha256"))
        report_file(Code::checksum_wrong, name, file,
                    fmt::format("{} of {} is not what release.json describes", file, name),
                    "get the release again from its publisher");
    }
    if (!archive)
      report(Code::entry_missing, fmt::format("release.json of {} names no archive", name),
             "get the release again from its publisher");
  }

  Profiles check_contents(const std::string& name, const Files& files, const Json* release) {
    Profiles out;
    auto contents = parse(name, files, "contents.json");
    if (!contents) return out;
    if (release != nullptr) {
      for (const char* key : {"name", "version", "tier"}) {
        if (text(*contents, key) != text(*release, key))
          report(Code::checksum_wrong,
                 fmt::format("contents.json of {} says {} '{}', release.json '{}'", name, key, text(*contents, key),
                             text(*release, key)),
                 "get the release again from its publisher");
      }
      auto digest = release->find("contents");
      if (digest == release->end() || !digest->is_object() ||
          text(*digest, "sha256") != sha256(files.at("contents.json"))) {
        report_file(Code::checksum_wrong, name, "contents.json",
                    fmt::format("contents.json of {} is not what release.json describes", name),
                    "get the release again from its publisher");
      }
    }
    auto list = contents->find("profiles");
    for (const Json& each : list != contents->end() && list->is_array() ? *list : Json::array()) {
      std::string path = each.is_object() ? text(each, "path") : std::string();
      auto file = files.find(path);
      if (file == files.end()) {
        report_file(Code::entry_missing, name, path,
                    fmt::format("contents.json of {} lists {}, which is not there", name, path),
                    "get the release again from its publisher");
        continue;
      }
      if (sha256(file->second) != text(each, "sha256"))
        report_file(Code::checksum_wrong, name, path,
                    fmt::format("{} of {} is not what contents.json describes", path, name),
                    "get the release again from its publisher");
      out.emplace(path, text(each, "sha256"));
    }
    done_.profiles += out.size();
    for (const auto& [path, bytes] : files) {
      if (path.starts_with("profiles/") && !out.contains(path))
        report_file(Code::entry_unlisted, name, path,
                    fmt::format("{} holds {}, which contents.json does not list", name, path),
                    "do not use it; get the release again");
    }
    return out;
  }

  Diagnostics& out_;
  Verified done_;
  std::set<std::pair<std::string, std::string>> told_;
};

}  // namespace

Verified verify_release(const fs::path& path, Diagnostics& out) {
  std::error_code failure;
  if (!fs::exists(path, failure))
    throw UsageError(fmt::format("there is no '{}'", path.string()),
                     "name an archive, a tier's folder or a version's folder");
  Verifier verifier(out);
  if (fs::is_regular_file(path)) {
    verifier.archive(path.string(), read_file(path), nullptr);
  } else if (fs::is_directory(path / "free") || fs::is_directory(path / "supporter")) {
    verifier.version_folder(path);
  } else if (fs::is_directory(path) && (fs::exists(path / "release.json") || fs::exists(path / "SHA256SUMS"))) {
    verifier.tier_folder(path);
  } else {
    throw UsageError(fmt::format("'{}' is no release", path.string()),
                     "name an archive, a tier's folder or a version's folder");
  }
  return verifier.done();
}

}  // namespace bindery
