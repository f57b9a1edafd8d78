// `validate`: the whole tree, and every profile of its sets; or a contribution.
#include <fmt/format.h>

#include "base/words.h"
#include "check/check.h"
#include "cli/session.h"
#include "dialect/check.h"
#include "judge/audience.h"
#include "release/version.h"
#include "report/diagnostics.h"
#include "report/impact.h"
#include "report/sarif.h"

namespace bindery {

namespace {

// Takes out what the audience may not be told; how many of each severity went.
std::array<std::size_t, 3> withhold(const Session& session, const Selection& selection, Tier tier, Diagnostics& found) {
  std::array<std::size_t, 3> out{};
  Audience audience(tier, {{&session.tree, &selection}});
  std::erase_if(found.items(), [&](const Diagnostic& item) {
    if (audience.may_be_told(item)) return false;
    ++out[static_cast<std::size_t>(item.severity)];
    return true;
  });
  return out;
}

}  // namespace

Exit run_validate(const Options& options) {
  if (options.since || options.overlay) return judge_contribution(options);
  Session session = open_session(options);
  options.progress->enter("selecting");
  Selection selection = session.select();
  Tier tier = options.tier == "free" ? Tier::free : Tier::supporter;
  options.progress->enter("checking", selection.profiles.size() + selection.drafts.size());
  check_selection(session.tree, selection, options.jobs, session.diagnostics, tier == Tier::free, {}, options.progress);
  options.progress->enter("dialects");
  std::vector<Dialect> dialects = read_dialects(session.tree, session.diagnostics);
  check_dialects(session.tree, dialects, selection, {options.jobs, false, false, tier == Tier::free},
                 session.diagnostics);
  session.diagnostics.settle();
  options.progress->finish();

  Diagnostics& found = session.diagnostics;
  auto withheld = withhold(session, selection, tier, found);
  std::size_t fragments = session.tree.fragments.size(), profiles = selection.profiles.size();
  std::string summary =
      fmt::format("{}, {}: {}", counted(fragments, "fragment"), counted(profiles, "profile"), tally(found));
  if (std::size_t more = withheld[0] + withheld[1] + withheld[2]; more > 0)
    summary += fmt::format("; {} more in what only supporters get", counted(more, "problem"));
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
  } else if (options.format == "sarif") {
    fmt::print("{}", sarif_report(found, *session.sources, tool_version()));
  } else if (options.format == "markdown") {
    fmt::print("## Tree\n\n{}.\n", summary);
    if (!found.items().empty()) fmt::print("\n### Problems\n\n{}", problems_markdown(found, *session.sources));
  } else {
    print_diagnostics(found, *session.sources, options);
    fmt::print("{}\n", summary);
  }
  bool failed = found.any_errors() || withheld[0] > 0;
  bool warned = found.count(Severity::warning) > 0 || withheld[1] > 0;
  return failed || (options.strict && warned) ? Exit::sources : Exit::done;
}

}  // namespace bindery
