// `schema`: the dictionary for editors and readers.
#include <fmt/format.h>

#include "cli/session.h"
#include "report/diagnostics.h"
#include "report/schema.h"

namespace bindery {

Exit run_schema(const Options& options) {
  Session session = open_session(options);
  if (session.tree.dictionary.broken) {
    std::erase_if(session.diagnostics.items(), [&](const Diagnostic& item) {
      return item.severity != Severity::error || !session.of_dictionary(item);
    });
    session.diagnostics.settle();
    print_diagnostics(session.diagnostics, *session.sources, options);
    return Exit::sources;
  }
  fmt::print("{}", options.format == "markdown" ? dictionary_markdown(session.tree.dictionary)
                                                : fragment_schema(session.tree.dictionary));
  return Exit::done;
}

}  // namespace bindery
