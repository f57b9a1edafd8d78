#include "report/schema.h"

#include <set>

#include <nlohmann/json.hpp>

#include "../support.h"

using namespace bindery;
using Json = nlohmann::json;

namespace {

Json schema_of(const test::World& world) { return Json::parse(fragment_schema(world.tree.dictionary)); }

// Every object of a JSON text, the outermost first.
void each_object(const Json& json, const std::function<void(const Json&)>& visit) {
  if (json.is_object()) visit(json);
  if (json.is_structured()) {
    for (const Json& inner : json) each_object(inner, visit);
  }
}

}  // namespace

TEST_SUITE("report/schema") {

// JSON Schema draft-07; another reader of JSON parses it.
TEST_CASE("the schema of a fragment is JSON of draft-07") {
  test::World world(test::small_tree());
  Json schema = schema_of(world);
  CHECK(schema["$schema"] == "http://json-schema.org/draft-07/schema#");
  CHECK(schema["additionalProperties"] == false);
  for (std::string_view header : {"title", "about", "extends", "abstract", "tier", "status", "authors", "replaces", "fits", "settings", "adjust", "limits", "when", "locked", "scripts", "fittings"}) {
    CHECK_MESSAGE(schema["properties"].contains(std::string(header)), header);
  }
}

TEST_CASE("the schema uses no keyword of a later draft") {
  test::World world(test::small_tree());
  each_object(schema_of(world), [](const Json& object) {
    for (const char* word : {"unevaluatedProperties", "prefixItems", "dependentRequired", "$defs"}) CHECK_FALSE(object.contains(word));
  });
}

TEST_CASE("every reference of the schema leads to a definition, and every definition is referred to") {
  test::World world(test::small_tree());
  Json schema = schema_of(world);
  std::set<std::string> wanted, given;
  each_object(schema, [&](const Json& object) {
    if (auto at = object.find("$ref"); at != object.end() && at->is_string()) wanted.insert(at->get<std::string>());
  });
  for (const auto& [name, definition] : schema["definitions"].items()) given.insert("#/definitions/" + name);
  CHECK(wanted.size() > 30);
  for (const std::string& reference : wanted) CHECK_MESSAGE(given.contains(reference), reference);
  for (const std::string& definition : given) CHECK_MESSAGE(wanted.contains(definition), definition);
}

// Draft-07, section 6.7.2: the array of `anyOf` must not be empty.
TEST_CASE("no choice of the schema is empty") {
  test::World world(test::small_tree());
  each_object(schema_of(world), [](const Json& object) {
    for (const char* word : {"anyOf", "allOf", "oneOf", "enum"}) {
      if (auto at = object.find(word); at != object.end() && at->is_array()) CHECK_FALSE(at->empty());
    }
  });
}

TEST_CASE("a setting is known by its dotted key and by each way to nest it") {
  test::World world(test::small_tree("", "", "", {{"schema/deep.yaml", "settings: { edge.outer.speed: { title: Edge, kinds: [process], unit: mm/s } }\n"}}));
  Json schema = schema_of(world);
  const Json& top = schema["definitions"]["settings:"]["properties"];
  for (const char* key : {"edge.outer.speed", "edge.outer", "edge"}) CHECK(top.contains(key));
  CHECK_FALSE(top.contains("outer.speed"));
  CHECK(schema["definitions"]["settings:edge"]["properties"].contains("outer.speed"));
  CHECK(schema["definitions"]["settings:edge"]["properties"].contains("outer"));
  CHECK(schema["definitions"]["settings:edge.outer"]["properties"].contains("speed"));
  CHECK(schema["definitions"]["settings:"]["additionalProperties"] == false);
}

TEST_CASE("the reference of settings tells unit, range, default and rules") {
  test::World world(test::small_tree("", "", "", {{"schema/rules.yaml", "rules:\n  thin-layers: { assert: layer.height < 1 mm, severity: warning, say: \"too high\", source: common practice }\n"}}));
  std::string text = dictionary_markdown(world.tree.dictionary);
  auto holds = [&](std::string_view part) { CHECK_MESSAGE(text.find(part) != std::string::npos, part); };
  for (const Setting& setting : world.tree.dictionary.settings) holds(fmt::format("### `{}`", setting.key));
  holds("**Wall speed.** How fast walls are laid.");
  holds("- unit or type: `mm/s`");
  holds("- range: 0.05 to 1 mm");
  holds("- usual: 0.1 to 0.4 mm");
  holds("- default: 210 degC");
  holds("- choices: rear, corner or spread");
  holds("### `thin-layers`");
  holds("warning: `layer.height < 1 mm`");
}

}
