// Moves of the virtual machine: reach, arcs, feeds, extrusion.
#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number.h"
#include "gcode/machine.h"

namespace bindery {

namespace {

constexpr double slack = 0.001;         // mm; scripts write three decimals
constexpr double radius_slack = 0.002;  // mm: NISTIR 6556, 3.5.3.2
constexpr double inch = 25.4;           // mm, exactly
constexpr std::size_t z_axis = 2;

std::string millimetres(double value) { return fmt::format("{} mm", write_number(value)); }
std::string speed(double value) { return fmt::format("{} mm/s", write_number(std::round(value * 1000) / 1000)); }

std::string range_words(const Extent& range) {
  if (std::isinf(range.low)) return fmt::format("at most {}", millimetres(range.high));
  if (std::isinf(range.high)) return fmt::format("at least {}", millimetres(range.low));
  return fmt::format("{} to {}", write_number(range.low), millimetres(range.high));
}

// The axes of a plane: the first, the second, the one across; and the letters of the centre.
struct PlaneAxes {
  std::size_t first, second, across;
  std::array<char, 2> centre;
};

PlaneAxes axes_of(Plane plane) {
  switch (plane) {
    case Plane::xz: return {2, 0, 1, {'K', 'I'}};
    case Plane::yz: return {1, 2, 0, {'J', 'K'}};
    default: return {0, 1, 2, {'I', 'J'}};
  }
}

}  // namespace

std::optional<double> Machine::length(const BlockWord& word) const {
  if (!word.value.known()) return std::nullopt;
  return word.value.number * (state.inches ? inch : 1);
}

// Units a minute; a feed stays in force until the next.
void Machine::take_feed(const BlockWord& word) {
  state.fed = true;
  auto value = length(word);
  if (!value) {
    state.feed.reset();
    return;
  }
  if (*value <= 0) {
    report(Code::script_value, place_, fmt::format("{} gives a feed of {}", words_of(place_), write_number(*value)),
           "write a feed above 0, in mm/min");
    return;
  }
  state.feed = *value / 60;
}

void Machine::move(const WordList& words, Does does) {
  // In rs274 the feed is executed before all else, in the units that were in force.
  const BlockWord* feed = words.find('F');
  if (feed != nullptr && controller_.grammar == Grammar::printer) take_feed(*feed);
  auto before = state.at;
  bool moves = words.any(axis_letters);
  bool sideways = words.any("XY");
  for (std::size_t axis = 0; axis < axis_count; ++axis) {
    if (const BlockWord* word = words.find(axis_letters[axis])) move_axis(axis, *word);
  }
  if (sideways) check_radius();
  if (does != Does::move) follow_arc(words, does == Does::arc_clockwise, before);
  const BlockWord* extruder = words.find(extruder_letter());
  std::optional<double> extruded;
  bool extrudes = false;
  if (extruder != nullptr) {
    extruded = feed_extruder(*extruder);
    extrudes = !extruded || std::fabs(*extruded) > 1e-9;
    state.motors[axis_count] = true;
    if (extrudes) extrude();
  }
  if (moves) state.motors_at = place_;
  if (!moves && !extrudes) return;
  if (!state.fed && !feed_told_) {
    feed_told_ = true;
    report(Code::script_feedless, place_, fmt::format("{} moves before any feed was given", words_of(place_)),
           "write F and a feed in mm/min");
  }
  std::optional<bool> clockwise;
  if (does != Does::move) clockwise = does == Does::arc_clockwise;
  check_speed(words, before, clockwise, extruded, extrudes);
}

void Machine::move_axis(std::size_t axis, const BlockWord& word) {
  char letter = axis_letters[axis];
  state.motors[axis] = true;
  if (word.value.of == WordValue::Of::absent) {
    report(Code::script_syntax, place_, fmt::format("{} gives {} no number", words_of(place_), letter),
           "write where it goes");
    return;
  }
  if (!state.homed[axis] && unhomed_told_.insert(axis).second)
    report(Code::script_unhomed, place_, fmt::format("{} moves {} before it is homed", words_of(place_), letter),
           "home first, with G28");
  Extent before = state.at[axis];
  auto value = length(word);
  if (value && state.relative) state.at[axis] = {before.low + *value, before.high + *value};
  else if (value && state.offset[axis]) state.at[axis] = Extent::point(*value + *state.offset[axis]);
  else state.at[axis] = controller_.reach[axis];
  if (state.homed[axis] && !check_reach(axis, before, word)) {
    // Told once: what follows starts from the nearest place in the reach.
    const Extent& reach = controller_.reach[axis];
    state.at[axis] = {std::clamp(state.at[axis].low, reach.low, reach.high),
                      std::clamp(state.at[axis].high, reach.low, reach.high)};
  }
}

// False where the axis leaves its reach: surely, or towards the bed perhaps.
bool Machine::check_reach(std::size_t axis, const Extent& before, const BlockWord& word) {
  const Extent& reach = controller_.reach[axis];
  const Extent& after = state.at[axis];
  char letter = axis_letters[axis];
  if (after.low > reach.high + slack || after.high < reach.low - slack) {
    double where = after.low > reach.high ? after.low : after.high;
    report(Code::script_outside, place_,
           fmt::format("{} drives {} to {}, and it reaches {}", words_of(place_), letter, millimetres(where),
                       range_words(reach)),
           "stay inside the reach");
    return false;
  }
  bool down = axis == z_axis && state.relative && word.value.known() && word.value.number < 0;
  bool already = before.low < reach.low - slack;
  if (down && !already && after.low < reach.low - slack) {
    report(Code::script_outside, place_,
           fmt::format("{} lowers the nozzle by {}, and from where it may stand that drives it into the bed",
                       words_of(place_), millimetres(-*length(word))),
           "raise it first, or go to a height with G90");
    return false;
  }
  return true;
}

void Machine::check_radius() {
  if (!controller_.radius || !state.at[0].is_point() || !state.at[1].is_point()) return;
  const Extent &x = controller_.reach[0], &y = controller_.reach[1];
  if (!std::isfinite(x.low + x.high + y.low + y.high)) return;
  double distance = std::hypot(state.at[0].low - (x.low + x.high) / 2, state.at[1].low - (y.low + y.high) / 2);
  if (distance <= *controller_.radius + slack) return;
  report(Code::script_outside, place_,
         fmt::format("{} goes {} from the middle, and the reach is a circle of radius {}", words_of(place_),
                     millimetres(std::round(distance * 1000) / 1000), millimetres(*controller_.radius)),
         "stay inside the circle");
}

// Centre and radius of an arc, and how far it swings outside its ends (NISTIR 6556, 3.5.3).
void Machine::follow_arc(const WordList& words, bool clockwise, const std::array<Extent, axis_count>& before) {
  PlaneAxes axes = axes_of(state.plane);
  const BlockWord* radius_word = words.find('R');
  const BlockWord* first = words.find(axes.centre[0]);
  const BlockWord* second = words.find(axes.centre[1]);
  if (radius_word == nullptr && first == nullptr && second == nullptr) {
    report(Code::script_syntax, place_, fmt::format("{} draws an arc without a centre or a radius", words_of(place_)),
           fmt::format("give it {} and {}, or R", axes.centre[0], axes.centre[1]));
    return;
  }
  std::array<double, 2> start{before[axes.first].low, before[axes.second].low};
  std::array<double, 2> end{state.at[axes.first].low, state.at[axes.second].low};
  bool known = before[axes.first].is_point() && before[axes.second].is_point() && state.at[axes.first].is_point() &&
               state.at[axes.second].is_point();
  for (const BlockWord* word : {radius_word, first, second}) known &= word == nullptr || word->value.known();
  if (!known) return;
  Arc arc;
  if (radius_word != nullptr) {
    double r = *length(*radius_word), dx = end[0] - start[0], dy = end[1] - start[1];
    double chord = std::hypot(dx, dy), half = r * r - chord * chord / 4;
    if (chord < 1e-9 || half < -radius_slack * std::fabs(r)) {
      report(Code::script_syntax, place_,
             fmt::format("{} draws an arc of radius {}, which joins no such points", words_of(place_), millimetres(r)),
             "give it a centre");
      return;
    }
    double height = std::sqrt(std::max(0.0, half)) * ((r > 0) == clockwise ? 1 : -1);
    arc.centre = {start[0] + dx / 2 + dy / chord * height, start[1] + dy / 2 - dx / chord * height};
    arc.radius = std::fabs(r);
  } else {
    arc.centre = {start[0] + (first == nullptr ? 0 : *length(*first)),
                  start[1] + (second == nullptr ? 0 : *length(*second))};
    arc.radius = std::hypot(start[0] - arc.centre[0], start[1] - arc.centre[1]);
    double other = std::hypot(end[0] - arc.centre[0], end[1] - arc.centre[1]);
    if (std::fabs(arc.radius - other) > radius_slack) {
      report(Code::script_syntax, place_,
             fmt::format("{} draws an arc whose radius is {} at its start and {} at its end", words_of(place_),
                         millimetres(arc.radius), millimetres(other)),
             "mend the centre");
      return;
    }
  }
  arc.helix = !(before[axes.across] == state.at[axes.across]);
  arc_ = arc;
  auto angle = [&](const std::array<double, 2>& point) {
    return std::atan2(point[1] - arc.centre[1], point[0] - arc.centre[0]);
  };
  double from = angle(clockwise ? end : start), to = angle(clockwise ? start : end);
  if (to <= from + 1e-12) to += 2 * M_PI;
  check_bow(arc, from, to);
}

// The length of the last arc in its plane: radius times angle, a whole turn where it ends where it began.
double Machine::arc_path(const std::array<Extent, axis_count>& before, bool clockwise) const {
  PlaneAxes axes = axes_of(state.plane);
  auto angle = [&](const std::array<Extent, axis_count>& at) {
    return std::atan2(at[axes.second].low - arc_->centre[1], at[axes.first].low - arc_->centre[0]);
  };
  double turn = clockwise ? angle(before) - angle(state.at) : angle(state.at) - angle(before);
  while (turn <= 1e-9) turn += 2 * M_PI;
  return arc_->radius * turn;
}

// Stays an arc inside the reach between its ends? The angles run against the clock.
void Machine::check_bow(const Arc& arc, double from, double to) {
  PlaneAxes axes = axes_of(state.plane);
  auto passes = [&](double angle) {
    while (angle < from) angle += 2 * M_PI;
    return angle < to;
  };
  auto told = [](double value) { return millimetres(std::round(value * 1000) / 1000); };
  for (int quarter = 0; quarter < 4; ++quarter) {
    if (!passes(-M_PI + quarter * M_PI / 2)) continue;
    bool on_first = quarter % 2 == 0;
    double outermost = arc.centre[on_first ? 0 : 1] + (quarter < 2 ? -arc.radius : arc.radius);
    std::size_t which = on_first ? axes.first : axes.second;
    const Extent& reach = controller_.reach[which];
    if (outermost <= reach.high + slack && outermost >= reach.low - slack) continue;
    report(Code::script_outside, place_,
           fmt::format("{} swings {} to {}, and it reaches {}", words_of(place_), axis_letters[which], told(outermost),
                       range_words(reach)),
           "stay inside the reach");
    return;
  }
  const Extent &x = controller_.reach[0], &y = controller_.reach[1];
  if (state.plane != Plane::xy || !controller_.radius || !std::isfinite(x.low + x.high + y.low + y.high)) return;
  double dx = arc.centre[0] - (x.low + x.high) / 2, dy = arc.centre[1] - (y.low + y.high) / 2;
  double farthest = std::hypot(dx, dy) + arc.radius;
  if (!passes(std::atan2(dy, dx)) || farthest <= *controller_.radius + slack) return;
  report(Code::script_outside, place_,
         fmt::format("{} swings {} from the middle, and the reach is a circle of radius {}", words_of(place_),
                     told(farthest), millimetres(*controller_.radius)),
         "stay inside the circle");
}

// How much filament a move takes; nothing where that is not known.
std::optional<double> Machine::feed_extruder(const BlockWord& word) {
  auto value = length(word);
  if (!state.relative_extrusion || !value) {
    state.extruder = value;
    return std::nullopt;
  }
  if (*state.relative_extrusion) return value;
  std::optional<double> before = state.extruder;
  state.extruder = value;
  return before ? std::optional(*value - *before) : std::nullopt;
}

// What must hold before filament moves, in either direction.
void Machine::extrude() {
  state.motors[axis_count] = true;
  bool unsaid = !state.relative_extrusion && controller_.relative_extrusion;
  if (unsaid && !mode_told_) {
    mode_told_ = true;
    report(Code::script_mode, place_,
           fmt::format("{} moves filament before any script says how extrusion is given", words_of(place_)),
           "write M83 (relative) or M82 (absolute) before it");
  }
  const HeaterState& nozzle = state.heaters[static_cast<std::size_t>(Heater::nozzle)];
  if (nozzle_cold()) {
    bool unawaited = nozzle.on && !nozzle.awaited;
    report(Code::script_cold, place_,
           fmt::format("{} moves filament {}", words_of(place_),
                       unawaited ? "before the nozzle's heat-up was awaited"
                       : controller_.least_extrusion
                           ? fmt::format("in a nozzle that may have {} degC; this filament takes at least {}",
                                         write_number(nozzle.actual.low), write_number(*controller_.least_extrusion))
                           : "in a nozzle that is not heated"),
           "wait for the nozzle first, with M109");
  }
  for (Heater each : {Heater::bed, Heater::chamber}) {
    auto index = static_cast<std::size_t>(each);
    const HeaterState& heater = state.heaters[index];
    if (!heater.on || heater.awaited || unawaited_told_[index]) continue;
    unawaited_told_[index] = true;
    if (ScriptFinding* finding = report(Code::script_cold, *heater.set_at,
                                        fmt::format("{} heats the {}, and {} extrudes without waiting for it",
                                                    words_of(*heater.set_at), name_of(each), words_of(place_)),
                                        "wait for it before the first extrusion"))
      finding->warning = true;
  }
  need_hotend_fan();
}

void Machine::need_hotend_fan() {
  const HeaterState& nozzle = state.heaters[static_cast<std::size_t>(Heater::nozzle)];
  bool needed = controller_.hotend_fan && nozzle.on && !state.fans.contains(*controller_.hotend_fan);
  if (!needed || fan_told_) return;
  fan_told_ = true;
  report(Code::script_dropped, *nozzle.set_at,
         fmt::format("{} heats the nozzle, and the fan of the hot end (number {}) stands still",
                     words_of(*nozzle.set_at), *controller_.hotend_fan),
         fmt::format("start it first, with `M106 P{} S...`", *controller_.hotend_fan));
}

// The share of the feed on X and Y together, on Z, and on the drive.
void Machine::check_speed(const WordList& words, const std::array<Extent, axis_count>& before,
                          std::optional<bool> clockwise, std::optional<double> extruded, bool extrudes) {
  if (clockwise && !arc_) return;  // from an unknown place, or faulty
  if (!state.feed) return;
  double feed = *state.feed;
  bool sideways = words.any("XY"), upward = words.any("Z");
  std::array<double, axis_count> step{};
  bool known = true;
  for (std::size_t axis = 0; axis < axis_count; ++axis) {
    if (words.find(axis_letters[axis]) == nullptr) continue;
    bool relative = state.relative && words.find(axis_letters[axis])->value.known();
    if (relative) step[axis] = *length(*words.find(axis_letters[axis]));
    else if (before[axis].is_point() && state.at[axis].is_point()) step[axis] = state.at[axis].low - before[axis].low;
    else known = false;
  }
  double flat = std::hypot(step[0], step[1]);
  if (arc_) flat = arc_path(before, *clockwise);
  double path = std::hypot(flat, step[z_axis]);
  auto fast = [&](std::string_view what, double asked, const std::optional<double>& most) {
    if (!most || asked <= *most * (1 + 1e-6) + 1e-6) return;
    report(
        Code::script_fast, place_,
        fmt::format("{} drives {} at {}, and the machine bears {}", words_of(place_), what, speed(asked), speed(*most)),
        "write a lower feed, or a setting for it as in `F${... in mm/min}`");
  };
  if (sideways || upward) {
    if (!known) {
      if (sideways && !upward) fast("X and Y", feed, controller_.axis_speed);
      if (upward && !sideways) fast("Z", feed, controller_.z_speed);
      // Whatever the shares are, one of the two is too fast.
      bool both = sideways && upward && controller_.axis_speed && controller_.z_speed;
      if (both) fast("the axes", feed, std::hypot(*controller_.axis_speed, *controller_.z_speed));
      return;
    }
    if (path < 1e-9) return;
    if (sideways) fast("X and Y", feed * flat / path, controller_.axis_speed);
    if (upward) fast("Z", feed * std::fabs(step[z_axis]) / path, controller_.z_speed);
    if (!extrudes || !extruded) return;
    double fed = feed * std::fabs(*extruded) / path;
    fast("the extruder", fed, controller_.extruder_speed);
    check_flow(fed, *extruded);
  } else if (extrudes) {
    fast("the extruder", feed, controller_.extruder_speed);
    if (extruded) check_flow(feed, *extruded);
  }
}

// What is melted: forward moves beyond what was drawn back. `fed` in mm/s of filament.
void Machine::check_flow(double fed, double forward) {
  double melted = forward - std::max(0.0, state.drawn_back);
  state.drawn_back = std::max(0.0, state.drawn_back - forward);
  if (melted <= 0.01 || !controller_.filament_area || !controller_.flow_limit) return;
  double flow = fed * *controller_.filament_area;
  if (flow <= *controller_.flow_limit * (1 + 1e-6)) return;
  report(Code::script_fast, place_,
         fmt::format("{} extrudes {} mm^3/s, and the flow limit is {}", words_of(place_),
                     write_number(std::round(flow * 1000) / 1000), write_number(*controller_.flow_limit)),
         "go slower, or extrude less on the way");
}

}  // namespace bindery
