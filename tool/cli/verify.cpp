// `verify`: is a release complete and unchanged?
#include <fmt/format.h>

#include "base/words.h"
#include "cli/options.h"
#include "release/verify.h"
#include "report/diagnostics.h"

namespace bindery {

Exit run_verify(const Options& options) {
  Diagnostics found;
  Verified verified = verify_release(options.words.front(), found);
  found.settle();
  Sources none;
  if (options.format == "json") {
    JsonWriter json;
    json.open_object().key("diagnostics");
    diagnostics_json(found, none, json);
    json.key("archives")
        .whole(static_cast<long long>(verified.archives))
        .key("files")
        .whole(static_cast<long long>(verified.files));
    json.key("profiles").whole(static_cast<long long>(verified.profiles)).close();
    fmt::print("{}", json.finish());
  } else {
    fmt::print(stderr, "{}", diagnostics_text(found, none, Palette::of(options.colour)));
    fmt::print("{}, {}, {}: {}\n", counted(verified.archives, "archive"), counted(verified.files, "file"),
               counted(verified.profiles, "profile"), tally(found));
  }
  return found.any_errors() ? Exit::sources : Exit::done;
}

}  // namespace bindery
