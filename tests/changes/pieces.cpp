// What counts as an edit of a fragment. Release contract: "Fragment edits are compared by meaning of the text's
// structure: comments, order of keys, CRLF, file mode, nested or dotted keys are no edits."
#include "../comparison.h"

using namespace bindery;

namespace {

// Two versions of a file, and the edits between their fragments of one name.
class Versions {
 public:
  Versions(std::string before, std::string after) {
    for (std::size_t side : {0u, 1u}) {
      file_[side] = {.path = "profiles-src/process/q.yaml", .text = side == 0 ? std::move(before) : std::move(after)};
      Diagnostics out;
      read_[side] = read_fragment(0, file_[side], out);
      CHECK_MESSAGE(out.items().empty(), file_[side].text);
    }
  }
  Versions(const Versions&) = delete;
  Versions& operator=(const Versions&) = delete;

  FragmentEdits compare(std::string_view name = "q") const { return compare_fragments(find(0, name), find(1, name)); }

 private:
  const Fragment* find(std::size_t side, std::string_view name) const {
    for (const Fragment& each : read_[side].fragments) {
      if (each.name == name) return &each;
    }
    return nullptr;
  }

  std::array<SourceFile, 2> file_;
  std::array<FragmentFile, 2> read_;
};

// "settings travel.speed: 1 -> 2", a line each, as they come; "[...]" tells the block's condition.
std::string edits(std::string before, std::string after, std::string_view name = "q") {
  std::string out;
  for (const PieceEdit& piece : Versions(std::move(before), std::move(after)).compare(name).pieces) {
    std::string condition = piece.condition.empty() ? "" : fmt::format(" [{}]", piece.condition);
    out += fmt::format("{}{} {}{}: {} -> {}", out.empty() ? "" : "\n", name_of(piece.part), piece.name, condition,
                       piece.before, piece.after);
  }
  return out;
}

// The pairs of blocks: "1-1 2-3".
std::string blocks(std::string before, std::string after) {
  std::string out;
  for (const auto& [old, now] : Versions(std::move(before), std::move(after)).compare().blocks)
    out += fmt::format("{}{}-{}", out.empty() ? "" : " ", old, now);
  return out;
}

std::string block(std::string_view material, std::string_view value) {
  return fmt::format("  - if: {{ material: {} }}\n    settings: {{ a.b: {} }}\n", material, value);
}

}  // namespace

