// Reading a release back.
#include <algorithm>
#include <fstream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "archive/archive.h"
#include "base/failure.h"
#include "base/number.h"
#include "base/utf8.h"
#include "changes/published.h"
#include "units/units.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

using Json = nlohmann::json;
using Files = std::map<std::string, std::string>;

[[noreturn]] void refuse(const fs::path& path, std::string_view why, std::string_view cure) {
  throw UsageError(fmt::format("'{}' cannot be compared: {}", path.string(), why), std::string(cure));
}

constexpr std::uintmax_t largest_release = 1u << 30;

std::string slurp(const fs::path& path) {
  std::error_code failure;
  if (fs::file_size(path, failure) > largest_release && !failure)
    refuse(path, "it is larger than any release, more than 1 GiB", "name a release archive");
  std::ifstream in(path, std::ios::binary);
  if (!in) refuse(path, "the file cannot be read", "name a release archive that you may read");
  return {std::istreambuf_iterator<char>(in), {}};
}

std::string text(const Json& object, const char* key) {
  auto at = object.find(key);
  return at != object.end() && at->is_string() ? at->get<std::string>() : std::string();
}

class Reader {
 public:
  explicit Reader(const fs::path& path) : path_(path) {}

  Published read() {
    if (path_.filename() == "release.json") {
      read_archive_of(path_.parent_path() / archive_named(slurp(path_)));
    } else if (path_.filename() == "contents.json") {
      folder_ = path_.parent_path();
    } else {
      read_archive_of(path_);
    }
    Json contents = parse("contents.json");
    out_.version = text(contents, "version");
    out_.tier = text(contents, "tier") == "supporter" ? Tier::supporter : Tier::free;
    read_date();
    read_settings(parse("settings.json"));
    auto list = contents.find("profiles");
    if (list == contents.end() || !list->is_array()) damaged("contents.json lists no profiles");
    for (const Json& each : *list) read_profile(each);
    return std::move(out_);
  }

 private:
  [[noreturn]] void damaged(std::string_view why) const {
    refuse(path_, why, "name a sound archive; `verify` tells what is wrong with one");
  }

  std::string archive_named(const std::string& release) const {
    Json json = Json::parse(release, nullptr, false);
    auto files = json.is_object() ? json.find("files") : json.end();
    for (const Json& each : json.is_object() && files != json.end() && files->is_array() ? *files : Json::array()) {
      std::string name = each.is_object() ? text(each, "name") : std::string();
      bool plain = name.find('/') == std::string::npos;
      if (plain && name.ends_with(".zip")) return name;
    }
    damaged("it names no archive");
  }

  void read_archive_of(const fs::path& archive) {
    std::error_code failure;
    if (!fs::is_regular_file(archive, failure))
      refuse(path_, fmt::format("its archive {} is not there", archive.filename().string()),
             "put the archive beside it, or name the archive itself");
    std::string bytes = slurp(archive);
    try {
      files_ = read_archive(bytes);
    } catch (const std::runtime_error& error) {
      damaged(error.what());
    }
  }

  std::string bytes(const std::string& name) const {
    if (folder_) {
      fs::path relative(name);
      for (const fs::path& part : relative) {
        if (part == ".." || relative.is_absolute()) damaged(fmt::format("it names the unsafe path {}", name));
      }
      std::error_code failure;
      if (!fs::is_regular_file(*folder_ / relative, failure))
        refuse(path_, fmt::format("{} is not beside it", name), "unpack the whole archive, or name the archive");
      return slurp(*folder_ / relative);
    }
    auto at = files_.find(name);
    if (at == files_.end()) damaged(fmt::format("it holds no {}", name));
    return at->second;
  }

  Json parse(const std::string& name) const {
    Json json = Json::parse(bytes(name), nullptr, false);
    if (json.is_discarded()) damaged(fmt::format("its {} is no JSON", name));
    if (hides_something(json))
      damaged(fmt::format("its {} holds characters that hide or reorder what a reader sees", name));
    return json;
  }

  // In any key or text of it; no text of a tree may. Without recursion, since a stranger nests as he likes.
  static bool hides_something(const Json& json) {
    std::vector<const Json*> open = {&json};
    while (!open.empty()) {
      const Json& each = *open.back();
      open.pop_back();
      if (each.is_string() && find_hidden(each.get_ref<const std::string&>())) return true;
      if (each.is_object()) {
        for (const auto& [key, value] : each.items()) {
          if (find_hidden(key)) return true;
          open.push_back(&value);
        }
      }
      if (each.is_array()) {
        for (const Json& item : each) open.push_back(&item);
      }
    }
    return false;
  }

