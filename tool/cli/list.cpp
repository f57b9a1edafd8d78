// `list`: the parts of a tree.
#include <fmt/format.h>

#include "cli/session.h"
#include "report/diagnostics.h"
#include "report/lists.h"

namespace bindery {

Exit run_list(const Options& options) {
  const std::string& what = options.words.front();
  bool json = options.format == "json";
  if (what == "diagnostics") {  // needs no tree
    fmt::print("{}", json ? codes_json() : codes_text());
    return Exit::done;
  }
  Session session = open_session(options);
  const Tree& tree = session.tree;
  std::string text;
  if (what == "settings") {
    text = json ? settings_json(tree.dictionary) : settings_text(tree.dictionary);
  } else if (what == "rules") {
    text = json ? rules_json(tree.dictionary) : rules_text(tree.dictionary);
  } else if (what == "profiles" || what == "sets") {
    Selection selection = session.select(options.jobs);
    if (tree.plan.sets.empty()) selection.profiles.clear();
    bool profiles = what == "profiles";
    text = profiles ? (json ? profiles_json(tree, selection) : profiles_text(tree, selection))
                    : (json ? sets_json(tree, selection) : sets_text(tree, selection));
  } else {
    Kind kind = what == "machines" ? Kind::machine : what == "materials" ? Kind::material : Kind::process;
    text = json ? fragments_json(tree, kind) : fragments_text(tree, kind);
  }
  session.diagnostics.settle();
  bool dictionary_alone = what == "settings" || what == "rules";
  std::erase_if(session.diagnostics.items(), [&](const Diagnostic& item) {
    return item.severity != Severity::error || (dictionary_alone && !session.of_dictionary(item));
  });
  print_diagnostics(session.diagnostics, *session.sources, options);
  fmt::print("{}", text);
  return session.diagnostics.any_errors() ? Exit::sources : Exit::done;
}

}  // namespace bindery
