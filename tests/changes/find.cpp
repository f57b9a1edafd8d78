// The whole comparison of two trees. Release contract: "old set minus removed, renamed, moved, with effects applied,
// plus contents of added = new set, exactly."
#include "../comparison.h"
#include "changes/published.h"

using namespace bindery;
using test::dump;
using test::Files;
using test::ids_of;
using test::small_tree;
using test::Twins;

namespace {

// Two machines (one with fittings), two materials, two processes; what differs between the sides is spread over all.
Files shop(int step) {
  const bool now = step > 0;
  Files out =
      small_tree(fmt::format("title: Heron\nstatus: stable\nsettings: {{ travel.speed: {} mm/s, flow.limit: 6 mm^3/s "
                             "}}\nscripts: {{ start: \"G28\\nM104 S${{heat.nozzle}}\" }}\n"
                             "fittings:\n  \"a\": {{ settings: {{ nozzle.bore: 0.4 mm }} }}\n  \"b\": {{ settings: {{ "
                             "nozzle.bore: {} mm }} }}\n",
                             now ? 120 : 100, now ? 0.8 : 0.6),
                 fmt::format("title: P\nstatus: stable\nsettings: {{ heat.nozzle: {} degC }}\n", now ? 225 : 220),
                 fmt::format("title: Q\nstatus: {}\nsettings: {{ layer.height: {{ calc: nozzle.bore / 2 }} }}\nlimits: "
                             "{{ \"*.speed\": {{ at_most: {} mm/s }} }}\n",
                             now ? "stable" : "beta", now ? 110 : 130));
  out[fmt::format("profiles-src/machine/{}.yaml", now ? "wren-2" : "wren")] =
      now ? "title: Wren\nreplaces: [wren]\n" : "title: Wren\n";
  out["profiles-src/material/r.yaml"] = "title: R\nscripts: { end: M84 }\n";
  if (now)
    out["profiles-src/process/fine.yaml"] =
        "title: Fine\nsettings: { layer.height: 0.1 mm, seam.place: corner }\nscripts: { pause: M0 }\n";
  else out["profiles-src/process/coarse.yaml"] = "title: Coarse\nsettings: { layer.height: 0.3 mm }\n";
  return out;
}

// What supporters have beside it, at either step.
Files with_paid(Files files, int step) {
  const bool now = step > 0;
  files["profiles-src/machine/paid.yaml"] =
      fmt::format("title: Paid\ntier: supporter\nsettings: {{ travel.speed: {} mm/s }}\n", now ? 90 : 80);
  files["profiles-src/process/dear.yaml"] = "title: Dear\ntier: supporter\n";
  if (now) files["profiles-src/material/rich.yaml"] = "title: Rich\ntier: supporter\n";
  else files["profiles-src/material/gone.yaml"] = "title: Gone\ntier: supporter\n";
  return files;
}

Published published(const Twins& twins, std::size_t side, Tier audience) {
  Diagnostics out;
  Published made = publish(twins.side(side), audience, 1, out);
  REQUIRE(out.items().empty());
  return made;
}

// A set of profiles as text, to be compared whole.
std::map<std::string, std::string> as_text(const Published& set) {
  std::map<std::string, std::string> out;
  for (const auto& [id, profile] : set.profiles) {
    std::string text = fmt::format("{} {}\n", name_of(profile.tier), name_of(profile.status));
    for (const auto& [key, value] : profile.settings)
      text += fmt::format("{} {} {}\n", key, value.json, set.settings.at(key).unit);
    for (const auto& script : profile.scripts) text += script ? "script: " + *script + "\n" : "no script\n";
    out[id] = text;
  }
  return out;
}

// The old set with the changes applied, as one who has no sources would do it.
Published applied(Published set, const Changes& changes) {
  for (const SettingName& name : changes.settings) set.settings[name.key].unit = name.unit;
  for (std::uint32_t each : changes.removed) CHECK(set.profiles.erase(changes.profiles[each].id) == 1);
  for (const auto& [old, now] : changes.renamed) {
    auto node = set.profiles.extract(changes.profiles[old].id);
    REQUIRE(!node.empty());
    node.key() = changes.profiles[now].id;
    set.profiles.insert(std::move(node));
  }
  auto profile = [&](std::uint32_t at) -> PublishedProfile& { return set.profiles.at(changes.profiles[at].id); };
  for (const Move& move : changes.moved) {
    CHECK(profile(move.profile).tier == move.old_tier);
    CHECK(profile(move.profile).status == move.old_status);
    profile(move.profile).tier = move.tier;
    profile(move.profile).status = move.status;
  }
  auto put = [&](PublishedProfile& target, std::uint32_t setting, std::uint32_t value) {
    const std::string& key = changes.settings[setting].key;
    if (changes.values[value].json == "null") target.settings.erase(key);
    else target.settings[key] = changes.values[value];
  };
  for (const Change& change : changes.changes) {
    for (const Effect& effect : change.effects) {
      auto& settings = profile(effect.profile).settings;
      auto old = settings.find(changes.settings[effect.setting].key);
      CHECK((old == settings.end() ? "null" : old->second.json) == changes.values[effect.before].json);
      put(profile(effect.profile), effect.setting, effect.after);
    }
  }
  auto text = [&](std::uint32_t at) { return at == 0 ? std::optional<std::string>() : changes.texts[at]; };
  for (const ScriptChange& change : changes.scripts) {
    for (const ScriptEffect& effect : change.effects) {
      auto& script = profile(effect.profile).scripts[static_cast<std::size_t>(effect.slot)];
      CHECK(script == text(effect.before));
      script = text(effect.after);
    }
  }
  for (const Content& content : changes.contents) {
    PublishedProfile& fresh = set.profiles[changes.profiles[content.profile].id];
    fresh.tier = content.tier;
    fresh.status = content.status;
    for (const auto& [setting, value] : content.values) put(fresh, setting, value);
    for (std::size_t slot = 0; slot < script_slots; ++slot) fresh.scripts[slot] = text(content.scripts[slot]);
  }
  return set;
}

}  // namespace

