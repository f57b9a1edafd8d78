#include "release/texts.h"

#include <fmt/format.h>

#include "base/words.h"

namespace bindery {

namespace {

std::string_view publishers_text(const Tree& tree, std::string_view path) {
  FileId id = tree.sources->find(path);
  return id == no_file ? std::string_view() : std::string_view((*tree.sources)[id].text);
}

// A text with line breaks alone and one at its end.
std::string tidy(std::string_view text) {
  std::string out;
  for (char c : text) {
    if (c != '\r') out += c;
  }
  while (out.ends_with('\n')) out.pop_back();
  return out + '\n';
}

// The customary cautions (common practice; NFPA Journal, Sept 2018 for unattended printing; NIOSH 2024-103 for fumes).
constexpr std::string_view cautions = R"(CAUTIONS

These profiles make machines move and heat. A published profile certifies
nothing: not the machine, not the material, not the part. Your local codes
and laws, the machine's manual and the material's data sheet come first;
electrical work and repairs are for licensed people.

 - Stay with the machine while it prints. Do not print unattended or asleep.
 - Keep a smoke alarm in the room and a fitting extinguisher within reach.
 - Keep the surroundings clear of what can burn, and keep children and pets
   away.
 - Nozzle, bed and chamber burn: a nozzle runs at 190 to 300 degrees C, a bed
   above 60 burns skin. Let them cool before you touch them.
 - Moving parts pinch and draw in. Keep hands, hair and clothes away, and know
   where the power switch is.
 - Printing gives off particles and fumes, more with ABS, ASA, polycarbonate
   and nylon. Prefer low-emission material, enclose, ventilate, keep distance.
 - Watch the first layer of every new profile, and compare its temperatures
   with what your nozzle, its lining and your bed may bear.
 - Scripts in these profiles are commands to a machine. Read them before you
   run them; firmwares differ in what a command means.
)";

// Which programs the profiles are written for.
std::string program_lines(const std::vector<Dialect>& dialects, Tier tier) {
  std::string lines;
  for (const Dialect& each : dialects) {
    if (each.tier > tier) continue;
    std::vector<std::string> versions;
    for (const Text& version : each.tried) versions.emplace_back(version.text);
    lines += fmt::format("    for/{}/   {}{}\n", each.name, each.title,
                         versions.empty() ? "" : fmt::format(", tried with {}", join_words(versions)));
  }
  if (lines.empty()) return {};
  return fmt::format("\nFor these programs the values stand ready in files that they read:\n\n{}", lines);
}

}  // namespace

std::string read_me_first(const Tree& tree, const std::vector<Dialect>& dialects, Tier tier, const Edition& edition,
                          std::size_t profiles) {
  std::string out = fmt::format("{} {} ({} edition)\npublished by {}\n", tree.plan.name, edition.version, name_of(tier),
                                tree.plan.publisher.name);
  if (edition.channel == "beta")
    out += "This is a version for trial: expect changes, and tell the publisher what you find.\n";
  out += fmt::format(R"(
WHAT THIS IS

{} for material-extrusion printers. A profile is one machine with one nozzle,
one material and one process; it stands in

    profiles/<machine>/<material>/<process>.json

with every value in its unit. `settings.json` tells what each setting does,
`contents.json` lists the profiles, `CHANGELOG.md` what is new, `LICENSE.txt`
what you may do, and `SHA256SUMS` lets you check every file:

    sha256sum -c SHA256SUMS

HOW TO USE IT

Choose the folder of your machine and nozzle, then of your material, then the
process. Enter its values in the program you print with. Change one thing at a
time, and print a small part before a large one.
)",
                     counted(profiles, "profile"));
  out += program_lines(dialects, tier);
  if (auto own = publishers_text(tree, "release/texts/read-me-first.txt"); !own.empty())
    out += fmt::format("\nFROM THE PUBLISHER\n\n{}", tidy(own));
  out += fmt::format("\n{}", cautions);
  return out;
}

std::string licence_text(const Tree& tree) {
  if (auto own = publishers_text(tree, "release/texts/licence.txt"); !own.empty()) return tidy(own);
  return fmt::format("These profiles are published by {} under this licence:\n\n{}\n", tree.plan.publisher.name,
                     tree.plan.publisher.licence);
}

}  // namespace bindery
