// Texts with placeholders: scripts, and what a rule says.
#include <algorithm>

#include <fmt/format.h>

#include "base/words.h"
#include "schema/dictionary.h"

namespace bindery {

std::optional<Template> read_template(const Text& text, const Dictionary& dictionary, bool bare,
                                      const std::function<Span(std::size_t, std::size_t)>& place, Diagnostics& out) {
  Template result;
  std::string_view whole = text.text;
  bool sound = true;
  std::size_t start = 0;
  auto literal = [&](std::size_t end) {
    if (end > start)
      result.pieces.push_back({TemplatePiece::Of::literal, whole.substr(start, end - start), std::nullopt});
  };
  FormulaScope scope = dictionary.scope(false);
  for (std::size_t at = 0; at + 1 < whole.size();) {
    char sign = whole[at];
    if ((sign != '$' && sign != '@') || whole[at + 1] != '{') {
      ++at;
      continue;
    }
    std::size_t end = whole.find('}', at);
    std::size_t line_end = whole.find('\n', at);
    if (end == std::string_view::npos || end > line_end) {
      out.add(Code::placeholder_malformed, place(at, 2), "this placeholder is never closed")
          .with_help("close it with `}` on the same line");
      return std::nullopt;
    }
    literal(at);
    std::string_view inner = whole.substr(at + 2, end - at - 2);
    if (sign == '@') {
      if (std::find(dictionary.job.begin(), dictionary.job.end(), inner) == dictionary.job.end()) {
        std::string near = nearest(inner, dictionary.job);
        out.add(Code::placeholder_malformed, place(at, end + 1 - at),
                fmt::format("the running job knows no '{}'", inner))
            .with_help(near.empty() ? "names of the job stand in the dictionary's `job:`; a setting is written `${...}`"
                                    : fmt::format("did you mean '{}'", near));
        sound = false;
      }
      result.pieces.push_back({TemplatePiece::Of::job, whole.substr(at, end + 1 - at), std::nullopt});
    } else {
      Text part;
      part.text = inner;
      part.span = place(at + 2, inner.size());
      part.exact = part.span.end - part.span.begin == inner.size();
      part.inner = part.span.begin;
      auto formula = parse_formula(part, scope, *dictionary.units, out);
      bool key_alone = formula && formula->nodes[formula->root].op == FormulaOp::key;
      if (formula && bare && !key_alone) {
        const FormulaType& type = formula->type();
        bool is_bare = type.kind == FormulaType::Kind::flag || type.kind == FormulaType::Kind::word ||
                       (type.kind == FormulaType::Kind::number && type.dimension.none());
        if (!is_bare) {
          out.add(Code::dimension_mismatch, part.span,
                  fmt::format("a script takes bare numbers, and this is {}", type.words()))
              .with_help("tell it in a unit, as in `${travel.speed in mm/min}`");
          formula.reset();
        }
      }
      if (!formula) sound = false;
      result.pieces.push_back({TemplatePiece::Of::formula, {}, std::move(formula)});
    }
    at = start = end + 1;
  }
  literal(whole.size());
  return sound ? std::optional(std::move(result)) : std::nullopt;
}

}  // namespace bindery