TEST_SUITE("changes/pieces") {

TEST_CASE("a layout is no edit") {
  const std::string plain = "title: Q\nsettings:\n  wall.speed: 60 mm/s\n  wall.count: 3\n";
  CHECK(edits(plain, plain) == "");
  CHECK(edits(plain, "# a comment\ntitle: Q # another\n\nsettings:\n  wall.speed: 60 mm/s\n  wall.count: 3\n") == "");
  CHECK(edits(plain, "settings:\n  wall.count: 3\n  wall.speed: 60 mm/s\ntitle: Q\n") == "");
  CHECK(edits(plain, "title: Q\r\nsettings:\r\n  wall.speed: 60 mm/s\r\n  wall.count: 3\r\n") == "");
  CHECK(edits(plain, "{ title: Q, settings: { wall: { speed: 60 mm/s, count: 3 } } }\n") == "");
  CHECK(edits(plain, "title: \"Q\"\nsettings: { wall.speed: '60 mm/s', wall: { count: 3 } }") == "");
}

TEST_CASE("the layout of an operation, a condition or a script is no edit") {
  CHECK(edits("settings: { a.b: { add: 5 K } }\n", "settings:\n  a:\n    b:\n      add: 5 K\n") == "");
  CHECK(edits("settings: { a.b: [x, y] }\n", "settings:\n  a.b:\n    - x\n    - y\n") == "");
  CHECK(edits("when:\n  - if: { machine: m, material: [p] }\n    settings: { a.b: 1 }\n",
              "when:\n  - settings: { a.b: 1 }\n    if:\n      material: p\n      machine: [m]\n") == "");
  CHECK(edits("scripts: { start: \"G28\\nM84\\n\" }\n", "scripts:\n  start: |\n    G28\n    M84\n") == "");
}

TEST_CASE("the order of keys in a limit or a script is no edit") {
  CHECK(edits("limits: { a.b: { at_least: 1, at_most: 2 } }\n", "limits: { a.b: { at_most: 2, at_least: 1 } }\n") ==
        "");
  CHECK(edits("scripts: { end: { before: A, after: B } }\n", "scripts: { end: { after: B, before: A } }\n") == "");
}

TEST_CASE("a script that is called none is not the end of one") {
  CHECK(edits("scripts: { end: \"none\" }\n", "scripts: { end: none }\n") != "");
}

// "`150 mm/s` against `15 cm/s` is an edit that changes nothing resolved."
TEST_CASE("another way to write a value is an edit") {
  CHECK(edits("settings: { a.b: 150 mm/s }\n", "settings: { a.b: 15 cm/s }\n") == "settings a.b: 150 mm/s -> 15 cm/s");
}

TEST_CASE("a value that was edited, came or went is one edit each") {
  CHECK(edits("settings: { a.b: 1, a.c: 2, a.d: 3 }\n", "settings: { a.b: 1, a.c: 4, a.e: 5 }\n") ==
        "settings a.c: 2 -> 4\nsettings a.d: 3 -> \nsettings a.e:  -> 5");
}

TEST_CASE("an operation is written as the language writes it") {
  CHECK(
      edits(
          "settings: { a.b: 1, a.c: [x], a.d: { add: 1 }, a.e: { calc: a.b * 2 } }\n",
          "settings: { a.b: { unset: true }, a.c: { append: [y, z] }, a.d: { scale: 2 }, a.e: { calc: a.b * 3 } }\n") ==
      "settings a.b: 1 -> { unset: true }\nsettings a.c: [x] -> { append: [y, z] }\nsettings a.d: { add: 1 } -> { "
      "scale: 2 }\nsettings a.e: { calc: a.b * 2 } -> { calc: a.b * 3 }");
  CHECK(edits("settings: { a.c: { append: [x] } }\n", "settings: { a.c: { remove: [x] } }\n") ==
        "settings a.c: { append: [x] } -> { remove: [x] }");
}

TEST_CASE("each part of a header is an edit of its own") {
  CHECK(edits("title: Q\nextends: a\ntier: free\nstatus: beta\nfits: { material: p }\n",
              "title: R\nabout: New.\nauthors: [A. Contributor]\nextends: [b, a]\nabstract: true\ntier: "
              "supporter\nstatus: stable\nreplaces: [o]\nlocked: [a.b]\nfits: { material: p, where: a.b > 1 }\n") ==
        "words title: Q -> R\nwords about:  -> New.\nwords authors:  -> [A. Contributor]\nextends extends: [a] -> [b, "
        "a]\nabstract abstract:  -> true\ntier tier: free -> supporter\n"
        "status status: beta -> stable\nreplaces replaces:  -> [o]\nlocked locked:  -> [a.b]\nfits fits: material: [p] "
        "-> material: [p], where: a.b > 1");
}

TEST_CASE("adjustments, limits and scripts are edits by their key, pattern and slot") {
  CHECK(edits("adjust: { a.b: { add: 1 } }\nlimits: { \"*.c\": { at_most: 1 } }\nscripts: { start: G28 }\n",
              "adjust: { a.b: { add: 2 } }\nlimits: { \"*.c\": none }\nscripts: { end: M84 }\n") ==
        "adjust a.b: { add: 1 } -> { add: 2 }\nlimits *.c: { at_most: 1 } -> none\nscripts end:  -> M84\nscripts "
        "start: G28 -> ");
}

TEST_CASE("a limit tells its sides, and whether it refuses") {
  CHECK(edits("limits: { a.b: { at_most: 1 } }\n", "limits: { a.b: { at_most: 1, else: refuse } }\n") ==
        "limits a.b: { at_most: 1 } -> { at_most: 1, else: refuse }");
  CHECK(edits("limits: { a.b: { at_least: none } }\n", "limits: { a.b: { at_least: { calc: c.d } } }\n") ==
        "limits a.b: { at_least: none } -> { at_least: { calc: c.d } }");
  CHECK(edits("limits: { a.b: { among: [x] } }\n", "limits: { a.b: { among: [x, y] } }\n") ==
        "limits a.b: { among: [x] } -> { among: [x, y] }");
  CHECK(edits("limits: { a.b: { at_most: 1 } }\n", "limits: { a.b: { at_most: 1, else: cap } }\n") ==
        "");  // the default, said aloud
}

TEST_CASE("the same value under settings and under adjust are two pieces") {
  CHECK(edits("settings: { a.b: { add: 1 } }\n", "adjust: { a.b: { add: 1 } }\n") ==
        "settings a.b: { add: 1 } -> \nadjust a.b:  -> { add: 1 }");
}

TEST_CASE("a fragment that came or went is one edit, whatever it holds") {
  CHECK(edits("title: Q\n", "title: Q\nfittings: { \"a\": { settings: { a.b: 1 } } }\n", "q+a") ==
        "fragment fragment:  -> there");
  CHECK(edits("title: Q\nfittings: { \"a\": { settings: { a.b: 1 } } }\n", "title: Q\n", "q+a") ==
        "fragment fragment: there -> ");
}

TEST_CASE("an edit of a fitting is none of its base") {
  const std::string before = "settings: { a.b: 1 }\nfittings: { \"x\": { settings: { a.c: 1 } } }\n",
                    after = "settings: { a.b: 1 }\nfittings: { \"x\": { settings: { a.c: 2 } } }\n";
  CHECK(edits(before, after) == "");
  CHECK(edits(before, after, "q+x") == "settings a.c: 1 -> 2");
}

TEST_CASE("blocks with equal conditions are each other's versions, in order") {
  CHECK(blocks("when:\n" + block("p", "1") + block("q", "2"), "when:\n" + block("p", "3") + block("q", "2")) ==
        "1-1 2-2");
  CHECK(blocks("when:\n" + block("p", "1"), "when:\n" + block("q", "2") + block("p", "1")) == "1-2");
  CHECK(blocks("when:\n" + block("p", "1") + block("q", "2") + block("r", "3"),
               "when:\n" + block("p", "1") + block("r", "3")) == "1-1 3-2");
}

TEST_CASE("blocks with other conditions pair up by place where both sides have as many") {
  CHECK(blocks("when:\n" + block("p", "1") + block("q", "2") + block("r", "3"),
               "when:\n" + block("p", "1") + block("s", "2") + block("r", "3")) == "1-1 2-2 3-3");
  CHECK(edits("when:\n" + block("p", "1"), "when:\n" + block("s", "1")) ==
        "when when [material: [s]]: material: [p] -> material: [s]");
}

TEST_CASE("a block that came or went is told by its pieces, with its condition") {
  CHECK(edits("when:\n" + block("p", "1"), "when:\n" + block("p", "1") + block("q", "2")) ==
        "settings a.b [material: [q]]:  -> 2");
  CHECK(edits("when:\n" + block("p", "1") + block("q", "2"), "when:\n" + block("q", "2")) ==
        "settings a.b [material: [p]]: 1 -> ");
}

TEST_CASE("a piece tells the layer that it stands in on each side") {
  Versions versions("when:\n" + block("p", "1"), "when:\n" + block("q", "5") + block("p", "2"));
  FragmentEdits found = versions.compare();
  REQUIRE(found.pieces.size() == 2);
  CHECK(found.pieces[0].condition == "material: [p]");
  CHECK(found.pieces[0].layer == std::array<std::uint32_t, 2>{1, 2});
  CHECK(found.pieces[1].condition == "material: [q]");
  CHECK(found.pieces[1].layer[1] == 1);
}

TEST_CASE("an edit inside a block that moved down is the block's") {
  CHECK(edits("when:\n" + block("p", "1"), "when:\n" + block("q", "5") + block("p", "2")) ==
        "settings a.b [material: [p]]: 1 -> 2\nsettings a.b [material: [q]]:  -> 5");
}

}