TEST_SUITE("changes/find") {

TEST_CASE("a tree differs from itself in nothing") {
  Changes changes = Twins(shop(0), shop(0)).changes({Tier::supporter, true});
  CHECK(changes.empty());
  CHECK(changes.idle.empty());
  CHECK(changes.contents.empty());
}

TEST_CASE("what came, went and was renamed is told by id") {
  Changes changes = Twins(shop(0), shop(1)).changes();
  CHECK(ids_of(changes, changes.added) == "m+a/p/fine m+a/r/fine m+b/p/fine m+b/r/fine wren-2/p/fine wren-2/r/fine");
  CHECK(ids_of(changes, changes.removed) ==
        "m+a/p/coarse m+a/r/coarse m+b/p/coarse m+b/r/coarse wren/p/coarse wren/r/coarse");
  std::string renamed;
  for (const auto& [old, now] : changes.renamed) {
    renamed += changes.profiles[old].id + " > " + changes.profiles[now].id + "\n";
    CHECK(changes.profiles[old].alias);
  }
  CHECK(renamed == "wren/p/q > wren-2/p/q\nwren/r/q > wren-2/r/q\n");
  REQUIRE(changes.moved.size() == 2);  // m+a/p/q and m+b/p/q alone have three stable fragments
  CHECK(changes.profiles[changes.moved[0].profile].id == "m+a/p/q");
  CHECK(changes.moved[0].old_status == Status::beta);
  CHECK(changes.moved[0].status == Status::stable);
}

TEST_CASE("the changes applied to the old set give the new one, either way") {
  for (int from : {0, 1}) {
    Twins twins(with_paid(shop(from), from), with_paid(shop(1 - from), 1 - from));
    for (Tier audience : {Tier::free, Tier::supporter}) {
      CAPTURE(from);
      Changes changes = twins.changes({audience, true});
      auto got = as_text(applied(published(twins, 0, audience), changes)),
           wanted = as_text(published(twins, 1, audience));
      CHECK(got == wanted);
      CHECK(wanted.size() == (audience == Tier::free ? 12u : 36u));
    }
  }
}

TEST_CASE("each set of causes stands once, and each has a cause") {
  Changes changes = Twins(with_paid(shop(0), 0), with_paid(shop(1), 1)).changes();
  auto look = [](const auto& list) {
    std::set<std::vector<std::uint32_t>> seen;
    for (const auto& each : list) {
      CHECK(seen.insert(each.causes).second);
      CHECK(!each.causes.empty());
      CHECK(std::is_sorted(each.causes.begin(), each.causes.end()));
    }
    return seen.size();
  };
  CHECK(look(changes.changes) > 3);
  CHECK(look(changes.scripts) > 0);
  CHECK(look(changes.sets) > 1);
  look(changes.caps);
}

TEST_CASE("one profile and setting stands in one effect") {
  Changes changes = Twins(shop(0), shop(1)).changes();
  std::set<std::pair<std::uint32_t, std::uint32_t>> seen;
  for (const Change& change : changes.changes) {
    for (const Effect& effect : change.effects) CHECK(seen.emplace(effect.profile, effect.setting).second);
  }
  CHECK(seen.size() > 8);
}

TEST_CASE("on any number of cores the same comes out") {
  Twins twins(with_paid(shop(0), 0), with_paid(shop(1), 1));
  std::string one = dump(find_changes(twins.side(0), twins.side(1), {Tier::supporter, true}, 1, twins.diagnostics[0],
                                      twins.diagnostics[1]));
  for (unsigned jobs : {2u, 3u, 16u})
    CHECK(dump(find_changes(twins.side(0), twins.side(1), {Tier::supporter, true}, jobs, twins.diagnostics[0],
                            twins.diagnostics[1])) == one);
}

// Tiers: "what the free audience gets is, byte for byte, the same whatever supporter-only sources say, or without
// them".
TEST_CASE("what the free audience is told is the same without what supporters have") {
  const View view{Tier::free, true};
  const std::string without = dump(Twins(shop(0), shop(1)).changes(view));
  CHECK(dump(Twins(with_paid(shop(0), 0), with_paid(shop(1), 1)).changes(view)) == without);
  CHECK(dump(Twins(shop(0), with_paid(shop(1), 1)).changes(view)) == without);
  CHECK(dump(Twins(with_paid(shop(0), 0), shop(1)).changes(view)) == without);
  CHECK(dump(Twins(with_paid(shop(0), 0), with_paid(shop(1), 1)).changes({Tier::supporter, true})) != without);
}

TEST_CASE("to the free audience a profile that became the supporters' is removed") {
  const Files free = small_tree("", "", "title: Q\n"), paid = small_tree("", "", "title: Q\ntier: supporter\n");
  Changes seen_free = Twins(free, paid).changes({Tier::free, false}), seen_whole = Twins(free, paid).changes();
  CHECK(ids_of(seen_free, seen_free.removed) == "m/p/q");
  CHECK(seen_whole.removed.empty());
  REQUIRE(seen_whole.moved.size() == 1);
  CHECK(seen_whole.moved[0].tier == Tier::supporter);
}

TEST_CASE("an edit of `fits` that moves no profile changes nothing resolved") {
  Changes changes = Twins(small_tree("", "title: P\n"), small_tree("", "title: P\nfits: { process: q }\n")).changes();
  CHECK(changes.sets.empty());
  CHECK(test::idle_of(changes) == "material/p fits fits");
}

TEST_CASE("what the dictionary says besides values is told, and not as an edit without effect") {
  std::string text(test::dictionary);
  text.replace(text.find("range: [0.05, 1]"), 16, "range: [0.05, 2]");
  Changes changes = Twins(small_tree(), small_tree("", "", "", {{"schema/settings.yaml", text}})).changes();
  REQUIRE(changes.edits.size() == 1);
  CHECK(changes.edits[0].told);
  CHECK(changes.idle.empty());
  CHECK_FALSE(changes.empty());
}

TEST_CASE("the words and numbers of a setting come from the new side") {
  Changes changes = Twins(small_tree(), small_tree("", "settings: { heat.nozzle: 220 degC }\n")).changes();
  const SettingName* heat = nullptr;
  for (const SettingName& each : changes.settings) heat = each.key == "heat.nozzle" ? &each : heat;
  REQUIRE(heat != nullptr);
  CHECK(heat->unit == "degC");
  CHECK(heat->thermal);
  CHECK_FALSE(heat->points);
  CHECK_FALSE(heat->gone);
}

TEST_CASE("a machine tells its nozzle, and what groups the names is told with its members") {
  Changes changes = Twins(shop(0), shop(1)).changes();
  const Cast& machines = changes.cast[0];
  std::map<std::string, std::string> nozzles;
  for (std::size_t i = 0; i < machines.names.size(); ++i) nozzles[machines.names[i]] = machines.nozzles[i];
  CHECK(nozzles["m+a"] == "0.4 mm");
  CHECK(nozzles["m+b"] == "0.8 mm");  // as it is now
  REQUIRE(machines.families.size() == 1);
  CHECK(machines.families[0].title == "Heron");
  CHECK(machines.families[0].members.size() == 2);
}

// A limit that refuses a value is found where the profile is resolved.
TEST_CASE("a side with an error gives nothing, and the report is that side's") {
  const Files sound = small_tree("", "settings: { heat.nozzle: 280 degC }\n"),
              hot = small_tree("limits: { heat.nozzle: { at_most: 250 degC, else: refuse } }\n",
                               "settings: { heat.nozzle: 280 degC }\n");
  for (std::size_t bad : {0u, 1u}) {
    Twins twins(bad == 0 ? hot : sound, bad == 0 ? sound : hot);
    Changes changes = find_changes(twins.side(0), twins.side(1), {}, 1, twins.diagnostics[0], twins.diagnostics[1]);
    CHECK(changes.empty());
    CHECK(twins.diagnostics[bad].any_errors());
    CHECK_FALSE(twins.diagnostics[1 - bad].any_errors());
  }
}

}
