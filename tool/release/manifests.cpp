#include "release/manifests.h"

#include "base/date.h"
#include "base/json.h"
#include "release/version.h"

namespace bindery {

namespace {

// Long texts come in parts of about so many bytes, which stay in a core's cache.
constexpr std::size_t text_part = 64 * 1024;

void write_row(const Listed& listed, JsonWriter& json) {
  const PackedProfile& profile = *listed.profile;
  json.open_object().field("id", profile_of_path(profile.entry.path)).field("title", profile.title);
  json.field("path", profile.entry.path)
      .field("tier", name_of(profile.tier))
      .field("status", name_of(profile.status))
      .field("sha256", profile.entry.digest);
  json.key("evidence").open_list().close();
  if (!listed.made.empty()) {
    json.key("for").open_object();
    for (const auto& [dialect, paths] : listed.made) {
      json.key(dialect->name).open_list();
      for (const std::string& path : paths) json.text(path);
      json.close();
    }
    json.close();
  }
  json.close();
}

}  // namespace

void write_contents(const Tree& tree, Tier tier, const Edition& edition, const std::vector<Listed>& profiles,
                    const HandPart& hand) {
  JsonWriter json;
  json.open_object().field("name", tree.plan.name).field("version", edition.version).field("tier", name_of(tier));
  json.field("publisher", tree.plan.publisher.name).field("licence", tree.plan.publisher.licence);
  json.key("profiles").open_list();
  std::string empty;
  for (const Listed& each : profiles) {
    write_row(each, json);
    if (json.size() >= text_part) empty = hand(json.hand_over(std::move(empty)));
  }
  json.close().close();
  hand(json.finish());
}

std::string release_json(const Tree& tree, Tier tier, const Edition& edition, std::size_t profiles,
                         const std::vector<ReleaseFile>& files, const std::string& contents) {
  JsonWriter json;
  json.open_object()
      .field("name", tree.plan.name)
      .field("version", edition.version)
      .field("channel", edition.channel)
      .field("tier", name_of(tier));
  json.field("publisher", tree.plan.publisher.name).field("licence", tree.plan.publisher.licence);
  json.field("date", utc_date(edition.time))
      .field_or_null("commit", edition.commit)
      .key("changed")
      .flag(edition.changed);
  json.key("profiles").whole(static_cast<long long>(profiles));
  json.key("files").open_list();
  for (const ReleaseFile& file : files) {
    json.open_object()
        .field("name", file.name)
        .key("bytes")
        .whole(static_cast<long long>(file.size))
        .field("sha256", file.digest)
        .close();
  }
  json.close().key("contents").open_object().field("name", "contents.json").field("sha256", contents).close();
  json.key("tool").open_object().field("name", "bindery").field("version", tool_version()).close();
  json.key("libraries").open_object();
  for (const auto& [name, version] : library_versions()) json.field(name, version);
  json.close().close();
  return json.finish();
}

void write_sums(const Sums& sums, const HandPart& hand) {
  std::string out;
  for (const auto& [path, digest] : sums) {
    out.append(digest).append("  ").append(path).append(1, '\n');
    if (out.size() >= text_part) out = hand(std::move(out));
  }
  hand(std::move(out));
}

std::string sums_text(const Sums& sums) {
  std::string all;
  write_sums(sums, [&](std::string part) {
    all += part;
    return std::string();
  });
  return all;
}

}  // namespace bindery
