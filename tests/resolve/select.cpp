#include "resolve/select.h"

#include "../support.h"

using namespace bindery;
using test::Files;
using test::World;

namespace {

// Two machines (one with two fittings), two materials, two processes, and a plan.
Files workshop(std::string_view plan, const Files& more = {}) {
  Files out = {{"profiles-src/bindery.yaml", "publisher: Example Workshop\nlicence: CC0-1.0\n"},
               {"profiles-src/machine/heron.yaml", "status: stable\nfittings: { \"0.4\": {}, \"0.6\": { settings: { nozzle.bore: 0.6 mm } } }\n"},
               {"profiles-src/machine/wren.yaml", "title: Wren\n"},
               {"profiles-src/material/pla.yaml", "status: stable\n"},
               {"profiles-src/material/tpu.yaml", "title: TPU\n"},
               {"profiles-src/process/fast.yaml", "status: stable\n"},
               {"profiles-src/process/fine.yaml", "title: Fine\n"},
               {"schema/settings.yaml", std::string(test::dictionary)}};
  if (!plan.empty()) out["release/plan.yaml"] = plan;
  for (const auto& [path, text] : more) out[path] = text;
  return out;
}

struct Shelf : World {
  explicit Shelf(const Files& files) : World(files), selection(select_profiles(tree, diagnostics)) {}
  // The taken profiles, a blank between.
  std::string taken() const {
    std::string out;
    for (const Selected& each : selection.profiles) out += fmt::format("{}{}", out.empty() ? "" : " ", profile_id(tree, each.triple));
    return out;
  }
  std::string drafts() const {
    std::string out;
    for (const Triple& each : selection.drafts) out += fmt::format("{}{}", out.empty() ? "" : " ", profile_id(tree, each));
    return out;
  }
  Selection selection;
};

std::string one_set(std::string_view take, std::string_view tier = "free", std::string_view leave = "") {
  return fmt::format("sets:\n  s:\n    tier: {}\n    take: [ {} ]\n    leave: [ {} ]\n", tier, take, leave);
}

}  // namespace

