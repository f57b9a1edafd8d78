#include "base/json.h"
#include "report/changelog.h"

namespace bindery {

namespace {

class ChapterJson {
 public:
  explicit ChapterJson(const Chapter& chapter) : chapter_(chapter), changes_(chapter.changes) {}

  std::string write() {
    json_.open_object();
    json_.field_or_null("from", chapter_.from).field("to", chapter_.to);
    json_.field_or_null("date", chapter_.date).field("tier", name_of(chapter_.audience));
    json_.field("suggested", chapter_.suggested).field("reason", chapter_.reason);
    write_profiles();
    write_changes("changes", changes_.changes, true);
    write_changes("caps", changes_.caps, false);
    write_scripts();
    write_edits("dictionary", [](const Edit& edit) { return edit.fragment == "schema"; });
    write_edits("compatibility", [](const Edit& edit) { return edit.part == Part::fits; });
    json_.key("no_effect").open_list();
    for (std::uint32_t edit : changes_.idle) write_cause(edit);
    json_.close();
    json_.key("notes").open_list();
    for (const ChapterNote& note : chapter_.notes)
      json_.open_object()
          .field("section", note.section)
          .field("tier", name_of(note.tier))
          .field("text", note.text)
          .close();
    json_.close().key("contributors").open_list();
    for (const std::string& name : chapter_.contributors) json_.text(name);
    json_.close().close();
    return json_.finish();
  }

 private:
  const std::string& id(std::uint32_t profile) const { return changes_.profiles[profile].id; }

  void write_ids(std::string_view key, const std::vector<std::uint32_t>& profiles) {
    json_.key(key).open_list();
    for (std::uint32_t each : profiles) json_.text(id(each));
    json_.close();
  }

  void write_profiles() {
    json_.key("profiles").open_object();
    write_ids("added", changes_.added);
    write_ids("removed", changes_.removed);
    json_.key("renamed").open_list();
    for (const auto& [from, to] : changes_.renamed)
      json_.open_object().field("from", id(from)).field("to", id(to)).close();
    json_.close().key("moved").open_list();
    for (const Move& move : changes_.moved) write_move(move);
    json_.close().key("contents").open_object();
    for (const Content& content : changes_.contents) write_content(content);
    json_.close().key("causes").open_list();
    for (const SetChange& change : changes_.sets) {
      json_.open_object();
      write_causes(change.causes);
      write_ids("added", change.added);
      write_ids("removed", change.removed);
      json_.key("moved").open_list();
      for (std::uint32_t each : change.moved) json_.text(id(changes_.moved[each].profile));
      json_.close().close();
    }
    json_.close().close();
  }

  void write_move(const Move& move) {
    json_.open_object().field("profile", id(move.profile));
    auto pair = [&](std::string_view key, std::string_view before, std::string_view after) {
      if (before != after) json_.key(key).open_object().field("before", before).field("after", after).close();
    };
    pair("tier", name_of(move.old_tier), name_of(move.tier));
    pair("status", name_of(move.old_status), name_of(move.status));
    json_.close();
  }

  void write_content(const Content& content) {
    json_.key(id(content.profile)).open_object();
    json_.field("tier", name_of(content.tier)).field("status", name_of(content.status));
    json_.key("settings").open_object();
    for (const auto& [setting, value] : content.values) {
      json_.key(changes_.settings[setting].key).open_object();
      json_.key("value").ready(changes_.values[value].json);
      json_.field_or_null("unit", changes_.settings[setting].unit).close();
    }
    json_.close().key("scripts").open_object();
    for (std::size_t slot = 0; slot < script_slots; ++slot) {
      if (content.scripts[slot] != 0)
        json_.field(name_of(static_cast<ScriptSlot>(slot)), changes_.texts[content.scripts[slot]]);
    }
    json_.close().close();
  }

  void write_cause(std::uint32_t number) {
    const Edit& edit = changes_.edits[number];
    json_.open_object().field("fragment", edit.fragment).field("part", name_of(edit.part));
    json_.field("setting", edit.setting).field_or_null("condition", edit.condition);
    json_.field_or_null("before", edit.before).field_or_null("after", edit.after).field("file", edit.file);
    json_.key("commits").open_list();
    for (const std::string& commit : chapter_.commits[number]) json_.text(commit);
    json_.close().close();
  }

  void write_causes(const std::vector<std::uint32_t>& causes) {
    json_.key("causes").open_list();
    for (std::uint32_t each : causes) write_cause(each);
    json_.close();
  }

  void write_changes(std::string_view key, const std::vector<Change>& list, bool units) {
    json_.key(key).open_list();
    for (const Change& change : list) {
      json_.open_object();
      write_causes(change.causes);
      json_.key("effects").open_list();
      for (const Effect& effect : change.effects) {
        const SettingName& setting = changes_.settings[effect.setting];
        json_.open_object().field("profile", id(effect.profile)).field("setting", setting.key);
        json_.key("before").ready(changes_.values[effect.before].json);
        json_.key("after").ready(changes_.values[effect.after].json);
        if (units) {
          json_.field_or_null("unit", setting.unit);
          if (setting.unit != setting.old_unit) json_.field_or_null("unit_before", setting.old_unit);
        }
        json_.close();
      }
      json_.close().close();
    }
    json_.close();
  }

  void write_scripts() {
    json_.key("scripts").open_list();
    for (const ScriptChange& change : changes_.scripts) {
      json_.open_object();
      write_causes(change.causes);
      json_.key("effects").open_list();
      for (const ScriptEffect& effect : change.effects) {
        json_.open_object().field("profile", id(effect.profile)).field("script", name_of(effect.slot));
        write_script("before", effect.before);
        write_script("after", effect.after);
        json_.close();
      }
      json_.close().close();
    }
    json_.close();
  }

  void write_script(std::string_view key, std::uint32_t text) {
    if (text == 0) json_.key(key).null();
    else json_.field(key, changes_.texts[text]);
  }

  template <typename Wanted>
  void write_edits(std::string_view key, Wanted&& wanted) {
    json_.key(key).open_list();
    for (std::uint32_t i = 0; i < changes_.edits.size(); ++i) {
      if (changes_.edits[i].told && wanted(changes_.edits[i])) write_cause(i);
    }
    json_.close();
  }

  const Chapter& chapter_;
  const Changes& changes_;
  JsonWriter json_;
};

}  // namespace

std::string chapter_json(const Chapter& chapter) { return ChapterJson(chapter).write(); }

}  // namespace bindery
