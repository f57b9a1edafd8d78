// How much the parts of a text may hold. People's trees stay far below; what goes beyond is an accident or an attack,
// and would make later stages slow.
#pragma once

#include <cstddef>

namespace bindery::most {

inline constexpr std::size_t list_items = 256;  // words, names, parents, locks, old names ...
inline constexpr std::size_t old_names = 64;
inline constexpr std::size_t key_letters = 200;    // of a key, a name or a pattern
inline constexpr std::size_t text_letters = 4096;  // of a value
inline constexpr std::size_t script_letters = 64 * 1024;
inline constexpr std::size_t fittings = 1024;  // of a fragment
inline constexpr std::size_t blocks = 64;      // `when` blocks of a fragment
inline constexpr std::size_t limits = 256;     // in one place
inline constexpr std::size_t macros = 64;      // of a machine
inline constexpr std::size_t sets = 64, takes = 256;
inline constexpr std::size_t value_items = 1024;       // of a list after all operations
inline constexpr std::size_t inherited_bounds = 4096;  // along a linearisation
inline constexpr std::size_t claims = 100'000;         // on old names, in a tree
inline constexpr std::size_t dialects = 64, dialect_files = 32, dialect_rows = 2048;
inline constexpr std::size_t dialect_work = 200'000'000;  // operations of rows, over all profiles
inline constexpr std::size_t reports = 100;               // on one file or one profile
inline constexpr std::size_t triples = 2'000'000;         // that a plan may ask to look at
inline constexpr std::size_t work_a_triple = 250;         // operations to find out whether it fits, on average
inline constexpr std::size_t rules = 2048;                // of a dictionary
inline constexpr std::size_t name_work = 100'000'000;     // operations to look for names, in a tree
inline constexpr std::size_t dictionary_reports = 1000;   // on the dictionary
inline constexpr std::size_t reports_in_all = 10'000;     // on the fragments of a tree, or on its profiles
inline constexpr std::size_t script_work = 20'000'000;    // operations of formulas while a profile's scripts run

}  // namespace bindery::most