TEST_SUITE("resolve/select") {

TEST_CASE("globs take what is not abstract, in order of names") {
  Shelf all(workshop(one_set("{ machine: \"*\", material: pla, process: \"*\" }")));
  CHECK(all.taken() == "heron+0.4/pla/fast heron+0.4/pla/fine heron+0.6/pla/fast heron+0.6/pla/fine wren/pla/fast wren/pla/fine");
  CHECK(all.said() == "");
  CHECK(Shelf(workshop(one_set("{ machine: \"heron+*\", material: [\"*\", \"!tpu\"], process: fast }"))).taken() == "heron+0.4/pla/fast heron+0.6/pla/fast");
  CHECK(Shelf(workshop(one_set("{ machine: wren, material: \"*\", process: fine }", "free", "{ material: \"t*\" }"))).taken() == "wren/pla/fine");
}

TEST_CASE("a tree without sets gives every triple that fits") {
  Shelf world(workshop(""));
  CHECK(world.selection.profiles.size() == 12);
  CHECK(world.selection.profiles[0].sets.empty());
}

TEST_CASE("what does not fit is left out of a glob in silence") {
  Shelf world(workshop(one_set("{ machine: \"*\", material: \"*\", process: fast }"), {{"profiles-src/process/fast.yaml", "fits: { material: [\"*\", \"!tpu\"], where: nozzle.bore < 0.5 mm }\n"}}));
  CHECK(world.taken() == "heron+0.4/pla/fast wren/pla/fast");
  CHECK(world.said() == "");
}

// The release: "a triple spelled out in full that does not fit is an error".
TEST_CASE("a triple spelled out that does not fit is an error that says who refuses it") {
  for (std::string_view fits : {"fits: { material: [\"*\", \"!tpu\"] }\n", "fits: { where: nozzle.bore > 1 mm }\n", "fits: { machine: heron+0.4 }\n"}) {
    CAPTURE(fits);
    Shelf world(workshop(one_set("{ machine: wren, material: [tpu], process: [fast] }"), {{"profiles-src/process/fast.yaml", std::string(fits)}}));
    CHECK(world.taken() == "");
    const Diagnostic& report = world.report();
    CHECK(describe(report.code).name == "take-misfit");
    CHECK(report.message.find("process/fast") != std::string::npos);
    REQUIRE(report.related.size() == 1);
    CHECK(test::covered(world.sources, report.related[0].span) == "fits");
  }
}

TEST_CASE("a triple that is left is not looked at") {
  Shelf world(workshop(one_set("{ machine: wren, material: [tpu, pla], process: fast }", "free", "{ material: tpu }"), {{"profiles-src/process/fast.yaml", "fits: { material: pla }\n"}}));
  CHECK(world.taken() == "wren/pla/fast");
  CHECK(world.said() == "");
}

TEST_CASE("a name that matches nothing is an error in take and a warning in leave") {
  Shelf taken(workshop(one_set("{ machine: wern, material: pla, process: fast }")));
  CHECK(taken.said() == "take-unmatched plan.yaml:4:24");
  CHECK(taken.report().help == "did you mean 'wren'");
  Shelf left(workshop(one_set("{ machine: wren, material: pla, process: fast }", "free", "{ machine: \"x*\" }")));
  CHECK(left.said() == "pattern-unmatched plan.yaml:5:25");
  CHECK_FALSE(left.diagnostics.any_errors());
}

TEST_CASE("an abstract or retired fragment is not taken by name") {
  CHECK(Shelf(workshop(one_set("{ machine: heron, material: pla, process: fast }"))).said() == "take-abstract plan.yaml:4:24");
  const Files retired = {{"profiles-src/machine/wren.yaml", "status: retired\n"}};
  CHECK(Shelf(workshop(one_set("{ machine: wren, material: pla, process: fast }"), retired)).said() == "take-retired plan.yaml:4:24");
  Shelf globbed(workshop(one_set("{ machine: \"*\", material: pla, process: fast }"), retired));
  CHECK(globbed.taken() == "heron+0.4/pla/fast heron+0.6/pla/fast");
  CHECK(globbed.said() == "");
}

// The release: "A draft is taken by its literal name only"; `validate` resolves "drafts with the same partners".
TEST_CASE("a draft is taken by its literal name, and checked with its partners otherwise") {
  const Files draft = {{"profiles-src/process/fine.yaml", "status: draft\n"}};
  Shelf globbed(workshop(one_set("{ machine: wren, material: \"*\", process: \"*\" }"), draft));
  CHECK(globbed.taken() == "wren/pla/fast wren/tpu/fast");
  CHECK(globbed.drafts() == "wren/pla/fine wren/tpu/fine");
  Shelf named(workshop(one_set("{ machine: wren, material: \"*\", process: [\"*\", fine] }"), draft));
  CHECK(named.taken() == "wren/pla/fast wren/pla/fine wren/tpu/fast wren/tpu/fine");
  CHECK(named.drafts() == "");
}

// Resolution: "Its status is the lowest of its own three fragments."
TEST_CASE("the status of a profile is the lowest of its three fragments") {
  Shelf world(workshop(one_set("{ machine: \"*\", material: pla, process: [fast, fine] }"), {{"profiles-src/process/fine.yaml", "status: draft\n"}}));
  auto status = [&](std::string_view machine, std::string_view process) { return name_of(triple_status(world.tree, world.triple(machine, "pla", process))); };
  CHECK(status("heron+0.4", "fast") == "stable");
  CHECK(status("wren", "fast") == "beta");
  CHECK(status("heron+0.4", "fine") == "draft");
}

// Resolution: "the highest among all fragments in its three linearisations and the lowest set that takes it".
TEST_CASE("the tier of a profile is the highest of its fragments and the lowest of its sets") {
  const std::string plan = "sets:\n  starter: { tier: free, take: [ { machine: \"*\", material: pla, process: fast } ] }\n  whole: { tier: supporter, take: [ {} ] }\n";
  Shelf world(workshop(plan, {{"profiles-src/machine/wren.yaml", "extends: paid\n"}, {"profiles-src/machine/paid.yaml", "abstract: true\ntier: supporter\n"}}));
  CHECK(world.said() == "");
  auto tier = [&](std::string_view machine, std::string_view material, std::string_view process) {
    Triple triple = world.triple(machine, material, process);
    for (const Selected& each : world.selection.profiles) {
      if (each.triple == triple) return std::string(name_of(each.tier));
    }
    return std::string("not taken");
  };
  CHECK(tier("heron+0.4", "pla", "fast") == "free");
  CHECK(tier("heron+0.4", "tpu", "fast") == "supporter");
  CHECK(tier("wren", "pla", "fast") == "supporter");
  CHECK(world.selection.profiles.size() == 12);
}

// Resolution: "A glob in a free set takes free profiles alone; a supporter triple spelled out there is an error that names the fragment".
TEST_CASE("a free set takes free profiles alone") {
  const Files paid = {{"profiles-src/machine/wren.yaml", "extends: paid\n"}, {"profiles-src/machine/paid.yaml", "abstract: true\ntier: supporter\n"}};
  Shelf globbed(workshop(one_set("{ machine: \"*\", material: pla, process: fast }"), paid));
  CHECK(globbed.taken() == "heron+0.4/pla/fast heron+0.6/pla/fast");
  CHECK(globbed.said() == "");
  Shelf named(workshop(one_set("{ machine: wren, material: pla, process: fast }"), paid));
  CHECK(named.taken() == "");
  CHECK(describe(named.report().code).name == "tier-conflict");
  CHECK(named.report().message.find("machine/paid") != std::string::npos);
}

TEST_CASE("a profile that several sets or entries take stands once, with all its sets") {
  Shelf world(workshop("sets:\n  a: { tier: supporter, take: [ { machine: wren, material: pla, process: fast }, { machine: \"w*\", material: pla, process: fast } ] }\n  b: { take: [ { machine: wren, material: pla, process: fast } ] }\n"));
  REQUIRE(world.selection.profiles.size() == 1);
  CHECK(world.selection.profiles[0].sets == std::vector<std::uint32_t>{0, 1});
  CHECK(world.selection.profiles[0].tier == Tier::free);
}

TEST_CASE("one triple's place in the plan is what the whole selection gives it") {
  Shelf world(workshop("sets:\n  a: { tier: free, take: [ { machine: \"heron+*\", material: pla } ], leave: [ { process: fine } ] }\n  b: { tier: supporter, take: [ {} ] }\n"));
  REQUIRE(world.selection.profiles.size() == 12);
  for (const Selected& each : world.selection.profiles) {
    CAPTURE(profile_id(world.tree, each.triple));
    Selected alone = place_in_plan(world.tree, each.triple);
    CHECK(alone.sets == each.sets);
    CHECK(alone.tier == each.tier);
    CHECK(alone.status == each.status);
  }
}

TEST_CASE("to find out which triples fit may take so much, and no more") {
  std::string sum = "nozzle.bore";
  for (int i = 0; i < 250; ++i) sum += " + 1 mm";
  std::string long_sum = fmt::format("({}) + ({})", sum, sum);
  std::string process = fmt::format("title: Fast\nfits: {{ where: \"{} > 1 mm\" }}\n", long_sum);
  World world(workshop("", {{"profiles-src/process/fast.yaml", process}}));
  Diagnostics enough, few;
  CHECK(select_profiles(world.tree, enough, 40).profiles.size() == 12);
  CHECK(test::told(enough, world.sources) == "");
  select_profiles(world.tree, few, 13);  // as many triples as there are, but not the operations
  CHECK(test::told(few, world.sources) == "too-heavy");
}

}
