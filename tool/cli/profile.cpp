// `show`, `why` and `compare`: one or two profiles of a tree, in a set or not.
#include <fmt/format.h>

#include "base/failure.h"
#include "cli/session.h"
#include "report/profile.h"

namespace bindery {

namespace {

// Can the triple be resolved at all? If not, its reports are the whole answer.
bool can_resolve(const Session& session, const Triple& triple) {
  bool linked = !session.tree.dictionary.broken;
  for (FragmentId each : triple.of) linked &= session.tree[each].linked();
  return linked;
}

}  // namespace

Exit run_show(const Options& options) {
  Session session = open_profiles(options, {options.words[0]});
  Resolver resolver(session.tree);
  Triple triple = find_profile(session, resolver, options.words[0]);
  Answer answer = resolve_one(session, resolver, triple);
  print_diagnostics(answer.diagnostics, *session.sources, options);
  if (!can_resolve(session, triple)) {
    if (options.format == "json")
      fmt::print("{}", JsonWriter()
                           .open_object()
                           .field("profile", options.words[0])
                           .key("settings")
                           .open_object()
                           .close()
                           .key("scripts")
                           .open_object()
                           .close()
                           .close()
                           .finish());
    return Exit::sources;
  }
  Selected selected = place_in_plan(session.tree, triple);
  fmt::print("{}", options.format == "json" ? profile_json(session.tree, selected, answer.profile)
                                            : profile_text(session.tree, selected, answer.profile));
  return answer.whole() ? Exit::done : Exit::sources;
}

Exit run_why(const Options& options) {
  Session session = open_profiles(options, {options.words[0]});
  Resolver resolver(session.tree);
  Triple triple = find_profile(session, resolver, options.words[0]);
  const Dictionary& dictionary = session.tree.dictionary;
  KeyId key = dictionary.find(options.words[1]);
  if (key == no_key && !dictionary.incomplete) {
    if (dictionary.is_group(options.words[1])) {
      throw UsageError(fmt::format("'{}' is a group of settings, not a setting", options.words[1]),
                       "name one of its settings; see `list settings`");
    }
    std::string near = dictionary.nearest_key(options.words[1]);
    throw UsageError(fmt::format("unknown setting '{}'", options.words[1]),
                     near.empty() ? "see `list settings` for the keys" : fmt::format("did you mean '{}'", near));
  }
  Answer answer = resolve_one(session, resolver, triple);
  print_diagnostics(answer.diagnostics, *session.sources, options);
  if (can_resolve(session, triple)) fmt::print("{}", story_text(session.tree, answer.profile, key, resolver));
  return answer.whole() ? Exit::done : Exit::sources;
}

Exit run_compare(const Options& options) {
  Session session = open_profiles(options, options.words);
  Resolver resolver(session.tree);
  Triple left = find_profile(session, resolver, options.words[0]);
  Triple right = find_profile(session, resolver, options.words[1]);
  Answer a = resolve_one(session, resolver, left), b = resolve_one(session, resolver, right);
  Diagnostics both = a.diagnostics;
  both.join(Diagnostics(b.diagnostics));
  both.settle();
  print_diagnostics(both, *session.sources, options);
  if (!can_resolve(session, left) || !can_resolve(session, right)) return Exit::sources;
  fmt::print("{}", options.format == "json" ? comparison_json(session.tree, a.profile, b.profile)
                                            : comparison_text(session.tree, a.profile, b.profile));
  return a.whole() && b.whole() ? Exit::done : Exit::sources;
}

}  // namespace bindery
