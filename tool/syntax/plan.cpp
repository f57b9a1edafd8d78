#include "syntax/plan.h"

#include <algorithm>

#include <fmt/format.h>

#include "base/semver.h"
#include "base/words.h"
#include "syntax/fields.h"
#include "syntax/limits.h"

namespace bindery {

namespace {

constexpr std::string_view publisher_path = "profiles-src/bindery.yaml";
constexpr std::string_view plan_path = "release/plan.yaml";

class PlanReader {
 public:
  PlanReader(const Sources& sources, Diagnostics& out) : sources_(sources), out_(out) {}

  Plan read() {
    std::size_t errors = out_.count(Severity::error);
    read_publisher();
    read_sets();
    plan_.broken = out_.count(Severity::error) > errors;
    plan_.ledger = read_ledger(sources_, out_);
    plan_.evidence = read_evidence(sources_, out_);
    for (FileId id = 0; id < sources_.files.size(); ++id) {
      if (sources_[id].present && sources_[id].path.starts_with("release/notes/") && is_source_path(sources_[id].path))
        read_note(id);
    }
    return std::move(plan_);
  }

 private:
  const Document* parse(FileId id) {
    if (!sources_[id].sound) {
      plan_.broken = true;
      return nullptr;
    }
    auto parsed = parse_document(id, sources_[id], out_);
    return parsed ? &plan_.documents.emplace_back(std::move(*parsed)) : nullptr;
  }

  void read_publisher() {
    FileId id = sources_.find(publisher_path);
    if (id == no_file) {
      out_.add(Code::publisher_missing, {}, fmt::format("the tree has no {}", publisher_path))
          .with_help("write one with `publisher:` and `licence:`");
      return;
    }
    const Document* doc = parse(id);
    if (doc == nullptr) return;
    FieldReader read(*doc, out_);
    bool has_name = false, has_licence = false;
    for (const Field& field : read.fields(0, "bindery.yaml")) {
      std::string_view key = field.key.text;
      if (key == "publisher" || key == "licence") {
        (key == "publisher" ? has_name : has_licence) = true;
        if (auto text = read.scalar(field))
          (key == "publisher" ? plan_.publisher.name : plan_.publisher.licence) = text->text;
      } else if (key == "default_tier" || key == "tier") {
        if (auto index = read.choice(field, {"free", "supporter"}))
          plan_.publisher.default_tier = static_cast<Tier>(*index);
      } else if (key == "policy") {
        plan_.policy = read_policy(*doc, field, out_);
      } else {
        read.unknown(field.key, Code::header_unknown, "key", {"publisher", "licence", "default_tier", "policy"});
      }
    }
    if (!has_name || !has_licence) {
      std::string lacks = has_name      ? "no 'licence'"
                          : has_licence ? "no 'publisher'"
                                        : "neither 'publisher' nor 'licence'";
      out_.add(Code::key_missing, {id, 0, 0}, fmt::format("bindery.yaml has {}", lacks))
          .with_help("say who publishes the profiles, and under which licence they are given");
    }
  }

  void read_sets() {
    FileId id = sources_.find(plan_path);
    if (id == no_file) return;
    const Document* doc = parse(id);
    if (doc == nullptr) return;
    FieldReader read(*doc, out_);
    for (const Field& field : read.fields(0, "plan.yaml")) {
      std::string_view key = field.key.text;
      if (key == "name") {
        auto text = read.scalar(field);
        if (text && !is_name(text->text)) {
          out_.add(Code::name_invalid, text->span, fmt::format("'{}' is no name for an archive", text->text))
              .with_help("use small letters, digits, `.` and `-`");
        } else if (text) {
          plan_.name = text->text;
        }
      } else if (key == "sets") {
        for (const Field& entry : read.fields(field.value, "'sets'")) {
          if (!read.within(plan_.sets.size() + 1, most::sets, field.key.span, "sets")) break;
          read_set(*doc, entry);
        }
      } else if (key == "gates") {
        read_gates(read, field);
      } else {
        read.unknown(field.key, Code::header_unknown, "key", {"name", "sets", "gates"});
      }
    }
  }

