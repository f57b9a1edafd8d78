// `validate`: the whole tree, and every profile of its sets.
#include <fmt/format.h>

#include "base/words.h"
#include "check/check.h"
#include "cli/session.h"
#include "report/diagnostics.h"

namespace bindery {

Exit run_validate(const Options& options) {
  Session session = open_session(options);
  Selection selection = session.select();
  check_selection(session.tree, selection, options.jobs, session.diagnostics);
  session.diagnostics.settle();

  const Diagnostics& found = session.diagnostics;
  std::size_t fragments = session.tree.fragments.size(), profiles = selection.profiles.size();
  if (options.format == "json") {
    JsonWriter json;
    json.open_object().key("diagnostics");
    diagnostics_json(found, *session.sources, json);
    json.key("fragments")
        .whole(static_cast<long long>(fragments))
        .key("profiles")
        .whole(static_cast<long long>(profiles))
        .close();
    fmt::print("{}", json.finish());
  } else {
    print_diagnostics(found, *session.sources, options);
    fmt::print("{}, {}: {}\n", counted(fragments, "fragment"), counted(profiles, "profile"), tally(found));
  }
  bool failed = found.any_errors() || (options.strict && found.count(Severity::warning) > 0);
  return failed ? Exit::sources : Exit::done;
}

}  // namespace bindery
