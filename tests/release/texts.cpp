#include "release/texts.h"

#include "../support.h"

using namespace bindery;
using test::World;

namespace {

const Edition edition{"1.2.3", "stable", "", false, 1577934245};

bool holds(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_SUITE("release/texts") {

// Customary cautions (NFPA Journal, Sept 2018; NIOSH 2024-103; common practice): attended printing, smoke alarm, extinguisher, clear surroundings, children
// and pets; local codes and the machine's manual prevail; a published profile certifies nothing; ventilation.
TEST_CASE("every archive carries the customary cautions and defers to local codes and the manual") {
  World world(test::small_tree());
  for (Tier tier : {Tier::free, Tier::supporter}) {
    std::string text = read_me_first(world.tree, {}, tier, edition, 12);
    for (std::string_view part : {"unattended", "smoke alarm", "extinguisher", "children and pets", "local codes", "machine's manual", "certifies\nnothing", "ventilate", "12 profiles", "Example Workshop", "1.2.3"}) {
      CHECK_MESSAGE(holds(text, part), part);
    }
  }
}

TEST_CASE("the publisher's own words stand in the texts") {
  World world(test::small_tree("", "", "", {{"release/texts/licence.txt", "Do as you like.\r\n\r\n"}, {"release/texts/read-me-first.txt", "Write to us.\n"}}));
  CHECK(licence_text(world.tree) == "Do as you like.\n");
  CHECK(holds(read_me_first(world.tree, {}, Tier::free, edition, 1), "Write to us.\n"));
  World plain(test::small_tree());
  CHECK(holds(licence_text(plain.tree), "CC0-1.0"));
}

TEST_CASE("a pre-release says that it is for trial") {
  World world(test::small_tree());
  CHECK(holds(read_me_first(world.tree, {}, Tier::free, {"1.3.0-rc.1", "beta", "", false, 0}, 1), "for trial"));
  CHECK_FALSE(holds(read_me_first(world.tree, {}, Tier::free, edition, 1), "for trial"));
}

}
