// Why profiles came, went or moved.
#include "../comparison.h"

using namespace bindery;
using test::Files;
using test::small_tree;
using test::Twins;

namespace {

// What is told of profiles that came, went or moved: "added: m/p/r by process/r fragment fragment".
std::string places(const Files& before, const Files& after, Tier audience = Tier::supporter) {
  Changes changes = Twins(before, after).changes({audience, false});
  std::vector<std::string> out;
  for (const SetChange& set : changes.sets) {
    std::vector<std::uint32_t> moved;
    for (std::uint32_t each : set.moved) moved.push_back(changes.moved[each].profile);
    for (const auto& [word, list] :
         {std::pair{"added", set.added}, std::pair{"removed", set.removed}, std::pair{"moved", moved}}) {
      if (!list.empty())
        out.push_back(
            fmt::format("{}: {} by {}", word, test::ids_of(changes, list), test::causes_line(changes, set.causes)));
    }
  }
  std::sort(out.begin(), out.end());
  return fmt::format("{}", fmt::join(out, "\n"));
}

Files with_process(std::string_view name, std::string_view text) {
  return small_tree("", "", "", {{fmt::format("profiles-src/process/{}.yaml", name), std::string(text)}});
}

constexpr const char* plan_of_all = "sets:\n  all: { tier: free, take: [ {} ] }\n";
constexpr const char* plan_without_q = "sets:\n  all: { tier: free, take: [ {} ], leave: [ { process: q } ] }\n";

// An abstract machine without a word, which a machine may begin to extend.
const Files idle_base = {{"profiles-src/machine/base.yaml", "abstract: true\n"}};

Files with_plan(std::string_view plan, std::string machine, std::string process = "title: Q\n") {
  Files more = idle_base;
  more["release/plan.yaml"] = plan;
  return small_tree(std::move(machine), "", std::move(process), more);
}

}  // namespace

