#include "base/words.h"

#include <algorithm>

#include <fmt/format.h>

namespace bindery {

namespace {

constexpr std::size_t longest_compared = 200;

std::size_t edit_distance(std::string_view a, std::string_view b, std::size_t bound) {
  if (a.size() > b.size() + bound || b.size() > a.size() + bound) return bound + 1;
  std::vector<std::size_t> before(b.size() + 1), last(b.size() + 1), now(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    now[0] = i;
    std::size_t least = now[0];
    for (std::size_t j = 1; j <= b.size(); ++j) {
      std::size_t cost = a[i - 1] == b[j - 1] ? 0 : 1;
      now[j] = std::min({last[j] + 1, now[j - 1] + 1, last[j - 1] + cost});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) now[j] = std::min(now[j], before[j - 2] + 1);
      least = std::min(least, now[j]);
    }
    if (least > bound) return bound + 1;
    before.swap(last);
    last.swap(now);
  }
  return last[b.size()];
}

bool lower_or_digit(char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'); }

}  // namespace

std::string nearest(std::string_view word, const std::vector<std::string_view>& candidates) {
  if (word.empty() || word.size() > longest_compared) return {};
  std::size_t bound = std::max<std::size_t>(1, std::min<std::size_t>(4, word.size() / 3));
  std::string_view best;
  for (std::string_view candidate : candidates) {
    if (candidate.size() > longest_compared) continue;
    std::size_t distance = edit_distance(word, candidate, bound);
    if (distance > bound) continue;
    if (best.empty() || distance < edit_distance(word, best, bound) ||
        (distance == edit_distance(word, best, bound) && candidate < best)) {
      best = candidate;
    }
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
