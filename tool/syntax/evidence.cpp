#include "syntax/evidence.h"

#include "syntax/fields.h"

namespace bindery {

std::vector<Evidence> read_evidence(const Sources& sources, Diagnostics& out) {
  std::vector<Evidence> found;
  for (FileId id = 0; id < sources.files.size(); ++id) {
    const SourceFile& file = sources[id];
    if (!file.present || !file.sound || !file.path.starts_with(trial_folder) || !is_source_path(file.path)) continue;
    auto doc = parse_document(id, file, out);
    if (!doc) continue;
    FieldReader read(*doc, out);
    bool named = false;
    for (const Field& field : read.fields(0, "a trial")) {
      if (field.key.text != "profile") continue;
      if (auto text = read.scalar(field)) {
        named = true;
        found.push_back({file.path, std::string(text->text)});
      }
    }
    if (!named)
      out.add(Code::key_missing, {id, 0, 0}, "the trial names no profile")
          .with_help("write `profile: MACHINE/MATERIAL/PROCESS`, the one that was printed");
  }
  return found;
}

}  // namespace bindery
