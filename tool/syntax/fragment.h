// Stage 2: a text read as fragments. Values and formulas stay text here; they get their meaning from the
// dictionary later (resolve/bind.h). Every piece carries its place.
#pragma once

#include <array>
#include <list>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/diagnostic.h"
#include "base/span.h"
#include "source/source.h"

namespace bindery {

enum class Kind : std::uint8_t { machine, material, process };
inline constexpr std::size_t kind_count = 3;
inline constexpr std::array<Kind, kind_count> all_kinds = {Kind::machine, Kind::material, Kind::process};
std::string_view name_of(Kind kind);
std::optional<Kind> kind_named(std::string_view word);

enum class Tier : std::uint8_t { free, supporter };
std::string_view name_of(Tier tier);

// In the order of trust; retired stands apart and is never published.
enum class Status : std::uint8_t { draft, beta, stable, retired };
std::string_view name_of(Status status);

enum class OpKind : std::uint8_t { set, calc, add, scale, unset, append, remove };
std::string_view name_of(OpKind op);
std::optional<OpKind> operation_named(std::string_view word);

// What a key is given: a literal, or one operation.
struct RawValue {
  OpKind op = OpKind::set;
  bool is_list = false;
  Text scalar;              // of set (no list), calc, add, scale
  std::vector<Text> items;  // of a list, append, remove
  Span span;
};

// One line of `settings` or `adjust`, its key joined with dots whichever way it was written.
struct RawWrite {
  std::string_view key;
  Span key_span;
  RawValue value;
};

struct RawBound {
  enum class Side : std::uint8_t { at_most, at_least, among } side = Side::at_most;
  bool drop = false;  // `none`: the inherited bound goes
  RawValue value;     // set or calc; for `among` a list
  Span span;          // of the word at_most, at_least or among
};

struct RawLimit {
  Text pattern;
  bool drop_all = false;  // the whole pattern is `none`
  bool refuse = false;    // else: refuse
  std::vector<RawBound> bounds;
};

enum class ScriptSlot : std::uint8_t { start, layer, pause, end };
inline constexpr std::size_t script_slots = 4;
std::string_view name_of(ScriptSlot slot);
std::optional<ScriptSlot> slot_named(std::string_view word);

struct RawScript {
  enum class Act : std::uint8_t { replace, before, after, drop } act = Act::replace;
  ScriptSlot slot = ScriptSlot::start;
  Text text;
  Span span;  // of the slot's word
};

// A word of a machine's firmware, and what it leaves. Values are literals or formulas.
struct RawMacro {
  Text name;
  bool drop = false;  // `none`
  std::vector<Text> takes, needs, homed, off;
  std::vector<std::pair<Text, RawValue>> hot, positioned;
  Text extruded_name;  // the word `extruded`
  std::optional<RawValue> extruded;
};

// Names of the triple by kind (empty: any), and a formula over facts.
struct Condition {
  std::array<std::vector<Text>, kind_count> names;
  std::optional<Text> where;
  Span span;
};

// What one fragment lays over what it inherits: its own part, or one `when` block.
struct RawLayer {
  std::optional<Condition> condition;
  std::vector<RawWrite> settings;
  std::vector<RawWrite> adjust;
  std::vector<RawLimit> limits;
  std::vector<RawScript> scripts;
};

struct Fragment {
  Kind kind = Kind::machine;
  std::string name;  // `heron-220`, or `heron-220+0.4` for a fitting
  FileId file = no_file;
  Span span;                             // where it starts: the fitting's name, or the file's first byte
  std::optional<std::string_view> base;  // of a fitting: the fragment it is written in
  bool has_fittings = false;
  bool parsed = false;  // false: the file is no document, and the fragment is its name alone
  bool broken = false;  // an error of its own was reported; what reaches it is not whole

  std::optional<Text> title, about;
  std::optional<bool> abstract;
  std::optional<Tier> tier;
  std::optional<Status> status;
  Span tier_span, status_span, extends_span;
  std::vector<Text> authors, replaces, extends, locked;
  std::optional<Condition> fits;
  std::vector<RawMacro> macros;  // of a machine
  std::vector<RawLayer> layers;  // the first is its own part, the rest its `when` blocks in order
};

// The fragments of one file (a base, then its fittings), and the texts that are not in the file's bytes.
struct FragmentFile {
  std::vector<Fragment> fragments;
  std::list<std::string> owned;      // joined keys
  std::list<std::string> unescaped;  // scalars whose text differs from the file's bytes
};

// Reads one file below profiles-src/<kind>/. A file that is no document at all gives one broken fragment of
// its name, so that those who extend it stay silent.
FragmentFile read_fragment(FileId id, const SourceFile& file, Diagnostics& out);

}  // namespace bindery