TEST_SUITE("changes/places") {

TEST_CASE("a fragment that came or went is the cause of its profiles") {
  CHECK(places(small_tree(), with_process("r", "title: R\n")) == "added: m/p/r by process/r fragment fragment");
  CHECK(places(with_process("r", "title: R\n"), small_tree()) == "removed: m/p/r by process/r fragment fragment");
}

TEST_CASE("`fits` that was edited is the cause of what it lets in and keeps out") {
  const Files all = small_tree("", "title: P\n"),
              none = small_tree("", "title: P\nfits: { process: [\"*\", \"!q\"] }\n");
  CHECK(places(all, none) == "removed: m/p/q by material/p fits fits");
  CHECK(places(none, all) == "added: m/p/q by material/p fits fits");
}

TEST_CASE("a status is the cause of a move, and of a profile that retires or comes back") {
  auto tree = [](std::string_view status) {
    return small_tree("status: stable\n", "status: stable\n", fmt::format("status: {}\n", status));
  };
  CHECK(places(tree("beta"), tree("stable")) == "moved: m/p/q by process/q status status");
  CHECK(places(tree("beta"), tree("retired")) == "removed: m/p/q by process/q status status");
  CHECK(places(tree("draft"), tree("beta")) == "added: m/p/q by process/q status status");
}

TEST_CASE("a tier that changed is the cause of a move") {
  const Files free = small_tree("", "", "title: Q\n"), paid = small_tree("", "", "title: Q\ntier: supporter\n");
  CHECK(places(free, paid) == "moved: m/p/q by process/q tier tier");
  CHECK(places(free, paid, Tier::free) == "removed: m/p/q by process/q fragment fragment");
}

TEST_CASE("a fragment that is no longer abstract is the cause of its profiles") {
  CHECK(places(small_tree("", "", "title: Q\nabstract: true\n"), small_tree("", "", "title: Q\n")) ==
        "added: m/p/q by process/q abstract abstract");
}

TEST_CASE("a set of the plan is the cause of what it takes and leaves") {
  auto tree = [](std::string_view leave) {
    return small_tree(
        "", "", "", {{"release/plan.yaml", fmt::format("sets:\n  all: {{ tier: free, take: [ {{}} ]{} }}\n", leave)}});
  };
  CHECK(places(tree(", leave: [ { process: q } ]"), tree("")) == "added: m/p/q by plan set all");
  CHECK(places(tree(""), tree(", leave: [ { process: q } ]")) == "removed: m/p/q by plan set all");
}

TEST_CASE("a rename alone is neither added, removed nor moved") {
  Files after = small_tree("", "", "", {{"profiles-src/material/new.yaml", "replaces: [p]\n"}});
  after.erase("profiles-src/material/p.yaml");
  CHECK(places(small_tree(), after) == "");
}

TEST_CASE("a fact by which a triple no longer fits is the cause") {
  auto tree = [](std::string_view bore) {
    return small_tree(fmt::format("settings: {{ nozzle.bore: {} }}\n", bore),
                      "fits: { where: nozzle.bore > 0.5 mm }\n");
  };
  CHECK(places(tree("0.6 mm"), tree("0.4 mm")) == "removed: m/p/q by machine/m settings nozzle.bore");
  CHECK(places(tree("0.4 mm"), tree("0.6 mm")) == "added: m/p/q by machine/m settings nozzle.bore");
}

TEST_CASE("the plan is the cause of what it leaves, whatever else was edited") {
  CHECK(places(with_plan(plan_of_all, "title: M\n"), with_plan(plan_without_q, "title: M\nextends: base\n")) ==
        "removed: m/p/q by plan set all");
}

TEST_CASE("what was edited beside and decides nothing is no cause") {
  CHECK(places(with_plan(plan_of_all, "title: M\n"),
               with_plan(plan_of_all, "title: M\nextends: base\n", "title: Q\nstatus: retired\n")) ==
        "removed: m/p/q by process/q status status");
  CHECK(places(small_tree("", "title: P\nfits: { machine: m }\n", "title: Q\n"),
               small_tree("", "title: P\nfits: { machine: [m, n*] }\n", "title: Q\ntier: supporter\n")) ==
        "moved: m/p/q by process/q tier tier");
}

// Resolution: "Its status is the lowest of its own three fragments."
TEST_CASE("a status that is not the lowest is no cause") {
  auto tree = [](std::string_view machine, std::string_view material) {
    return small_tree(fmt::format("status: {}\n", machine), fmt::format("status: {}\n", material), "status: stable\n",
                      {{"release/plan.yaml", "sets:\n  all: { tier: free, take: [ { machine: m } ] }\n"}});
  };
  CHECK(places(tree("stable", "stable"), tree("draft", "beta")) == "moved: m/p/q by machine/m status status");
  CHECK(places(tree("beta", "beta"), tree("stable", "stable")) ==
        "moved: m/p/q by machine/m status status + material/p status status");
}

TEST_CASE("the tier of an ancestor, and the tree's default tier, are causes") {
  auto below = [](std::string_view tier) {
    return small_tree("extends: base\n", "", "",
                      {{"profiles-src/machine/base.yaml", fmt::format("abstract: true\ntier: {}\n", tier)}});
  };
  CHECK(places(below("free"), below("supporter")) == "moved: m/p/q by machine/base tier tier");
  auto standard = [](std::string_view tier) {
    return small_tree("", "", "",
                      {{"profiles-src/bindery.yaml",
                        fmt::format("publisher: Example Workshop\nlicence: CC0-1.0\ndefault_tier: {}\n", tier)}});
  };
  CHECK(places(standard("free"), standard("supporter")) == "moved: m/p/q by plan default_tier default_tier");
}

TEST_CASE("a fitting's status is its base's unless it says its own") {
  auto tree = [](std::string_view base, std::string_view fitting) {
    return small_tree(fmt::format("status: {}\nfittings: {{ \"a\": {{ {} }} }}\n", base, fitting), "status: stable\n",
                      "status: stable\n");
  };
  CHECK(places(tree("beta", ""), tree("stable", "")) == "moved: m+a/p/q by machine/m status status");
  CHECK(places(tree("stable", ""), tree("stable", "status: beta")) == "moved: m+a/p/q by machine/m+a status status");
}

}
