#include "recall/recheck.h"

#include <chrono>
#include <thread>

#include "../support.h"
#include "check/check.h"

using namespace bindery;
using test::Files;
using test::Folder;
using test::small_tree;

namespace {

// A tree in a folder, checked whole and remembered where nothing is said of it.
class Remembered {
 public:
  // Where it is `old`, the stamps of its files and folders are old enough to be believed.
  explicit Remembered(const Files& files, bool old = false) {
    for (const auto& [path, text] : files) folder.write(path, text);
    if (old) std::this_thread::sleep_for(std::chrono::milliseconds(60));
    std::int64_t begun = now_in_nanoseconds();
    Diagnostics out;
    Sources sources = read_folder(folder.path, 1, out);
    Tree tree = load_tree(sources, 1, out);
    Selection selection = select_profiles(tree, out);
    Meetings meetings;
    CheckForm form;
    form.take_reports = [&](std::size_t triple, const Diagnostics& reports) { meetings.note(triple, reports); };
    check_selection(tree, selection, 1, out, form);
    out.settle();
    auto standing = meetings.standing(out);
    REQUIRE(standing.has_value());
    Snapshot snapshot = take_snapshot(tree, selection, begun, 1);
    snapshot.standing = std::move(*standing);
    write_snapshot(folder.path, snapshot);
  }

  // "3 fragments, 1 profiles", then what is said and of how many profiles; "whole" where the whole tree is to be read.
  std::string again() const {
    Progress progress;
    auto known = recheck(folder.path, 2, progress);
    if (!known) return "whole";
    std::string out = fmt::format("{} fragments, {} profiles", known->fragments, known->profiles);
    for (const Diagnostic& item : known->reports.items())
      out += fmt::format("; {}: {} in {}, {}", describe(item.code).name, test::covered(known->sources, item.span), item.profiles, item.profile);
    return out;
  }
  std::string after(const std::string& path, std::string_view text) const {
    folder.write(path, text);
    return again();
  }

  Folder folder;
};

const std::string process = "profiles-src/process/q.yaml", machine = "profiles-src/machine/m.yaml",
                  material = "profiles-src/material/p.yaml";

// A machine with a fact, and a material that asks for it.
Files conditioned() {
  return small_tree("settings: { nozzle.bore: 0.4 mm }\n", "fits: { where: nozzle.bore > 0.3 mm }\n", "",
                    {{"profiles-src/material/fine.yaml", "fits: { where: nozzle.bore < 0.3 mm }\n"}});
}

}  // namespace

