#include "check/check.h"

#include "../support.h"

using namespace bindery;
using test::World;

namespace {

struct Checked : World {
  explicit Checked(const test::Files& files) : World(files) {
    REQUIRE(said() == "");
    Resolver::Axes axes;
    Profile whole = resolver().resolve(triple(), diagnostics, &axes);
    check_profile(tree, whole, axes, diagnostics);
    diagnostics.settle();
  }
  Checked(std::string machine, std::string material = "", std::string process = "", const test::Files& more = {}) : Checked(test::small_tree(std::move(machine), std::move(material), std::move(process), more)) {}
  std::string pointed() const { return test::pointed(diagnostics, sources); }
};

test::Files with_rule(std::string_view rule) { return {{"schema/rules.yaml", fmt::format("rules:\n  the-rule: {{ {} }}\n", rule)}}; }

}  // namespace

TEST_SUITE("check/check") {

TEST_CASE("a value outside its range is an error, one outside the usual range a warning") {
  CHECK(Checked("").pointed() == "");
  CHECK(Checked("", "", "settings: { layer.height: 0.02 mm }\n").pointed() == "range-exceeded: 0.02 mm");
  CHECK(Checked("", "", "settings: { layer.height: 1.5 mm }\n").pointed() == "range-exceeded: 1.5 mm");
  Checked untypical("", "", "settings: { layer.height: 0.6 mm }\n");
  CHECK(untypical.pointed() == "range-untypical: 0.6 mm");
  CHECK_FALSE(untypical.diagnostics.any_errors());
}

TEST_CASE("the ends of a range belong to it") {
  CHECK(Checked("", "", "settings: { layer.height: 0.1 mm }\n").pointed() == "");
  CHECK(Checked("", "", "settings: { layer.height: 0.4 mm }\n").pointed() == "");
  CHECK(Checked("", "", "settings: { layer.height: { calc: 0.1 mm + 0.3 mm } }\n").pointed() == "");
  CHECK(Checked("", "", "settings: { layer.height: { calc: 3 * 0.1 mm - 0.2 mm } }\n").pointed() == "");  // 0.10000000000000003 in binary
}

// Resolution: "then caps, which are recorded; then the range".
TEST_CASE("the range is tested after the caps") {
  CHECK(Checked("", "", "settings: { wall.speed: 5000 mm/s }\nlimits: { wall.speed: { at_most: 900 mm/s } }\n").pointed() == "");
  CHECK(Checked("", "", "settings: { wall.speed: 5000 mm/s }\n").pointed() == "range-exceeded: 5000 mm/s");
}

TEST_CASE("a required setting without a value is reported at the fragment that should say it") {
  const test::Files required = {{"schema/required.yaml", "settings: { build.x: { kinds: [machine], unit: mm, default: none, required: true } }\n"}};
  Checked lacking("title: M\n", "", "", required);
  CHECK(lacking.said() == "setting-required m.yaml:1:1");
  CHECK(lacking.report().message.find("build.x") != std::string::npos);
  CHECK(Checked("settings: { build.x: 200 mm }\n", "", "", required).pointed() == "");
}

TEST_CASE("a rule that does not hold says its words with the values") {
  Checked world("settings: { nozzle.bore: 0.2 mm }\n", "", "", with_rule("assert: layer.height <= 0.8 * nozzle.bore, severity: warning, say: \"layer ${layer.height} in a bore of ${nozzle.bore}\", help: thinner layers, source: common practice"));
  const Diagnostic& report = world.report();
  CHECK(describe(report.code).name == "rule-broken");
  CHECK(report.severity == Severity::warning);
  CHECK(report.rule == "the-rule");
  CHECK(report.message == "layer 0.2 mm in a bore of 0.2 mm");
  CHECK(report.help == "thinner layers");
  CHECK(report.profile == "m/p/q");
}

TEST_CASE("a rule points at the value of the latest axis that it reads") {
  const std::string rule = "assert: wall.count < travel.speed in mm/s, say: too many";
  CHECK(Checked("settings: { travel.speed: 2 mm/s }\n", "", "", with_rule(rule)).pointed() == "rule-broken: 2 mm/s");
  CHECK(Checked("settings: { travel.speed: 2 mm/s }\n", "", "settings: { wall.count: 4 }\n", with_rule(rule)).pointed() == "rule-broken: 4");
  CHECK(Checked("", "", "", with_rule("assert: wall.count > 5, say: too few")).pointed() == "rule-broken: the-rule");
}

TEST_CASE("a rule that holds says nothing") { CHECK(Checked("", "", "", with_rule("assert: wall.count == 3, say: x")).pointed() == ""); }

// The language: "A rule that reads an unset setting does not apply".
TEST_CASE("a rule that reads an unset setting does not apply") {
  CHECK(Checked("", "", "", with_rule("assert: wipe.length > 1 mm, say: x")).pointed() == "");
  CHECK(Checked("", "", "", with_rule("assert: not (wipe.length > 1 mm), say: x")).pointed() == "");
  CHECK(Checked("settings: { wipe.length: 0 mm }\n", "", "", with_rule("assert: wipe.length > 1 mm, say: x")).pointed() == "rule-broken: 0 mm");
  CHECK(Checked("", "", "", with_rule("assert: set(wipe.length), say: x")).pointed() == "rule-broken: the-rule");
}

TEST_CASE("a rule that cannot be computed is an error") {
  CHECK(Checked("settings: { wall.count: 0 }\n", "", "", with_rule("assert: 1 / wall.count > 0, say: x")).pointed() == "formula-value: 1 / wall.count");
}

TEST_CASE("what failed before is not judged again") {
  World world(test::small_tree("settings: { wall.speed: { calc: 1 mm / (0 * 1 s) } }\n", "", "", with_rule("assert: wall.speed > 1 mm/s, say: x")));
  Resolver::Axes axes;
  Profile broken = world.resolver().resolve(world.triple(), world.diagnostics, &axes);
  check_profile(world.tree, broken, axes, world.diagnostics);
  CHECK(world.diagnostics.items().size() == 1);
}

TEST_CASE("a whole selection is checked with one report a cause, on any number of threads") {
  test::Files files = test::small_tree("", "", "settings: { layer.height: 1.5 mm }\n");
  for (int i = 0; i < 150; ++i) files[fmt::format("profiles-src/machine/x{:03}.yaml", i)] = "title: x\n";
  World world(files);
  Selection selection = select_profiles(world.tree, world.diagnostics);
  CHECK(selection.profiles.size() == 151);
  for (unsigned jobs : {1u, 4u}) {
    Diagnostics out;
    check_selection(world.tree, selection, jobs, out);
    out.settle();
    REQUIRE(out.items().size() == 1);
    CHECK(describe(out.items()[0].code).name == "range-exceeded");
    CHECK(out.items()[0].profiles == 151);
    CHECK(out.items()[0].profile == "m/p/q");
  }
}

TEST_CASE("a value is written as the language writes it") {
  World world(test::small_tree("settings: { fan.duty: 12.5 %, nozzle.bore: 0.25 mm }\n"));
  CHECK(world.value("fan.duty") == "12.5 %");
  CHECK(world.value("nozzle.bore") == "0.25 mm");
  CHECK(world.value("heat.nozzle") == "210 degC");
  CHECK(world.value("wall.count") == "3");
  CHECK(world.value("spiral.on") == "false");
  CHECK(world.value("seam.place") == "rear");
  CHECK(world.value("order.words") == "[inner, outer]");
  CHECK(world.value("wipe.length") == "unset");
}

TEST_CASE("a sink that counts what it will leave out tells the same as one that keeps all") {
  std::uint32_t seed = 1;
  for (std::size_t reports : {3, 6, 40, 200}) {
    Diagnostics whole, counting(5);
    std::size_t skipped = 0;
    for (std::uint32_t i = 0; i < reports; ++i) {
      seed = seed * 1664525u + 1013904223u;
      auto severity = static_cast<Severity>((seed >> 16) % 3);
      Span span{0, i, i + 1};
      whole.add(Code::rule_broken, severity, span, fmt::format("report {}", i));
      if (i % 2 == 0 && counting.skip(severity)) ++skipped;
      else counting.add(Code::rule_broken, severity, span, fmt::format("report {}", i)).with_help("a cure").with_related(span, "there");
    }
    CHECK(counting.items().size() <= 12);
    CHECK((skipped > 0) == (reports >= 40));
    for (Severity severity : {Severity::error, Severity::warning, Severity::note}) CHECK(counting.count(severity) == whole.count(severity));
    whole.shorten(0, 5);
    counting.shorten(0, 5);
    REQUIRE(counting.items().size() == whole.items().size());
    for (std::size_t i = 0; i < whole.items().size(); ++i) {
      CHECK(counting.items()[i].message == whole.items()[i].message);
      CHECK(counting.items()[i].severity == whole.items()[i].severity);
      CHECK(counting.items()[i].span == whole.items()[i].span);
    }
  }
}

TEST_CASE("sinks that are folded one by one tell the same as all at once") {
  Diagnostics folded, joined;
  for (std::uint32_t profile = 0; profile < 400; ++profile) {
    for (Diagnostics* sink : {&folded, &joined}) {
      Diagnostics own;
      for (std::uint32_t place = 0; place < 60; ++place) {
        Diagnostic& item = own.add(Code::range_exceeded, {0, place % 3 == 0 ? profile : place, 900}, "too large");
        item.profile = fmt::format("m/p/q{:03}", profile);
        item.profiles = 1;
      }
      own.settle();
      sink == &folded ? sink->fold(std::move(own)) : sink->join(std::move(own));
    }
  }
  CHECK(folded.items().size() < joined.items().size() / 2);
  folded.settle();
  joined.settle();
  REQUIRE(folded.items().size() == joined.items().size());
  for (std::size_t i = 0; i < joined.items().size(); ++i) {
    CHECK(folded.items()[i].profiles == joined.items()[i].profiles);
    CHECK(folded.items()[i].profile == joined.items()[i].profile);
  }
}

TEST_CASE("a warning by its rule leaves no place that an error needs") {
  std::string rules = "rules:\n";
  for (int i = 0; i < 150; ++i) rules += fmt::format("  a{}: {{ assert: 1 > 2, severity: warning, say: x }}\n", i);
  rules += "  z: { assert: 1 > 2, say: x }\n";
  World world(test::small_tree("", "", "", {{"schema/rules.yaml", rules}}));
  Selection selection = select_profiles(world.tree, world.diagnostics);
  check_selection(world.tree, selection, 1, world.diagnostics);
  CHECK(world.diagnostics.count(Severity::error) == 1);
  CHECK(world.diagnostics.items().size() == 101);
}

TEST_CASE("what rules compute is counted") {
  World world(test::small_tree("", "", "", with_rule("assert: 1 + 2 + 3 == 6, say: x")));
  Resolver::Axes axes;
  Profile whole = world.resolver().resolve(world.triple(), world.diagnostics, &axes);
  std::uint64_t work = 0;
  check_profile(world.tree, whole, axes, world.diagnostics, &work);
  CHECK(work == 7);
}

}
