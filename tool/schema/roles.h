// What the program needs of a tree and asks for by role, and the form that each role's setting must have.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

namespace bindery {

enum class Type : std::uint8_t { quantity, count, choice, flag, text };
std::string_view name_of(Type type);

enum class Role : std::uint8_t {
  nozzle,
  flow_limit,
  flow_ratio,
  build_x,
  build_y,
  build_z,
  nozzle_temperature,
  bed_temperature,
  chamber_temperature,
  // Where the nozzle may go, and where it stands after homing.
  reach_x_least,
  reach_x_most,
  reach_y_least,
  reach_y_most,
  reach_z_most,
  reach_radius,
  home_x,
  home_y,
  home_z,
  // How fast.
  axis_speed,
  z_speed,
  extruder_speed,
  // What the scripts of a machine must keep to.
  extrusion,
  least_extrusion_temperature,
  held_axes,
  hotend_fan,
  hotend_fan_until,
  joined_modes,
  line_length,
  code_form,
  filament_diameter,
};
inline constexpr std::size_t role_count = 30;
std::string_view name_of(Role role);
std::optional<Role> role_named(std::string_view word);

// What the setting of a role is.
struct RoleForm {
  Type type = Type::quantity;
  std::string_view unit;  // of a quantity: one of its dimension
  bool list = false;
  std::vector<std::string_view> words = {};  // of a choice: those that the program tells apart
};
const RoleForm& form_of(Role role);

}  // namespace bindery