TEST_SUITE("recall/recheck") {

TEST_CASE("a tree that is as it was is as sound as it was") {
  Remembered tree(small_tree());
  CHECK(tree.again() == "3 fragments, 1 profiles");
  CHECK(tree.again() == "3 fragments, 1 profiles");
  // The same bytes with another stamp are the same.
  CHECK(tree.after(process, "title: Process\n") == "3 fragments, 1 profiles");
}

TEST_CASE("values that were edited are checked in the profiles that they reach") {
  Remembered tree(small_tree("", "", "", {{"profiles-src/process/r.yaml", "extends: q\n"}}));
  CHECK(tree.after(process, "title: Process\nsettings: { wall.speed: 80 mm/s }\n") == "4 fragments, 2 profiles");
  CHECK(tree.after(process, "title: Process\nsettings: { wall.speed: 5000 mm/s }\n") == "whole");
  CHECK(tree.after(process, "title: Process\nsettings: { wall.sped: 80 mm/s }\n") == "whole");
  CHECK(tree.after(process, "title: Process\nsettings: { layer.height: 0.9 mm }\n") == "4 fragments, 2 profiles; range-untypical: 0.9 mm in 2, m/p/q");
  CHECK(tree.after(process, "title: [\n") == "whole");
  CHECK(tree.after(process, "title: Process\nlimits: { wall.speed: { at_most: 40 mm/s } }\n") == "4 fragments, 2 profiles");
}

TEST_CASE("warnings that stand are told again, each of as many profiles as meet it now") {
  Remembered tree(small_tree("", "", "settings: { layer.height: 0.9 mm }\n", {{"profiles-src/process/a.yaml", "extends: q\n"}, {"profiles-src/process/z.yaml", "extends: q\n"}, {"profiles-src/process/other.yaml", "title: Other\n"}}));
  const std::string size = "6 fragments, 4 profiles", warns = size + "; range-untypical: 0.9 mm in ";
  CHECK(tree.again() == warns + "3, m/p/a");
  CHECK(tree.after("profiles-src/process/other.yaml", "settings: { wall.count: 4 }\n") == warns + "3, m/p/a");
  // The first that met it does so no longer, and then does again.
  CHECK(tree.after("profiles-src/process/a.yaml", "extends: q\nsettings: { layer.height: 0.2 mm }\n") == warns + "2, m/p/q");
  CHECK(tree.after("profiles-src/process/a.yaml", "extends: q\n") == warns + "3, m/p/a");
  // One of its own.
  CHECK(tree.after("profiles-src/process/other.yaml", "settings: { layer.height: 0.6 mm }\n") ==
        size + "; range-untypical: 0.6 mm in 1, m/p/other; range-untypical: 0.9 mm in 3, m/p/a");
  // What it speaks of moves.
  CHECK(tree.after(process, "title: Process\nsettings: { layer.height: 0.8 mm }\n") ==
        size + "; range-untypical: 0.6 mm in 1, m/p/other; range-untypical: 0.8 mm in 3, m/p/a");
  CHECK(tree.after(process, "title: Process\n") == size + "; range-untypical: 0.6 mm in 1, m/p/other");
  CHECK(tree.again() == size + "; range-untypical: 0.6 mm in 1, m/p/other");
}

TEST_CASE("a fragment that no profile holds is read all the same") {
  Remembered tree(small_tree("", "", "", {{"profiles-src/process/base.yaml", "abstract: true\nsettings: { wall.count: 2 }\n"}}));
  CHECK(tree.after("profiles-src/process/base.yaml", "abstract: true\nsettings: { wall.count: 4 }\n") == "4 fragments, 1 profiles");
  CHECK(tree.after("profiles-src/process/base.yaml", "abstract: true\nsettings: { wall.count: few }\n") == "whole");
}

TEST_CASE("what more may depend on than values asks for the whole tree") {
  for (const auto& edit : {std::pair<std::string, std::string>{process, "title: Process\nstatus: draft\n"},
                            {process, "title: Process\ntier: supporter\n"},
                            {process, "title: Process\nabstract: true\n"},
                            {process, "title: Process\nextends: other\n"},
                            {process, "title: Process\nreplaces: [old]\n"},
                            {process, "title: Process\nlocked: [wall.speed]\n"},
                            {process, "title: Process\nfits: { machine: [m] }\n"},
                            {process, "title: Process\nwhen: [ { if: { machine: [m] }, settings: { wall.count: 2 } } ]\n"},
                            {"profiles-src/process/new.yaml", "title: New\n"},
                            {"profiles-src/process/stray.yml", "title: New\n"},
                            {"profiles-src/bindery.yaml", "publisher: Another\nlicence: CC0-1.0\n"},
                            {"schema/settings.yaml", std::string(test::dictionary) + "\n"}}) {
    Remembered tree(small_tree());
    CHECK_MESSAGE(tree.after(edit.first, edit.second) == "whole", edit.first, ": ", edit.second);
  }
  Remembered tree(small_tree("", "", "", {{"profiles-src/process/r.yaml", "title: R\n"}}));
  std::filesystem::remove(tree.folder.path / "profiles-src/process/r.yaml");
  CHECK(tree.again() == "whole");
}

TEST_CASE("what comes, goes or moves is noticed in folders whose stamps are believed") {
  const std::string sub = "profiles-src/process/sub/deep/r.yaml";
  Files files = small_tree("", "", "", {{sub, "title: R\n"}, {"profiles-src/process/sub/deep/note.txt", "no text of a tree\n"}});
  const std::string as_it_was = "4 fragments, 2 profiles";
  namespace fs = std::filesystem;
  for (int change = 0; change < 9; ++change) {
    Remembered tree(files, true);
    const fs::path src = tree.folder.path / "profiles-src";
    CAPTURE(change);
    CHECK(tree.again() == as_it_was);
    std::string expected = "whole";
    switch (change) {
      case 0: tree.folder.write("profiles-src/process/sub/deep/s.yaml", "title: S\n"); break;
      case 1: fs::remove(tree.folder.path / sub); break;
      case 2: fs::rename(src / "process/sub/deep", src / "process/sub/other"); break;
      case 3: tree.folder.write("profiles-src/material/fresh/s.yaml", "title: S\n"); break;
      case 4: tree.folder.write("release/notes/first.yaml", "section: Added\ntext: The first.\n"); break;
      case 5:
        fs::rename(src / "process/sub", tree.folder.path / "elsewhere");
        fs::create_directory_symlink(tree.folder.path / "elsewhere", src / "process/sub");
        break;
      case 6:
        fs::remove(tree.folder.path / sub);
        fs::create_symlink(src / "process/q.yaml", tree.folder.path / sub);
        break;
      case 7:  // as editors save: beside it, then renamed
        tree.folder.write("profiles-src/process/sub/deep/.r.yaml", "title: R\nsettings: { wall.count: 3 }\n");
        fs::rename(src / "process/sub/deep/.r.yaml", tree.folder.path / sub);
        expected = as_it_was;
        break;
      default:
        tree.folder.write("profiles-src/process/sub/deep/note.txt.2", "nor is this\n");
        expected = as_it_was;
    }
    CHECK(tree.again() == expected);
    CHECK(tree.again() == expected);
  }
}

TEST_CASE("after many edits what was found is kept, after few it is found again") {
  Files more;
  for (int i = 0; i < 12; ++i) more[fmt::format("profiles-src/process/more-{}.yaml", i)] = "title: More\n";
  Remembered tree(small_tree("", "", "", more), true);
  const std::string size = "15 fragments, 13 profiles";
  auto kept = [&] { return std::filesystem::last_write_time(tree.folder.path / ".bindery/checked/tree"); };
  auto first = kept();
  auto thick = [&](int i) { tree.folder.write(fmt::format("profiles-src/process/more-{}.yaml", i), "settings: { layer.height: 0.9 mm }\n"); };
  thick(0);
  for (int run = 0; run < 2; ++run) CHECK(tree.again() == size + "; range-untypical: 0.9 mm in 1, m/p/more-0");
  CHECK(kept() == first);
  for (int i = 1; i < 12; ++i) thick(i);
  std::string told = tree.again();
  CHECK(told.find("more-11") != std::string::npos);
  CHECK(kept() != first);
  CHECK(tree.again() == told);
}

TEST_CASE("an edit that lets a triple in or keeps it out asks for the whole tree") {
  Remembered tree(conditioned());
  CHECK(tree.again() == "4 fragments, 1 profiles");
  CHECK(tree.after(machine, "settings: { nozzle.bore: 0.5 mm }\n") == "4 fragments, 1 profiles");
  CHECK(tree.after(machine, "settings: { nozzle.bore: 0.2 mm }\n") == "whole");
}

TEST_CASE("a memory that is damaged, or that another program made, is none") {
  Remembered tree(small_tree());
  std::filesystem::path path = tree.folder.path / ".bindery/checked/tree";
  std::string bytes = [&] {
    std::ifstream in(path, std::ios::binary);
    return std::string{std::istreambuf_iterator<char>(in), {}};
  }();
  REQUIRE(bytes.size() > 200);
  for (std::size_t at = 0; at < bytes.size(); at += 7) {
    std::string damaged = bytes;
    damaged[at] = static_cast<char>(damaged[at] ^ 0x10);
    tree.folder.write(".bindery/checked/tree", damaged);
    CHECK_MESSAGE(tree.again() == "whole", at);
  }
  tree.folder.write(".bindery/checked/tree", bytes.substr(0, bytes.size() / 2));
  CHECK(tree.again() == "whole");
  tree.folder.write(".bindery/checked/tree", bytes);
  CHECK(tree.again() == "3 fragments, 1 profiles");
}

TEST_CASE("values are no part of a shape; names, parents and conditions are") {
  auto shape = [](std::string_view text) {
    SourceFile file{"profiles-src/machine/m.yaml", std::string(text), true};
    Diagnostics out;
    FragmentFile read = read_fragment(0, file, out);
    REQUIRE(out.items().empty());
    return shape_of(read);
  };
  std::string plain = shape("title: A\nsettings: { wall.count: 2 }\n");
  CHECK(plain == shape("title: B\nsettings: { wall.count: 3, fan.duty: 5 % }\nscripts: { start: G28 }\nlimits: { wall.speed: none }\n"));
  CHECK(plain != shape("extends: base\n"));
  CHECK(plain != shape("fittings: { a: { settings: { wall.count: 2 } } }\n"));
  CHECK(shape("fittings: { a: {} }\n") != shape("fittings: { b: {} }\n"));
  CHECK(shape("when: [ { if: { material: [p] } } ]\n") != shape("when: [ { if: { material: [q] } } ]\n"));
  CHECK(shape("extends: [a, b]\n") != shape("extends: [\"a, b\"]\n"));
}

}
