// The lazy evaluation of one triple's table: each key once, with its story, limits applied.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "resolve/axis.h"
#include "resolve/profile.h"

namespace bindery {

class Evaluator : public FormulaInputs {
 public:
  // `axes` are those of machine, material and process. Values and stories go to `profile`, reports to `out`.
  Evaluator(const Tree& tree, const std::array<const AxisTable*, kind_count>& axes, Profile& profile, Diagnostics& out);

  // Takes a value for a key instead of computing it.
  void pin(KeyId key, Value value);

  // The final value of a key, after limits.
  Value value_of(KeyId key);
  // The same for a formula.
  Value read(KeyId key) override;
  Value inherited() override { return inherited_; }

  // What a formula computes, for a report: "the limit of 'line.speed'", "'line.speed'". Put into words only there.
  struct About {
    std::string_view what;  // empty: the setting itself
    std::string_view name;
    char quote = '\'';
    std::string words() const;
  };
  // A formula's value in working units; reports where it has none.
  std::optional<Value> compute(const Formula& formula, const About& about);

  // Reports under the profile's id.
  Diagnostic& report(Code code, Span span, std::string message);

 private:
  enum class State : std::uint8_t { fresh, open, done };

  Value layered(KeyId key);
  Value base_value(KeyId key);
  Value apply(const Op& op, Value below, bool adjust);
  Value apply_number(const Op& op, Value below);
  Value apply_list(const Op& op, Value below);
  Value formula_value(const Setting& setting, const Formula& formula, Span place);
  void add_step(const Op* op, bool adjust, Value after) { story_.push_back({op, adjust, after}); }
  void report_cycle(KeyId key);
  Span place_reading(KeyId reader, KeyId read) const;
  bool written_from_itself(KeyId key) const;

  // limits.cpp
  Value limited(KeyId key, Value value, Cell& cell);
  Value limited_number(KeyId key, double value, Cell& cell);
  bool admitted_word(KeyId key, std::string_view word);
  struct Side {
    double limit = 0;
    const Bound* bound = nullptr;
    bool any = false;
  };
  bool gather_bounds(KeyId key, double value, Side& most, Side& least, Side& lowest, bool& refused);
  Span place_of_value(KeyId key) const;
  std::optional<double> flow_speed(const Setting& setting, bool& failed);
  std::optional<double> quantity(KeyId key, Span wanted_at, std::string_view why, bool& failed);

  const Tree& tree_;
  const Dictionary& dictionary_;
  const std::array<const AxisTable*, kind_count>& axes_;
  Profile& profile_;
  Diagnostics& out_;
  std::vector<State> state_;
  std::vector<KeyId> open_;       // the keys being computed, outermost first
  std::vector<Step> story_;       // steps of the open keys, each key's together
  std::vector<const Op*> chain_;  // operations of the open keys
  Value inherited_;
  bool too_deep_ = false;
  std::string id_;
};

}  // namespace bindery
