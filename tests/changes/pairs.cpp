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

Files renamed(const Files& files, std::string_view old, std::string_view now, std::string_view text) {
  Files out = files;
  out.erase(fmt::format("profiles-src/{}.yaml", old));
  out[fmt::format("profiles-src/{}.yaml", now)] = text;
  return out;
}

Files with_process(std::string_view name, std::string_view text) {
  return small_tree("", "", "", {{fmt::format("profiles-src/process/{}.yaml", name), std::string(text)}});
}

}  // namespace

TEST_SUITE("changes/pairs") {

TEST_CASE("profiles of one name are a pair") {
  CHECK(pairs(small_tree(), small_tree("settings: { wall.count: 4 }\n")) == "m/p/q");
}

TEST_CASE("what one side alone has stands alone") {
  CHECK(pairs(small_tree(), with_process("r", "title: R\n")) == "m/p/q; + m/p/r");
  CHECK(pairs(with_process("r", "title: R\n"), small_tree()) == "m/p/q; - m/p/r");
}

TEST_CASE("`replaces` pairs the old name with the new one") {
  CHECK(pairs(small_tree(), renamed(small_tree(), "material/p", "material/new", "replaces: [p]\n")) ==
        "m/p/q > m/new/q");
  CHECK(pairs(small_tree(), renamed(renamed(small_tree(), "material/p", "material/new", "replaces: [p]\n"), "machine/m",
                                    "machine/l", "replaces: [m]\n")) == "m/p/q > l/new/q");
}

TEST_CASE("a new name without `replaces` is another profile") {
  CHECK(pairs(small_tree(), renamed(small_tree(), "material/p", "material/new", "title: Material\n")) ==
        "+ m/new/q; - m/p/q");
}

TEST_CASE("a profile whose partner is gone has none, though `replaces` names it") {
  CHECK(pairs(small_tree(), renamed(with_process("r", "title: R\n"), "material/p", "material/new",
                                    "replaces: [p]\nfits: { process: r }\n")) == "+ m/new/r; - m/p/q");
}

TEST_CASE("fittings follow the `replaces` of their base") {
  const Files before = small_tree("fittings: { \"a\": {}, \"b\": {} }\n");
  CHECK(
      pairs(before, renamed(before, "machine/m", "machine/n", "replaces: [m]\nfittings: { \"a\": {}, \"c\": {} }\n")) ==
      "m+a/p/q > n+a/p/q; + n+c/p/q; - m+b/p/q");
}

TEST_CASE("to the free audience a supporter's profile is on no side") {
  const Files free = small_tree(), paid = small_tree("", "", "tier: supporter\n");
  CHECK(pairs(free, paid) == "m/p/q");
  CHECK(pairs(free, paid, Tier::free) == "- m/p/q");
  CHECK(pairs(paid, free, Tier::free) == "+ m/p/q");
  CHECK(pairs(paid, paid, Tier::free) == "");
}

}
