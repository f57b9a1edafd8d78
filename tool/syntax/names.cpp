// The words of the language for kinds, tiers, statuses, operations and scripts.
#include <algorithm>

#include "syntax/fragment.h"

namespace bindery {

namespace {

template <typename Enum, std::size_t N>
std::optional<Enum> by_name(const std::array<std::string_view, N>& names, std::string_view word) {
  auto at = std::find(names.begin(), names.end(), word);
  if (at == names.end()) return std::nullopt;
  return static_cast<Enum>(at - names.begin());
}

constexpr std::array<std::string_view, 3> kind_names = {"machine", "material", "process"};
constexpr std::array<std::string_view, 2> tier_names = {"free", "supporter"};
constexpr std::array<std::string_view, 4> status_names = {"draft", "beta", "stable", "retired"};
constexpr std::array<std::string_view, 7> op_names = {"set", "calc", "add", "scale", "unset", "append", "remove"};
constexpr std::array<std::string_view, 4> slot_names = {"start", "layer", "pause", "end"};

}  // namespace

std::string_view name_of(Kind kind) { return kind_names[static_cast<std::size_t>(kind)]; }
std::string_view name_of(Tier tier) { return tier_names[static_cast<std::size_t>(tier)]; }
std::string_view name_of(Status status) { return status_names[static_cast<std::size_t>(status)]; }
std::string_view name_of(OpKind op) { return op_names[static_cast<std::size_t>(op)]; }
std::string_view name_of(ScriptSlot slot) { return slot_names[static_cast<std::size_t>(slot)]; }
std::optional<Kind> kind_named(std::string_view word) { return by_name<Kind>(kind_names, word); }

std::optional<OpKind> operation_named(std::string_view word) {
  auto op = by_name<OpKind>(op_names, word);
  return op == OpKind::set ? std::nullopt : op;  // `set` is what a literal does; it is no word of the language
}
std::optional<ScriptSlot> slot_named(std::string_view word) { return by_name<ScriptSlot>(slot_names, word); }

}  // namespace bindery
