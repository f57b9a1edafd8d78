#include "release/texts.h"

#include "../support.h"

using namespace bindery;
using test::World;

namespace {

const Edition edition{"1.2.3", "stable", "", false, 1577934245};

test::Files with_notes() {
  return test::small_tree("", "", "",
                          {{"release/notes/a.yaml", "section: Fixed\ntier: free\ntext: |\n  A slip.\n  A second line.\n"},
                           {"release/notes/b.yaml", "section: Safety\ntier: free\ntext: Hot.\n"},
                           {"release/notes/c.yaml", "section: Fixed\ntext: For supporters.\n"},
                           {"release/notes/d.yaml", "section: Fixed\ntier: free\nversion: 1.2.2\ntext: Of an earlier version.\n"},
                           {"release/notes/e.yaml", "section: Fixed\ntier: free\nversion: 1.2.3\ntext: Of this version.\n"}});
}

bool holds(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_SUITE("release/texts") {

TEST_CASE("a changelog holds the notes of its version that its tier may read, what can hurt first") {
  World world(with_notes());
  CHECK(changelog_text(world.tree, Tier::free, edition) ==
        "# Changelog\n\n## 1.2.3 - 2020-01-02\n\n### Safety\n\n- Hot.\n\n### Fixed\n\n- A slip.\n  A second line.\n- Of this version.\n");
  std::string supporter = changelog_text(world.tree, Tier::supporter, edition);
  CHECK(holds(supporter, "- For supporters.\n"));
  CHECK(holds(supporter, "- Hot.\n"));
}

TEST_CASE("a version without notes says so") {
  World world(test::small_tree());
  CHECK(holds(changelog_text(world.tree, Tier::free, edition), "No notes were written"));
}

// Customary cautions (NFPA Journal, Sept 2018; NIOSH 2024-103; common practice): attended printing, smoke alarm, extinguisher, clear surroundings, children
// and pets; local codes and the machine's manual prevail; a published profile certifies nothing; ventilation.
TEST_CASE("every archive carries the customary cautions and defers to local codes and the manual") {
  World world(test::small_tree());
  for (Tier tier : {Tier::free, Tier::supporter}) {
    std::string text = read_me_first(world.tree, tier, edition, 12);
    for (std::string_view part : {"unattended", "smoke alarm", "extinguisher", "children and pets", "local codes", "machine's manual", "certifies\nnothing", "ventilate", "12 profiles", "Example Workshop", "1.2.3"}) {
      CHECK_MESSAGE(holds(text, part), part);
    }
  }
}

TEST_CASE("the publisher's own words stand in the texts") {
  World world(test::small_tree("", "", "", {{"release/texts/licence.txt", "Do as you like.\r\n\r\n"}, {"release/texts/read-me-first.txt", "Write to us.\n"}}));
  CHECK(licence_text(world.tree) == "Do as you like.\n");
  CHECK(holds(read_me_first(world.tree, Tier::free, edition, 1), "Write to us.\n"));
  World plain(test::small_tree());
  CHECK(holds(licence_text(plain.tree), "CC0-1.0"));
}

TEST_CASE("a pre-release says that it is for trial") {
  World world(test::small_tree());
  CHECK(holds(read_me_first(world.tree, Tier::free, {"1.3.0-rc.1", "beta", "", false, 0}, 1), "for trial"));
  CHECK_FALSE(holds(read_me_first(world.tree, Tier::free, edition, 1), "for trial"));
}

}
