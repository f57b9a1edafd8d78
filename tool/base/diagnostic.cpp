#include "base/diagnostic.h"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>
#include <utility>

namespace bindery {

namespace {

// What a message quotes from a source may be of any length; its middle is left out, between code points.
std::string shortened(std::string message) {
  constexpr std::size_t longest = 600, head = 400, tail = 150;
  if (message.size() <= longest) return message;
  auto inside = [&](std::size_t at) { return (static_cast<unsigned char>(message[at]) & 0xc0) == 0x80; };
  std::size_t first = head, last = message.size() - tail;
  while (inside(first)) --first;
  while (inside(last)) ++last;
  return message.substr(0, first) + " [...] " + message.substr(last);
}

}  // namespace

bool Diagnostics::skip(Severity severity) {
  // shorten() needs one of those that it leaves out, for the place.
  if (kept_[severity != Severity::error] <= most_) return false;
  ++counted_[static_cast<std::size_t>(severity)];
  return true;
}

Diagnostic& Diagnostics::add(Code code, Span span, std::string message) {
  return add(code, describe(code).severity, span, message);
}

Diagnostic& Diagnostics::add(Code code, Severity severity, Span span, std::string_view message) {
  bool counted = skip(severity);
  if (!counted) ++kept_[severity != Severity::error];
  if (counted) spare_.clear();
  Diagnostic& item = (counted ? spare_ : items_).emplace_back();
  item.code = code;
  item.severity = severity;
  item.span = span;
  if (!counted) item.message = shortened(one_line(message));
  return item;
}

void Diagnostics::add(Diagnostic diagnostic) {
  if (skip(diagnostic.severity)) return;
  ++kept_[diagnostic.severity != Severity::error];
  items_.push_back(std::move(diagnostic));
}

void Diagnostics::join(Diagnostics&& other) {
  for (Diagnostic& item : other.items_) add(std::move(item));
  for (std::size_t i = 0; i < counted_.size(); ++i) counted_[i] += std::exchange(other.counted_[i], 0);
  other.items_.clear();
}

void Diagnostics::fold(Diagnostics&& other) {
  constexpr std::size_t few = 4096;
  join(std::move(other));
  if (items_.size() < 2 * settled_ + few) return;
  settle();
  settled_ = items_.size();
}

void Diagnostics::attribute(std::size_t from, const std::string& fragment) {
  for (std::size_t i = from; i < items_.size(); ++i) {
    if (items_[i].fragment.empty()) items_[i].fragment = fragment;
  }
}

void Diagnostics::shorten(std::size_t from, std::size_t most) {
  std::size_t counted = std::exchange(counted_[0], 0) + std::exchange(counted_[1], 0) + std::exchange(counted_[2], 0);
  if (items_.size() <= from + most) return;
  // Errors come before the rest, in their order.
  auto first = items_.begin() + static_cast<std::ptrdiff_t>(from);
  std::stable_partition(first, items_.end(), [](const Diagnostic& item) { return item.severity == Severity::error; });
  std::size_t left = items_.size() - from - most + counted;
  Diagnostic rest;
  rest.code = Code::reports_left_out;
  rest.span = items_[from + most].span;
  rest.severity = items_[from + most].severity;
  rest.message = fmt::format("{} more reports like these are left out", left);
  rest.help = "mend what is told, and look again";
  rest.profile = items_[from].profile;
  rest.profiles = items_[from].profiles > 0 ? 1 : 0;
  items_.resize(from + most);
  items_.push_back(std::move(rest));
}

void Diagnostics::settle() {
  std::stable_sort(items_.begin(), items_.end(), [&](const Diagnostic& a, const Diagnostic& b) {
    if (auto order = cause_of(a) <=> cause_of(b); order != 0) return order < 0;
    if (a.profiles == 0 || b.profiles == 0) return a.message < b.message;
    return a.profile < b.profile;
  });
  std::vector<Diagnostic> kept;
  std::string last;  // the profile counted last: one that meets a cause twice counts once
  for (Diagnostic& item : items_) {
    bool same = !kept.empty() && cause_of(kept.back()) == cause_of(item) &&
                (item.profiles > 0 ? kept.back().profiles > 0 : kept.back().message == item.message);
    if (!same) {
      last = item.profile;
      kept.push_back(std::move(item));
    } else if (item.profile != last) {
      last = item.profile;
      kept.back().profiles += item.profiles;
    }
  }
  items_ = std::move(kept);
}

std::size_t Diagnostics::count(Severity severity) const {
  auto kept = std::count_if(items_.begin(), items_.end(), [&](const Diagnostic& d) { return d.severity == severity; });
  return static_cast<std::size_t>(kept) + counted_[static_cast<std::size_t>(severity)];
}

}  // namespace bindery
