// What the program says of the sources: diagnostics as values, gathered in one sink.
#pragma once

#include <array>
#include <cstddef>
#include <limits>
#include <string>
#include <string_view>
#include <tuple>
#include <vector>

#include "base/codes.h"
#include "base/span.h"
#include "base/utf8.h"

namespace bindery {

// A second place that a diagnostic speaks of ("first set here").
struct Related {
  Span span;
  std::string message;
};

struct Diagnostic {
  Code code{};
  Severity severity = Severity::error;
  Span span;            // unknown: the message names the thing itself
  std::string message;  // one lower-case sentence, no full stop
  std::string help;     // the cure; empty if the message says it
  std::vector<Related> related;
  std::string fragment;      // id of the fragment that it is an error of; empty for dictionary, plan and profiles
  std::string setting;       // key, where several settings can be at fault in one place
  std::string rule;          // name of the broken rule, for Code::rule_broken
  std::string profile;       // first profile it was met in; empty outside resolution
  std::size_t profiles = 0;  // in how many profiles it was met
  bool supporters = false;   // those profiles are for supporters alone; told apart only where that matters

  Diagnostic& with_help(std::string text) {
    help = one_line(text);
    return *this;
  }
  Diagnostic& with_related(Span place, std::string text) {
    related.push_back({place, one_line(text)});
    return *this;
  }
};

// What makes reports on profiles one: settle() folds those of one cause.
using Cause = std::tuple<Span, Code, Severity, std::string_view, std::string_view, bool>;
inline Cause cause_of(const Diagnostic& d) { return {d.span, d.code, d.severity, d.rule, d.setting, d.supporters}; }

// The sink. Not shared between threads: each task fills its own, and they are joined in order.
class Diagnostics {
 public:
  Diagnostics() = default;
  // A sink that keeps what shorten(0, most) looks at and counts the rest, so that a flood of reports takes no memory.
  explicit Diagnostics(std::size_t most) : most_(most) {}

  // Adds one, of the code's own severity unless another is given. The reference holds until the next add(); what is
  // written to it is lost where the report is only counted.
  Diagnostic& add(Code code, Span span, std::string message);
  Diagnostic& add(Code code, Severity severity, Span span, std::string_view message);
  void add(Diagnostic diagnostic);
  // Would a report be counted only? Then it is, and true: for those whose message takes time to make.
  bool skip(Code code) { return skip(describe(code).severity); }
  bool skip(Severity severity);
  // Adds those of another, and how many more it counted.
  void join(Diagnostics&& other);
  // The same for what many tasks report, much of it of one cause: settles each time the sink has grown to twice its
  // size.
  void fold(Diagnostics&& other);
  // Names the fragment of each report since the first `from` that names none yet.
  void attribute(std::size_t from, const std::string& fragment);

  // Of the reports since the first `from`, keeps `most`, errors first, and tells how many were left out.
  void shorten(std::size_t from, std::size_t most);

  // Sorts by place and folds reports of one cause (same code, rule, setting and place) into one,
  // adding up the profiles. Places sort by file id, which follows the path.
  void settle();

  const std::vector<Diagnostic>& items() const { return items_; }
  std::vector<Diagnostic>& items() { return items_; }
  std::size_t count(Severity severity) const;  // with those that were only counted
  bool any_errors() const { return count(Severity::error) > 0; }

 private:
  std::vector<Diagnostic> items_;
  std::size_t most_ = std::numeric_limits<std::size_t>::max();
  std::array<std::size_t, 2> kept_{};     // errors and others; followed only where `most_` is set
  std::array<std::size_t, 3> counted_{};  // by severity: not kept
  std::size_t settled_ = 0;               // how many there were after the last fold()
  std::vector<Diagnostic> spare_;         // its one item takes what is only counted
};

}  // namespace bindery
