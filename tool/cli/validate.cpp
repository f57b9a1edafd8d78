// `validate`: the whole tree, and every profile of its sets; or a contribution.
#include <fmt/format.h>

#include "base/words.h"
#include "check/check.h"
#include "cli/session.h"
#include "dialect/check.h"
#include "judge/audience.h"
#include "recall/recheck.h"
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

// What was found, as far as the audience may be told.
struct Found {
  Diagnostics reports;
  std::array<std::size_t, 3> withheld{};
  std::size_t fragments = 0, profiles = 0;
};

Exit print(const Found& found, const Sources& sources, const Options& options) {
  std::string summary = fmt::format("{}, {}: {}", counted(found.fragments, "fragment"),
                                    counted(found.profiles, "profile"), tally(found.reports));
  if (std::size_t more = found.withheld[0] + found.withheld[1] + found.withheld[2]; more > 0)
    summary += fmt::format("; {} more in what only supporters get", counted(more, "problem"));
  if (options.format == "json") {
    JsonWriter json;
    json.open_object().key("diagnostics");
    diagnostics_json(found.reports, sources, json);
    json.key("fragments")
        .whole(static_cast<long long>(found.fragments))
        .key("profiles")
        .whole(static_cast<long long>(found.profiles))
        .close();
    fmt::print("{}", json.finish());
  } else if (options.format == "sarif") {
    fmt::print("{}", sarif_report(found.reports, sources, tool_version()));
  } else if (options.format == "markdown") {
    fmt::print("## Tree\n\n{}.\n", summary);
    if (!found.reports.items().empty()) fmt::print("\n### Problems\n\n{}", problems_markdown(found.reports, sources));
  } else {
    print_diagnostics(found.reports, sources, options);
    fmt::print("{}\n", summary);
  }
  bool failed = found.reports.any_errors() || found.withheld[0] > 0;
  bool warned = found.reports.count(Severity::warning) > 0 || found.withheld[1] > 0;
  return failed || (options.strict && warned) ? Exit::sources : Exit::done;
}

}  // namespace

Exit run_validate(const Options& options) {
  if (options.since || options.overlay) return judge_contribution(options);
  Tier tier = options.tier == "free" ? Tier::free : Tier::supporter;
  if (options.cache) {
    auto known = recheck(find_root(options.folder), options.jobs, *options.progress);
    // Which of the reports the free audience may be told is a question to the whole tree.
    if (known && (tier == Tier::supporter || known->reports.items().empty())) {
      options.progress->finish();
      return print({std::move(known->reports), {}, known->fragments, known->profiles}, known->sources, options);
    }
  }
  std::int64_t begun = now_in_nanoseconds();
  Session& session = options.leftovers->keep(open_session(options));
  options.progress->enter("selecting");
  Selection& selection = options.leftovers->keep(session.select(options.jobs));
  options.progress->enter("checking", selection.profiles.size() + selection.drafts.size());
  Meetings meetings;
  CheckForm form;
  form.by_tier = tier == Tier::free;
  form.progress = options.progress;
  bool remembers = options.cache && !form.by_tier;
  if (remembers)
    form.take_reports = [&](std::size_t triple, const Diagnostics& reports) { meetings.note(triple, reports); };
  check_selection(session.tree, selection, options.jobs, session.diagnostics, form);
  options.progress->enter("dialects");
  std::vector<Dialect> dialects = read_dialects(session.tree, session.diagnostics);
  check_dialects(session.tree, dialects, selection, {options.jobs, false, false, tier == Tier::free},
                 session.diagnostics);
  session.diagnostics.settle();
  // What dialects write is not checked in parts.
  if (remembers && dialects.empty()) {
    if (auto standing = meetings.standing(session.diagnostics)) {
      options.progress->enter("remembering");
      Snapshot snapshot = take_snapshot(session.tree, selection, begun, options.jobs);
      snapshot.standing = std::move(*standing);
      write_snapshot(session.root, snapshot);
    }
  }
  options.progress->finish();

  Found found{std::move(session.diagnostics), {}, session.tree.fragments.size(), selection.profiles.size()};
  found.withheld = withhold(session, selection, tier, found.reports);
  return print(found, *session.sources, options);
}

}  // namespace bindery
