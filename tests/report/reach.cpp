#include "report/reach.h"

#include "../support.h"

using namespace bindery;

namespace {

// Profiles to speak of: names with titles and nozzles, and every triple of them.
struct Shop {
  Changes changes;

  void add(std::size_t kind, std::string name, std::string title, std::string nozzle = "") {
    changes.cast[kind].names.push_back(std::move(name));
    changes.cast[kind].titles.push_back(std::move(title));
    changes.cast[kind].nozzles.push_back(std::move(nozzle));
  }
  void group(std::size_t kind, std::string title, std::vector<std::uint32_t> members) {
    changes.cast[kind].families.push_back({std::move(title), std::move(members)});
  }
  void fill() {
    auto count = [&](std::size_t kind) { return static_cast<std::uint32_t>(changes.cast[kind].names.size()); };
    for (std::uint32_t a = 0; a < count(0); ++a) {
      for (std::uint32_t b = 0; b < count(1); ++b) {
        for (std::uint32_t c = 0; c < count(2); ++c)
          changes.profiles.push_back(
              {fmt::format("{}/{}/{}", changes.cast[0].names[a], changes.cast[1].names[b], changes.cast[2].names[c]),
               {a, b, c}});
      }
    }
  }

  // The profiles of some machines, materials and processes; "*" is all.
  std::vector<std::uint32_t> box(std::string_view machines, std::string_view materials,
                                 std::string_view processes) const {
    std::vector<std::uint32_t> out;
    const std::string_view wanted[] = {machines, materials, processes};
    for (std::uint32_t i = 0; i < changes.profiles.size(); ++i) {
      bool all = true;
      for (std::size_t k = 0; k < kind_count; ++k) {
        const std::string& name = changes.cast[k].names[changes.profiles[i].parts[k]];
        all &= wanted[k] == "*" || fmt::format(" {} ", wanted[k]).find(fmt::format(" {} ", name)) != std::string::npos;
      }
      if (all) out.push_back(i);
    }
    return out;
  }
  std::string tell(const std::vector<std::uint32_t>& profiles) const { return ReachTeller(changes).tell(profiles); }
  std::string tell(std::string_view machines, std::string_view materials, std::string_view processes) const {
    return tell(box(machines, materials, processes));
  }
};

// Two machines with two nozzles each, six materials of which three are of one family, three processes: 72 profiles.
Shop shop() {
  Shop out;
  out.add(0, "heron+0.4", "Heron 0.4", "0.4 mm");
  out.add(0, "heron+0.6", "Heron 0.6", "0.6 mm");
  out.add(0, "wren+0.4", "Wren 0.4", "0.4 mm");
  out.add(0, "wren+0.6", "Wren 0.6", "0.6 mm");
  for (std::string name : {"pla", "pla-matt", "pla-silk", "petg", "tpu", "asa"}) out.add(1, name, name + " title");
  for (std::string name : {"fine", "normal", "rough"}) out.add(2, name, name);
  out.group(0, "Heron", {0, 1});
  out.group(1, "PLA", {0, 1, 2});
  out.fill();
  return out;
}

std::vector<std::uint32_t> joined(std::vector<std::uint32_t> a, const std::vector<std::uint32_t>& b) {
  a.insert(a.end(), b.begin(), b.end());
  return a;
}

}  // namespace