  void read_set(const Document& doc, const Field& entry) {
    FieldReader read(doc, out_);
    PlanSet set;
    set.name = entry.key;
    set.title = entry.key.text;
    set.tier = plan_.publisher.default_tier;
    if (!is_name(entry.key.text)) {
      out_.add(Code::name_invalid, entry.key.span, fmt::format("'{}' is no name for a set", entry.key.text))
          .with_help("use small letters, digits, `.` and `-`");
    }
    for (const Field& field : read.fields(entry.value, fmt::format("the set '{}'", entry.key.text))) {
      std::string_view key = field.key.text;
      if (key == "title") {
        if (auto text = read.scalar(field)) set.title = text->text;
      } else if (key == "tier") {
        if (auto index = read.choice(field, {"free", "supporter"})) set.tier = static_cast<Tier>(*index);
      } else if (key == "take" || key == "leave") {
        (key == "take" ? set.take : set.leave) = conditions(doc, field);
      } else {
        read.unknown(field.key, Code::header_unknown, "part of a set", {"title", "tier", "take", "leave"});
      }
    }
    plan_.sets.push_back(std::move(set));
  }

  std::vector<Condition> conditions(const Document& doc, const Field& field) {
    FieldReader read(doc, out_);
    std::vector<Condition> out;
    const Node& list = doc[field.value];
    if (list.kind != NodeKind::list) {
      read.wrong(list.text.span, fmt::format("'{}' is a list", field.key.text),
                 "start each item with `- { machine: [...], material: [...], process: [...] }`");
      return out;
    }
    for (std::uint32_t at = field.value + 1; at < list.next; at = doc[at].next) {
      if (!read.within(out.size() + 1, most::takes, field.key.span, fmt::format("items of '{}'", field.key.text)))
        break;
      Condition condition;
      condition.span = doc[at].text.span;
      for (const Field& part : read.fields(at, fmt::format("an item of '{}'", field.key.text))) {
        if (auto kind = kind_named(part.key.text)) condition.names[static_cast<std::size_t>(*kind)] = read.names(part);
        else read.unknown(part.key, Code::header_unknown, "condition", {"machine", "material", "process"});
      }
      out.push_back(std::move(condition));
    }
    return out;
  }

  // The form alone: no trial is read yet, so no gate is applied, and the publisher is told.
  void read_gates(FieldReader& read, const Field& field) {
    for (const Field& gate : read.fields(field.value, "'gates'")) {
      if (gate.key.text != "beta" && gate.key.text != "stable")
        read.unknown(gate.key, Code::header_unknown, "status", {"beta", "stable"});
      for (const Field& part : read.fields(gate.value, fmt::format("the gate of '{}'", gate.key.text))) {
        if (part.key.text != "trials" && part.key.text != "grade" && part.key.text != "time_within") {
          read.unknown(part.key, Code::header_unknown, "part of a gate", {"trials", "grade", "time_within"});
        } else {
          read.scalar(part);
        }
      }
    }
    out_.add(Code::gates_unread, field.key.span, "gates are not applied: this version reads no trials")
        .with_help("check the evidence for each status by hand");
  }

  void read_note(FileId id) {
    const Document* doc = parse(id);
    if (doc == nullptr) return;
    FieldReader read(*doc, out_);
    Note note;
    bool has_section = false, has_text = false;
    note.span = {id, 0, 0};
    note.path = sources_[id].path;
    for (const Field& field : read.fields(0, "a note")) {
      std::string_view key = field.key.text;
      has_section |= key == "section";
      has_text |= key == "text";
      if (key == "section") {
        if (auto index = read.choice(
                field, {note_sections[0], note_sections[1], note_sections[2], note_sections[3], note_sections[4]}))
          note.section = note_sections[*index];
      } else if (key == "tier") {
        if (auto index = read.choice(field, {"free", "supporter"})) note.tier = static_cast<Tier>(*index);
      } else if (key == "text" || key == "version") {
        auto text = read.scalar(field);
        if (text && key == "version" && !parse_version(text->text)) {
          read.wrong(text->span, fmt::format("'version' is MAJOR.MINOR.PATCH, not '{}'", text->text),
                     "write a version, or leave the line out for the next one");
        } else if (text) {
          (key == "text" ? note.text : note.version) = text->text;
        }
      } else {
        read.unknown(field.key, Code::header_unknown, "part of a note", {"section", "tier", "text", "version"});
      }
    }
    if (!has_section || !has_text) {
      std::string lacks = has_section ? "no 'text'" : has_text ? "no 'section'" : "neither 'section' nor 'text'";
      out_.add(Code::key_missing, note.span, fmt::format("the note has {}", lacks))
          .with_help("a note has `section:` and `text:`");
    }
    if (!note.section.empty() && !note.text.empty()) plan_.notes.push_back(note);
  }

  const Sources& sources_;
  Diagnostics& out_;
  Plan plan_;
};

}  // namespace

Plan read_plan(const Sources& sources, Diagnostics& out) { return PlanReader(sources, out).read(); }

}  // namespace bindery
