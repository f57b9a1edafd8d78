#include "changes/pairs.h"

#include "../comparison.h"

using namespace bindery;
using test::Files;
using test::small_tree;
using test::Twins;

namespace {

// "m/p/q" for a pair of one name, "m/p/q > m/p/r" for a rename, "- m/p/q" and "+ m/p/q", in the order that they come.
std::string pairs(const Files& before, const Files& after, Tier audience = Tier::supporter) {
  Twins twins(before, after);
  std::string out;
  for (const Pair& pair : pair_profiles(twins.side(0), twins.side(1), twins.map, audience)) {
    std::string old = pair.old ? profile_id(twins.tree[0], twins.selection[0].profiles[*pair.old].triple) : "";
    std::string now = pair.now ? profile_id(twins.tree[1], twins.selection[1].profiles[*pair.now].triple) : "";
    out += out.empty() ? "" : "; ";
    out += old == now ? old : old.empty() ? "+ " + now : now.empty() ? "- " + old : old + " > " + now;
  }
  return out;
}

// What is told of profiles that came, went or moved: "added: m/p/r by process/r fragment fragment".
std::string places(const Files& before, const Files& after, Tier audience = Tier::supporter) {
  Changes changes = Twins(before, after).changes({audience, false});
  std::vector<std::string> out;
  for (const SetChange& set : changes.sets) {
    std::vector<std::uint32_t> moved;
    for (std::uint32_t each : set.moved) moved.push_back(changes.moved[each].profile);
    for (const auto& [word, list] : {std::pair{"added", set.added}, std::pair{"removed", set.removed}, std::pair{"moved", moved}}) {
      if (!list.empty()) out.push_back(fmt::format("{}: {} by {}", word, test::ids_of(changes, list), test::causes_line(changes, set.causes)));
    }
  }
  std::sort(out.begin(), out.end());
  return fmt::format("{}", fmt::join(out, "\n"));
}

Files renamed(const Files& files, std::string_view old, std::string_view now, std::string_view text) {
  Files out = files;
  out.erase(fmt::format("profiles-src/{}.yaml", old));
  out[fmt::format("profiles-src/{}.yaml", now)] = text;
  return out;
}

Files with_process(std::string_view name, std::string_view text) { return small_tree("", "", "", {{fmt::format("profiles-src/process/{}.yaml", name), std::string(text)}}); }

}  // namespace

TEST_SUITE("changes/pairs") {

TEST_CASE("profiles of one name are a pair") { CHECK(pairs(small_tree(), small_tree("settings: { wall.count: 4 }\n")) == "m/p/q"); }

TEST_CASE("what one side alone has stands alone") {
  CHECK(pairs(small_tree(), with_process("r", "title: R\n")) == "m/p/q; + m/p/r");
  CHECK(pairs(with_process("r", "title: R\n"), small_tree()) == "m/p/q; - m/p/r");
}

TEST_CASE("`replaces` pairs the old name with the new one") {
  CHECK(pairs(small_tree(), renamed(small_tree(), "material/p", "material/new", "replaces: [p]\n")) == "m/p/q > m/new/q");
  CHECK(pairs(small_tree(), renamed(renamed(small_tree(), "material/p", "material/new", "replaces: [p]\n"), "machine/m", "machine/l", "replaces: [m]\n")) == "m/p/q > l/new/q");
}

TEST_CASE("a new name without `replaces` is another profile") {
  CHECK(pairs(small_tree(), renamed(small_tree(), "material/p", "material/new", "title: Material\n")) == "+ m/new/q; - m/p/q");
}

TEST_CASE("a profile whose partner is gone has none, though `replaces` names it") {
  CHECK(pairs(small_tree(), renamed(with_process("r", "title: R\n"), "material/p", "material/new", "replaces: [p]\nfits: { process: r }\n")) == "+ m/new/r; - m/p/q");
}

TEST_CASE("fittings follow the `replaces` of their base") {
  const Files before = small_tree("fittings: { \"a\": {}, \"b\": {} }\n");
  CHECK(pairs(before, renamed(before, "machine/m", "machine/n", "replaces: [m]\nfittings: { \"a\": {}, \"c\": {} }\n")) == "m+a/p/q > n+a/p/q; + n+c/p/q; - m+b/p/q");
}

TEST_CASE("to the free audience a supporter's profile is on no side") {
  const Files free = small_tree(), paid = small_tree("", "", "tier: supporter\n");
  CHECK(pairs(free, paid) == "m/p/q");
  CHECK(pairs(free, paid, Tier::free) == "- m/p/q");
  CHECK(pairs(paid, free, Tier::free) == "+ m/p/q");
  CHECK(pairs(paid, paid, Tier::free) == "");
}

TEST_CASE("a fragment that came or went is the cause of its profiles") {
  CHECK(places(small_tree(), with_process("r", "title: R\n")) == "added: m/p/r by process/r fragment fragment");
  CHECK(places(with_process("r", "title: R\n"), small_tree()) == "removed: m/p/r by process/r fragment fragment");
}

TEST_CASE("`fits` that was edited is the cause of what it lets in and keeps out") {
  const Files all = small_tree("", "title: P\n"), none = small_tree("", "title: P\nfits: { process: [\"*\", \"!q\"] }\n");
  CHECK(places(all, none) == "removed: m/p/q by material/p fits fits");
  CHECK(places(none, all) == "added: m/p/q by material/p fits fits");
}

TEST_CASE("a status is the cause of a move, and of a profile that retires or comes back") {
  auto tree = [](std::string_view status) { return small_tree("status: stable\n", "status: stable\n", fmt::format("status: {}\n", status)); };
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
  CHECK(places(small_tree("", "", "title: Q\nabstract: true\n"), small_tree("", "", "title: Q\n")) == "added: m/p/q by process/q abstract abstract");
}

TEST_CASE("a set of the plan is the cause of what it takes and leaves") {
  auto tree = [](std::string_view leave) { return small_tree("", "", "", {{"release/plan.yaml", fmt::format("sets:\n  all: {{ tier: free, take: [ {{}} ]{} }}\n", leave)}}); };
  CHECK(places(tree(", leave: [ { process: q } ]"), tree("")) == "added: m/p/q by plan set all");
  CHECK(places(tree(""), tree(", leave: [ { process: q } ]")) == "removed: m/p/q by plan set all");
}

TEST_CASE("a rename alone is neither added, removed nor moved") { CHECK(places(small_tree(), renamed(small_tree(), "material/p", "material/new", "replaces: [p]\n")) == ""); }

}