TEST_SUITE("report/reach") {

TEST_CASE("one profile is told by its id") {
  CHECK(shop().tell("heron+0.4", "petg", "fine") == "`heron+0.4/petg/fine`");
}

TEST_CASE("all profiles are told as all") {
  CHECK(shop().tell("*", "*", "*") == "all 72 profiles");
  Shop one;
  one.add(0, "m", "M");
  one.add(1, "p", "P");
  one.add(2, "q", "Q");
  one.fill();
  CHECK(one.tell("*", "*", "*") == "`m/p/q`");
}

TEST_CASE("all machines of one nozzle are told by the nozzle") {
  CHECK(shop().tell("heron+0.4 wren+0.4", "*", "*") == "all 0.4 mm machines (36 profiles)");
}

TEST_CASE("only what narrows the set down is told") {
  CHECK(shop().tell("wren+0.6", "*", "*") == "Wren 0.6 (18 profiles)");
  CHECK(shop().tell("*", "petg", "*") == "all profiles with petg title (12 profiles)");
  CHECK(shop().tell("*", "*", "fine") == "all profiles of fine (24 profiles)");
  CHECK(shop().tell("heron+0.4 wren+0.4", "petg", "fine") == "all 0.4 mm machines with petg title, fine (2 profiles)");
  CHECK(shop().tell("heron+0.4", "*", "fine rough") == "Heron 0.4, fine and rough (12 profiles)");
}

TEST_CASE("a family is told by its title") {
  CHECK(shop().tell("*", "pla pla-matt pla-silk", "*") == "all profiles with PLA (36 profiles)");
  Shop many = shop();
  many.changes.cast[0].families[0].members = {0, 1, 2};
  CHECK(many.tell("heron+0.4 heron+0.6 wren+0.4", "*", "fine") == "all machines of \"Heron\", fine (18 profiles)");
}

TEST_CASE("the machines of a family with one nozzle are told as such") {
  Shop many;
  for (int i = 0; i < 8; ++i)
    many.add(0, fmt::format("m{}", i), fmt::format("Machine {}", i), i % 2 == 0 ? "0.4 mm" : "0.6 mm");
  many.add(1, "p", "P");
  many.add(2, "q", "Q");
  many.group(0, "Large ones", {0, 1, 2, 3, 4, 5});
  many.fill();
  CHECK(many.tell("m0 m2 m4", "*", "*") == "the 0.4 mm machines of \"Large ones\" (3 profiles)");
}

TEST_CASE("all but one or two of many are told by those") {
  CHECK(shop().tell("*", "pla pla-matt pla-silk petg asa", "*") ==
        "all profiles with every material but tpu title (60 profiles)");
  Shop more = shop();
  more.changes.profiles.clear();
  more.add(1, "pa", "pa title");
  more.fill();
  CHECK(more.tell("*", "pla pla-matt pla-silk petg asa", "*") ==
        "all profiles with every material but tpu title and pa title (60 profiles)");
}

TEST_CASE("few names are told one by one, many by some and their number") {
  CHECK(shop().tell("*", "petg asa tpu", "*") == "all profiles with asa title, petg title and tpu title (36 profiles)");
  Shop many;
  for (int i = 0; i < 12; ++i) many.add(0, fmt::format("m{:02}", i), fmt::format("Machine {:02}", i));
  many.add(1, "p", "P");
  many.add(2, "q", "Q");
  many.fill();
  CHECK(many.tell("m00 m01 m02 m03 m04 m05", "*", "*") ==
        "6 machines (Machine 00, Machine 01, Machine 02, Machine 03 ...) (6 profiles)");
}

TEST_CASE("two boxes are told one after the other") {
  Shop all = shop();
  CHECK(all.tell(joined(all.box("heron+0.4", "petg", "*"), all.box("wren+0.6", "tpu", "*"))) ==
        "Heron 0.4 with petg title; Wren 0.6 with tpu title (6 profiles)");
}

TEST_CASE("what is no union of a few boxes is told by number and example") {
  Shop all = shop();
  std::vector<std::uint32_t> scattered;
  for (std::uint32_t i = 0; i < all.changes.profiles.size(); i += 7) scattered.push_back(i);
  CHECK(all.tell(scattered) == "11 profiles of 4 machines, such as `heron+0.4/pla/fine`");
}

TEST_CASE("the order and repetition of the profiles do not count") {
  Shop all = shop();
  std::vector<std::uint32_t> some = all.box("wren+0.6", "*", "*"), other = joined(some, some);
  std::reverse(other.begin(), other.end());
  CHECK(all.tell(other) == all.tell(some));
}

TEST_CASE("all are those that stayed; with those that came only where the set has such") {
  Shop all = shop();
  all.changes.added = all.box("wren+0.4 wren+0.6", "asa", "*");
  CHECK(all.tell("heron+0.4 heron+0.6", "asa", "*") ==
        "all profiles with asa title (6 profiles)");  // the others with it are new
  CHECK(all.tell("*", "asa", "*") == "all profiles with asa title (12 profiles)");
  CHECK(all.tell(all.changes.added).find("Wren 0.4 and Wren 0.6") == 0);
}

TEST_CASE("an earlier name is no profile of its own") {
  Shop all = shop();
  all.changes.profiles.push_back({"old/p/q", {}, false, true});
  std::vector<std::uint32_t> real = all.box("*", "*", "*");
  real.pop_back();
  CHECK(all.tell(real) == "all 72 profiles");
}

TEST_CASE("names of one title are told apart by their nozzles, or by name") {
  Shop twins;
  twins.add(0, "heron+0.4", "Heron", "0.4 mm");
  twins.add(0, "heron+0.6", "Heron", "0.6 mm");
  twins.add(1, "p1", "P");
  twins.add(1, "p2", "P");
  twins.add(2, "q", "Q");
  twins.add(2, "r", "R");
  twins.fill();
  CHECK(twins.tell("heron+0.6", "p2", "*") == "Heron 0.6 mm with `p2` (2 profiles)");
}

TEST_CASE("machines of one title and one nozzle are told apart by name") {
  Shop twins;
  twins.add(0, "heron+a", "Heron", "0.4 mm");
  twins.add(0, "heron+b", "Heron", "0.4 mm");
  twins.add(0, "wren", "Wren", "0.6 mm");
  twins.add(1, "p", "P");
  twins.add(1, "r", "R");
  twins.add(2, "q", "Q");
  twins.fill();
  CHECK(twins.tell("heron+a", "*", "*") == "`heron+a` (2 profiles)");
  CHECK(twins.tell("heron+a wren", "*", "*") != twins.tell("heron+b wren", "*", "*"));
}

TEST_CASE("a family with the title of one of its members is told apart from it") {
  Shop same;
  same.add(0, "m", "M");
  for (std::string name : {"plain", "silk", "petg"}) same.add(1, name, name == "plain" ? "PLA" : name);
  same.add(2, "q", "Q");
  same.add(2, "r", "R");
  same.group(1, "PLA", {0, 1});
  same.fill();
  auto without_number = [](const std::string& words) { return words.substr(0, words.find(" (")); };
  CHECK(without_number(same.tell("*", "plain silk", "*")) != without_number(same.tell("*", "plain", "*")));
}

TEST_CASE("titles are told as words, whatever signs they hold") {
  Shop signs;
  signs.add(0, "m", "M");
  signs.add(1, "p", "<b>*bold*</b>");
  signs.add(1, "r", "R");
  signs.add(2, "q", "Q");
  signs.add(2, "s", "S");
  signs.fill();
  CHECK(signs.tell("*", "p", "*") == "all profiles with \\<b\\>\\*bold\\*\\</b\\> (2 profiles)");
}

// Words that two sets share would be untrue of one of them.
TEST_CASE("two sets of profiles are never told in the same words, unless by example") {
  Shop small;
  small.add(0, "m1", "Machine one", "0.4 mm");
  small.add(0, "m2", "Machine two", "0.6 mm");
  small.add(0, "m3", "Machine three", "0.4 mm");
  small.add(1, "p1", "P one");
  small.add(1, "p2", "P two");
  small.add(2, "q1", "Q one");
  small.add(2, "q2", "Q two");
  small.group(1, "All of P", {0, 1});
  small.fill();
  ReachTeller teller(small.changes);
  std::map<std::string, unsigned> told;
  std::size_t examples = 0;
  for (unsigned set = 1; set < 1u << 12; ++set) {
    std::vector<std::uint32_t> profiles;
    for (std::uint32_t i = 0; i < 12; ++i) {
      if ((set >> i & 1) != 0) profiles.push_back(i);
    }
    const std::string& words = teller.tell(profiles);
    if (words.find(", such as ") != std::string::npos) {
      ++examples;
      continue;
    }
    CHECK_MESSAGE(told.emplace(words, set).second, words, " ", set, " ", told[words]);
  }
  CHECK(told.size() > 100);
  CHECK(examples > 0);
}

}
