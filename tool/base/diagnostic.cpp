#include "base/diagnostic.h"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <tuple>

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

Diagnostic& Diagnostics::add(Code code, Span span, std::string message) {
  Diagnostic& item = items_.emplace_back();
  item.code = code;
  item.severity = describe(code).severity;
  item.span = span;
  item.message = shortened(one_line(message));
  return item;
}

void Diagnostics::join(Diagnostics&& other) {
  std::move(other.items_.begin(), other.items_.end(), std::back_inserter(items_));
  other.items_.clear();
}

void Diagnostics::attribute(std::size_t from, const std::string& fragment) {
  for (std::size_t i = from; i < items_.size(); ++i) {
    if (items_[i].fragment.empty()) items_[i].fragment = fragment;
  }
}

void Diagnostics::shorten(std::size_t from, std::size_t most) {
  if (items_.size() <= from + most) return;
  // Errors come before the rest, in their order.
  auto first = items_.begin() + static_cast<std::ptrdiff_t>(from);
  std::stable_partition(first, items_.end(), [](const Diagnostic& item) { return item.severity == Severity::error; });
  std::size_t left = items_.size() - from - most;
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
  auto cause = [](const Diagnostic& d) {
    return std::tie(d.span, d.code, d.severity, d.rule, d.setting, d.supporters);
  };
  std::stable_sort(items_.begin(), items_.end(), [&](const Diagnostic& a, const Diagnostic& b) {
    if (auto order = cause(a) <=> cause(b); order != 0) return order < 0;
    if (a.profiles == 0 || b.profiles == 0) return a.message < b.message;
    return a.profile < b.profile;
  });
  std::vector<Diagnostic> kept;
  std::string last;  // the profile counted last: one that meets a cause twice counts once
  for (Diagnostic& item : items_) {
    bool same = !kept.empty() && cause(kept.back()) == cause(item) &&
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
  return static_cast<std::size_t>(
      std::count_if(items_.begin(), items_.end(), [&](const Diagnostic& d) { return d.severity == severity; }));
}

}  // namespace bindery