  // "## 1.0.0 - 2026-11-25" of CHANGELOG.md, if that is there.
  void read_date() {
    std::error_code failure;
    bool there = folder_ ? fs::is_regular_file(*folder_ / "CHANGELOG.md", failure) : files_.contains("CHANGELOG.md");
    if (!there) return;
    std::string changelog = bytes("CHANGELOG.md"), head = fmt::format("\n## {} - ", out_.version);
    std::size_t at = changelog.find(head);
    std::string date = at == std::string::npos ? "" : changelog.substr(at + head.size(), 10);
    if (date.find_first_not_of("0123456789-") == std::string::npos) out_.date = date;
  }

  void read_settings(const Json& list) {
    if (!list.is_array()) damaged("its settings.json is no list");
    Units units;
    for (const Json& each : list) {
      if (!each.is_object()) continue;
      PublishedSetting setting;
      setting.title = text(each, "title");
      setting.unit = text(each, "unit");
      if (setting.unit == "1") setting.unit.clear();
      if (const Unit* unit = setting.unit.empty() ? nullptr : units.find(setting.unit)) {
        const Dimension heat = dimension::temperature();
        for (std::size_t i = 0; i < Dimension::size; ++i)
          setting.thermal |= heat.power[i] != 0 && unit->dimension.power[i] != 0;
      }
      out_.settings.emplace(text(each, "key"), std::move(setting));
    }
  }

  void read_profile(const Json& entry) {
    std::string id = entry.is_object() ? text(entry, "id") : std::string();
    Json file = parse(entry.is_object() ? text(entry, "path") : std::string());
    if (id.empty() || !file.is_object()) damaged("contents.json lists a profile without an id");
    PublishedProfile profile;
    profile.tier = text(entry, "tier") == "supporter" ? Tier::supporter : Tier::free;
    std::string status = text(entry, "status");
    for (Status each : {Status::draft, Status::beta, Status::stable, Status::retired}) {
      if (name_of(each) == status) profile.status = each;
    }
    if (auto settings = file.find("settings"); settings != file.end() && settings->is_object()) {
      for (const auto& [key, value] : settings->items()) {
        if (!out_.settings.contains(key)) damaged(fmt::format("its settings.json does not know '{}'", key));
        profile.settings.emplace(key, plain_value(key, value));
      }
    }
    if (auto scripts = file.find("scripts"); scripts != file.end() && scripts->is_object()) {
      for (const auto& [name, script] : scripts->items()) {
        auto slot = slot_named(name);
        if (slot && script.is_string()) profile.scripts[static_cast<std::size_t>(*slot)] = script.get<std::string>();
      }
    }
    out_.profiles.emplace(std::move(id), std::move(profile));
  }

  // Takes the unit off a quantity's text.
  PlainValue plain_value(const std::string& key, const Json& value) const {
    auto setting = out_.settings.find(key);
    bool quantity = setting != out_.settings.end() && !setting->second.unit.empty();
    PlainValue out;
    if (value.is_array()) {
      out.json = "[";
      for (const Json& item : value) {
        if (!item.is_primitive() || item.is_null()) damaged(fmt::format("'{}' is no list of plain values", key));
        out.json += (out.json.size() == 1 ? "" : ",") + plain_value(key, item).json;
      }
      out.json += "]";
      return out;
    }
    if (!value.is_primitive() || value.is_null()) damaged(fmt::format("'{}' is no plain value", key));
    if (quantity && value.is_string()) {
      const auto& written = value.get_ref<const std::string&>();
      if (auto number = read_number(written)) out.number = number->value;
    } else if (value.is_number()) {
      out.number = value.get<double>();
    }
    out.json = out.number ? write_number(*out.number) : value.dump();
    return out;
  }

  const fs::path& path_;
  std::optional<fs::path> folder_;
  Files files_;
  Published out_;
};

}  // namespace

bool is_published(const fs::path& path) {
  std::error_code failure;
  std::string name = path.filename().string();
  return fs::is_regular_file(path, failure) &&
         (name.ends_with(".zip") || name == "release.json" || name == "contents.json");
}

Published read_published(const fs::path& path) { return Reader(path).read(); }

}  // namespace bindery
