#include "release/profile_file.h"

#include <fmt/format.h>

#include "base/json.h"
#include "base/number.h"

namespace bindery {

namespace {

// A value as a fragment writes it: quantities and words as texts, counts and flags bare.
void write_value(const Setting& setting, const Value& value, std::string& out) {
  switch (value.tag()) {
    case Value::Tag::number:
      if (setting.unit_text().empty()) {
        append_number(out, value.number());
        break;
      }
      out += '"';
      append_number(out, value.number());
      out.append(1, ' ').append(setting.unit->text).append(1, '"');
      break;
    case Value::Tag::flag: out += value.flag() ? "true" : "false"; break;
    case Value::Tag::word: append_json(out, value.word()); break;
    case Value::Tag::list:
      out += '[';
      for (const Value& item : value.items()) {
        if (out.back() != '[') out += ',';
        write_value(setting, item, out);
      }
      out += ']';
      break;
    default: break;
  }
}

}  // namespace

ProfileWriter::ProfileWriter(const Tree& tree) : tree_(tree), lines_(tree.dictionary.settings.size()) {
  for (KeyId key = 0; key < lines_.size(); ++key) {
    Line& line = lines_[key];
    line.text.append(",\n\"").append(tree.dictionary.settings[key].key).append("\":");
    line.head = line.text.size();
  }
}

// Of lists nothing is kept: to compare them takes as long as to write them.
bool ProfileWriter::Line::holds(const Value& value) const {
  if (value.tag() != tag) return false;
  switch (tag) {
    case Value::Tag::number: return value.number() == number;
    case Value::Tag::flag: return value.flag() == flag;
    case Value::Tag::word: return value.word() == word;
    default: return false;
  }
}

std::string ProfileWriter::write(const Selected& selected, const Profile& profile) {
  std::string out;
  out.reserve(6000);
  out +=
      fmt::format("{{\"title\":{},\n\"tier\":\"{}\",\n\"status\":\"{}\",\n\"settings\":{{",
                  json_quoted(profile_title(tree_, profile.triple)), name_of(selected.tier), name_of(selected.status));
  bool first = true;
  for (KeyId key = 0; key < lines_.size(); ++key) {
    const Value& value = profile.cells[key].value;
    if (!value.has_value()) continue;
    Line& line = lines_[key];
    if (!line.holds(value)) {
      line.tag = value.tag();
      line.number = value.number();
      line.flag = value.flag();
      line.word = value.word();
      line.text.resize(line.head);
      write_value(tree_.dictionary.settings[key], value, line.text);
    }
    out.append(line.text, first ? 1 : 0);
    first = false;
  }
  out += "}";
  first = true;
  for (std::size_t slot = 0; slot < script_slots; ++slot) {
    if (!profile.scripts[slot]) continue;
    out.append(first ? ",\n\"scripts\":{\n" : ",\n")
        .append(json_quoted(name_of(static_cast<ScriptSlot>(slot))))
        .append(":")
        .append(json_quoted(*profile.scripts[slot]));
    first = false;
  }
  if (!first) out += "}";
  out += "}\n";
  return out;
}

}  // namespace bindery
