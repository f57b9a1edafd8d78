#include "base/words.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cstdint>

#include <fmt/format.h>

namespace bindery {

namespace {

constexpr std::size_t longest_compared = 200;

// The edit distance of two words of at most longest_compared bytes, or bound + 1 where it is larger. Only the cells
// that can hold a distance within the bound are computed.
std::size_t edit_distance(std::string_view a, std::string_view b, std::size_t bound) {
  if (a.size() > b.size() + bound || b.size() > a.size() + bound) return bound + 1;
  std::array<std::uint8_t, longest_compared + 2> rows[3];
  auto far = static_cast<std::uint8_t>(bound + 1);
  for (auto& row : rows) std::fill_n(row.begin(), b.size() + 2, far);
  for (std::size_t j = 0; j <= std::min(b.size(), bound); ++j) rows[0][j] = static_cast<std::uint8_t>(j);
  for (std::size_t i = 1; i <= a.size(); ++i) {
    const auto& before = rows[(i + 1) % 3];
    const auto& last = rows[(i + 2) % 3];
    auto& now = rows[i % 3];
    std::size_t from = i > bound ? i - bound : 0, to = std::min(b.size(), i + bound);
    std::uint8_t least = far;
    if (from > 0) now[from - 1] = far;
    if (to < b.size()) now[to + 1] = far;
    for (std::size_t j = from; j <= to; ++j) {
      std::size_t best = j == 0 ? i : far;
      if (j > 0) {
        best = std::min<std::size_t>({last[j] + 1u, now[j - 1] + 1u, last[j - 1] + (a[i - 1] == b[j - 1] ? 0u : 1u)});
        if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
          best = std::min<std::size_t>(best, before[j - 2] + 1u);
      }
      now[j] = static_cast<std::uint8_t>(std::min<std::size_t>(best, far));
      least = std::min(least, now[j]);
    }
    if (least > bound) return bound + 1;
  }
  return rows[a.size() % 3][b.size()];
}

// Which bytes a word holds, by their last six bits. Each edit but a swap brings in at most one and takes out at most
// one.
std::uint64_t letters_of(std::string_view word) {
  std::uint64_t out = 0;
  for (char c : word) out |= std::uint64_t{1} << (static_cast<unsigned char>(c) & 63u);
  return out;
}

std::size_t least_distance(std::uint64_t a, std::uint64_t b) {
  return static_cast<std::size_t>(std::max(std::popcount(a & ~b), std::popcount(b & ~a)));
}

bool lower_or_digit(char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'); }

}  // namespace

std::string nearest(std::string_view word, const std::vector<std::string_view>& candidates) {
  if (word.empty() || word.size() > longest_compared) return {};
  std::size_t bound = std::max<std::size_t>(1, std::min<std::size_t>(4, word.size() / 3));
  std::string_view best;
  std::uint64_t letters = letters_of(word);
  for (std::string_view candidate : candidates) {
    if (candidate.size() > longest_compared || candidate.size() > word.size() + bound ||
        word.size() > candidate.size() + bound || least_distance(letters, letters_of(candidate)) > bound)
      continue;
    std::size_t distance = edit_distance(word, candidate, bound);
    bool nearer = distance < bound || (distance == bound && (best.empty() || candidate < best));
    if (!nearer) continue;
    best = candidate;
    bound = distance;
  }
  return std::string(best);
}

std::string join_words(const std::vector<std::string>& words, std::string_view last) {
  std::string out;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (i > 0) out += i + 1 == words.size() ? fmt::format(" {} ", last) : std::string(", ");
    out += words[i];
  }
  return out;
}

std::string counted(std::size_t number, std::string_view singular, std::string_view plural) {
  if (number == 1) return fmt::format("1 {}", singular);
  return plural.empty() ? fmt::format("{} {}s", number, singular) : fmt::format("{} {}", number, plural);
}

bool glob_match(std::string_view pattern, std::string_view text) {
  std::size_t p = 0, t = 0, star = std::string_view::npos, resume = 0;
  while (t < text.size()) {
    if (p < pattern.size() && pattern[p] == '*') {
      star = p++;
      resume = t;
    } else if (p < pattern.size() && pattern[p] == text[t]) {
      ++p;
      ++t;
    } else if (star != std::string_view::npos) {
      p = star + 1;
      t = ++resume;
    } else {
      return false;
    }
  }
  while (p < pattern.size() && pattern[p] == '*') ++p;
  return p == pattern.size();
}

bool is_name(std::string_view text) {
  if (text.empty() || !lower_or_digit(text[0])) return false;
  return std::all_of(text.begin(), text.end(), [](char c) { return lower_or_digit(c) || c == '.' || c == '-'; });
}

bool is_key(std::string_view text) {
  bool start = true;
  for (char c : text) {
    if (start ? !(c >= 'a' && c <= 'z') : !(lower_or_digit(c) || c == '_' || c == '.')) return false;
    start = c == '.';
  }
  return !start;
}

}  // namespace bindery
