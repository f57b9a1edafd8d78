#include "report/edit_words.h"

#include <fmt/format.h>

#include "report/markdown.h"

namespace bindery {

namespace {

// What a reader calls a part of a dictionary's entry.
std::string_view words_for(Part part) {
  switch (part) {
    case Part::typical: return "usual range";
    case Part::unit: return "unit or type";
    case Part::required: return "demand for a value";
    case Part::fact: return "standing as a fact";
    case Part::over_limit: return "answer to a limit";
    case Part::extrudes: return "bead";
    default: return name_of(part);
  }
}

}  // namespace

std::string edit_words(const Edit& edit) {
  std::string where = edit.fragment == "schema" ? "the dictionary"
                      : edit.fragment == "plan" ? "the plan"
                                                : code(edit.fragment);
  std::string name = code(edit.setting);
  std::string condition = edit.condition.empty() ? "" : fmt::format(" where {}", code(edit.condition));
  auto change = [&](std::string_view what) {
    if (!edit.traced) return fmt::format("{} gives {} {}{}", where, what, code(edit.after), condition);
    if (edit.before.empty()) return fmt::format("{} now has {} {}{}", where, what, code(edit.after), condition);
    if (edit.after.empty()) return fmt::format("{} no longer has {} {}{}", where, what, code(edit.before), condition);
    return fmt::format("{}: {} {} -> {}{}", where, what, code(edit.before), code(edit.after), condition);
  };
  switch (edit.part) {
    case Part::fragment: return fmt::format("{} is {}", where, edit.before.empty() ? "new" : "gone");
    case Part::setting: return fmt::format("{} {} {}", where, edit.before.empty() ? "now has" : "no longer has", name);
    case Part::scripts: return fmt::format("{}: the {} script{}", where, edit.setting, condition);
    case Part::settings: return change(name);
    case Part::adjust: return change(fmt::format("the adjustment of {}", name));
    case Part::limits: return change(fmt::format("the limit on {}", name));
    case Part::when:
      if (edit.before.starts_with("block "))
        return fmt::format("{}: the block where {} stands elsewhere now", where, code(edit.condition));
      return fmt::format("{}: a block applies where {}, formerly where {}", where, code(edit.after), code(edit.before));
    case Part::replaces:
      return edit.setting == "name" ? fmt::format("{} was {}", where, code(edit.before)) : change("`replaces`");
    case Part::code: return change(fmt::format("the code {}", name));
    case Part::macros: return change(fmt::format("the macro {}", name));
    case Part::rule: return change(fmt::format("the rule {}", name));
    case Part::role: return change(fmt::format("the role {}", name));
    case Part::kinds: return change(fmt::format("the kinds of fragments that write {}", name));
    case Part::set: return fmt::format("{}: the set {}", where, name);
    case Part::standard:
    case Part::unit:
    case Part::choices:
    case Part::range:
    case Part::typical:
    case Part::required:
    case Part::fact:
    case Part::over_limit:
    case Part::extrudes: return change(fmt::format("the {} of {}", words_for(edit.part), name));
    case Part::words:
      if (edit.fragment.starts_with("dialect/"))
        return fmt::format("{} {}", where,
                           edit.before.empty()  ? "is new"
                           : edit.after.empty() ? "is gone"
                                                : "has another table");
      return edit.fragment == "schema" ? fmt::format("{}: the words on {}", where, name)
                                       : fmt::format("{}: the {}", where, edit.setting);
    default: return change(name);
  }
}

}  // namespace bindery
