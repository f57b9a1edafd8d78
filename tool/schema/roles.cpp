#include "schema/roles.h"

#include <algorithm>

namespace bindery {

namespace {

struct RoleEntry {
  std::string_view name;
  RoleForm form;
};

// In the order of Role.
const std::array<RoleEntry, role_count> table = {{
    {"nozzle", {Type::quantity, "mm"}},
    {"flow_limit", {Type::quantity, "mm^3/s"}},
    {"flow_ratio", {Type::quantity, "%"}},
    {"build_x", {Type::quantity, "mm"}},
    {"build_y", {Type::quantity, "mm"}},
    {"build_z", {Type::quantity, "mm"}},
    {"nozzle_temperature", {Type::quantity, "degC"}},
    {"bed_temperature", {Type::quantity, "degC"}},
    {"chamber_temperature", {Type::quantity, "degC"}},
    {"reach_x_least", {Type::quantity, "mm"}},
    {"reach_x_most", {Type::quantity, "mm"}},
    {"reach_y_least", {Type::quantity, "mm"}},
    {"reach_y_most", {Type::quantity, "mm"}},
    {"reach_z_most", {Type::quantity, "mm"}},
    {"reach_radius", {Type::quantity, "mm"}},
    {"home_x", {Type::quantity, "mm"}},
    {"home_y", {Type::quantity, "mm"}},
    {"home_z", {Type::quantity, "mm"}},
    {"axis_speed", {Type::quantity, "mm/s"}},
    {"z_speed", {Type::quantity, "mm/s"}},
    {"extruder_speed", {Type::quantity, "mm/s"}},
    {"extrusion", {Type::choice, {}, false, {"relative", "absolute"}}},
    {"least_extrusion_temperature", {Type::quantity, "degC"}},
    {"held_axes", {Type::choice, {}, true, {"x", "y", "z"}}},
    {"hotend_fan", {Type::count, {}}},
    {"hotend_fan_until", {Type::quantity, "degC"}},
    {"joined_modes", {Type::flag, {}}},
    {"line_length", {Type::count, {}}},
    {"code_form", {Type::choice, {}, false, {"printer", "rs274"}}},
    {"filament_diameter", {Type::quantity, "mm"}},
}};

}  // namespace

std::string_view name_of(Role role) { return table[static_cast<std::size_t>(role)].name; }

std::optional<Role> role_named(std::string_view word) {
  auto at = std::find_if(table.begin(), table.end(), [&](const RoleEntry& entry) { return entry.name == word; });
  if (at == table.end()) return std::nullopt;
  return static_cast<Role>(at - table.begin());
}

const RoleForm& form_of(Role role) { return table[static_cast<std::size_t>(role)].form; }

}  // namespace bindery
