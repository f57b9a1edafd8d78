// A dialect over the small tree of the unit tests, and a program's file that is read with it. The text before `== file`
// is the dialect.
#include "dialect/check.h"
#include "dialect/draft.h"
#include "dialect/read_back.h"
#include "dialect/safe_path.h"
#include "fuzz.h"

#include "../support.h"

using namespace bindery;
using fuzz::require;

namespace {

// The dialect writes the profile, and reads what it wrote.
void press_and_read(const Tree& tree, const Dialect& dialect, const std::string* exported) {
  Resolver resolver(tree);
  Diagnostics silent, losses;
  Triple triple{{tree.find(Kind::machine, "m"), tree.find(Kind::material, "p"), tree.find(Kind::process, "q")}};
  Resolver::Axes axes;
  Profile profile = resolver.resolve(triple, silent, &axes);
  Selected selected = place_in_plan(tree, triple);
  Press press(tree, dialect);
  RowMemory memory;
  Sources sources;
  for (std::size_t f = 0; f < dialect.files.size(); ++f) {
    PressedPart part = press.part(f, selected, profile, axes, {"1.0.0", std::string(64, 'a')}, memory, losses);
    if (losses.any_errors()) continue;
    SourceFile& file = sources.files.emplace_back();
    file.path = part.path;
    file.text = press.bytes(f, {&part});
    require(why_unsafe(part.path).empty(), "a file is written to a safe path");
  }
  fuzz::require_sound(losses, *tree.sources);
  if (exported == nullptr) return;
  Sources one;
  one.files.push_back({"exported", *exported, true});
  Diagnostics out;
  ReadBack read = read_back(tree, press, one, selected, profile, axes, out);
  fuzz::require_sound(out, one);
  for (const ReadValue& each : read.values) require(fuzz::is_place(each.span, one), "a value stands at a place of the file");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  auto parts = fuzz::parts_of(fuzz::text_of(data, size));
  test::Files files = test::small_tree("", "", "", {{"profiles-src/dialect/d.yaml", parts[""]}, {"release/plan.yaml", "sets: { all: { take: [ { machine: [m], material: [p], process: [q] } ] } }\n"}});
  Sources sources = test::sources_of(files);
  Diagnostics out;
  for (FileId id = 0; id < sources.files.size(); ++id) check_text(id, sources.files[id], out);
  Tree tree = load_tree(sources, 1, out);
  std::vector<Dialect> dialects = read_dialects(tree, out);
  Selection selection = select_profiles(tree, out);
  check_dialects(tree, dialects, selection, {1, true, true, false}, out);
  out.settle();
  fuzz::require_sound(out, sources);
  auto exported = parts.find("file");
  for (const Dialect& each : dialects) {
    require(!each.broken || out.any_errors(), "a broken dialect is reported");
    if (!each.broken) press_and_read(tree, each, exported == parts.end() ? nullptr : &exported->second);
  }
  return 0;
}
