// The whole of `validate --overlay`: the input is what a stranger sends, a part `== PATH` a file of the zip, laid over
// the tree in tests/contributions/base. It is judged for both audiences and told in every format.
#include <deque>
#include <filesystem>
#include <fstream>
#include <list>
#include <memory>

#include <unistd.h>
#include <nlohmann/json.hpp>

#include "archive/archive.h"
#include "base/failure.h"
#include "check/check.h"
#include "fuzz.h"
#include "judge/judge.h"
#include "report/diagnostics.h"
#include "report/impact.h"
#include "report/sarif.h"
#include "source/overlay.h"

using namespace bindery;
using fuzz::require;

namespace {

struct ReadSide {
  Sources sources;
  Diagnostics diagnostics;
  Tree tree;
  Selection selection;

  void link(const Tree* like) {
    tree = load_tree(sources, 1, diagnostics, {.like = like});
    selection = select_profiles(tree, diagnostics, most_triples);
  }
  Side side() const { return {&tree, &selection}; }
};

const std::string base_root = std::string(BINDERY_ROOT) + "/tests/contributions/base";

// The tree that contributions are meant for.
const Sources& base_sources() {
  static const Sources sources = [] {
    Diagnostics out;
    Sources read = read_folder(base_root, 1, out);
    require(!out.any_errors() && !read.files.empty(), "the base is sound");
    return read;
  }();
  return sources;
}

// The base, linked, its files numbered as those of a proposal. Reading a dictionary takes far longer than judging, so
// the last few are kept.
const ReadSide& base_aligned_with(ReadSide& proposal, const std::vector<std::string>& touched) {
  auto fresh = std::make_unique<ReadSide>();
  fresh->sources = base_sources();
  align(fresh->sources, fresh->diagnostics, proposal.sources, proposal.diagnostics, touched);
  auto same = [&](const std::unique_ptr<ReadSide>& side) {
    return std::equal(side->sources.files.begin(), side->sources.files.end(), fresh->sources.files.begin(),
                      fresh->sources.files.end(), [](const auto& a, const auto& b) { return a.path == b.path; });
  };
  static std::list<std::unique_ptr<ReadSide>> kept;
  auto at = std::find_if(kept.begin(), kept.end(), same);
  if (at == kept.end()) {
    fresh->link(nullptr);
    at = kept.insert(kept.begin(), std::move(fresh));
    if (kept.size() > 8) kept.pop_back();
  }
  kept.splice(kept.begin(), kept, at);
  return *kept.front();
}

// Where the zip of each input stands; taken away at the end.
const std::string& zip_path() {
  static const std::string path = [] {
    std::string name = (std::filesystem::temp_directory_path() / "bindery-fuzz-XXXXXX").string();
    int handle = mkstemp(name.data());
    require(handle >= 0, "there is a folder for temporary files");
    close(handle);
    return name;
  }();
  return path;
}

// False where the input makes no archive.
bool write_zip(std::string_view input) {
  std::deque<PackedEntry> packed;
  std::vector<const PackedEntry*> entries;
  for (const auto& [path, bytes] : fuzz::parts_of(input)) {
    if (path.find('\0') == std::string::npos) entries.push_back(&packed.emplace_back(pack(path, bytes)));
  }
  if (entries.empty()) return false;
  try {
    std::ofstream(zip_path(), std::ios::binary) << write_archive(entries, 0);
  } catch (const SystemError&) {
    return false;  // a path that libzip refuses to write
  }
  return true;
}

std::string json_of(const Diagnostics& diagnostics, const Sources& sources) {
  JsonWriter json;
  diagnostics_json(diagnostics, sources, json);
  return json.finish();
}

void tell(const Verdict& verdict, const Sources& sources, const std::vector<std::string>& files) {
  fuzz::require_sound(verdict.brought, sources);
  fuzz::require_sound(verdict.standing, sources);
  fuzz::require_plain(diagnostics_text(verdict.brought, sources, {}), "the text hides nothing");
  fuzz::require_plain(impact_markdown(verdict, sources, {"the tree as it stands", files}),
                      "the Markdown hides nothing");
  JsonWriter impact;
  impact_json(verdict, impact);
  for (const std::string& json : {json_of(verdict.brought, sources), json_of(verdict.standing, sources),
                                  sarif_report(verdict.brought, sources, "0"), impact.finish()}) {
    fuzz::require_plain(json, "the JSON hides nothing");
    require(!nlohmann::json::parse(json, nullptr, false).is_discarded(), "the JSON is JSON");
  }
}

}  // namespace

extern "C" int LLVMFuzzerInitialize(int*, char***) {
  setenv("TZ", "UTC0", 1);  // as the program sets it
  zip_path();
  std::atexit([] { unlink(zip_path().c_str()); });
  return 0;
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (!write_zip(fuzz::text_of(data, size))) return -1;
  Diagnostics faults;
  Overlay overlay = read_overlay(zip_path(), faults);
  check_places(overlay, base_root, faults);
  if (faults.any_errors()) {
    fuzz::require_plain(diagnostics_text(faults, base_sources(), {}), "the text hides nothing");
    return 0;
  }
  ReadSide proposal;
  proposal.sources = lay_over(base_sources(), {}, overlay, proposal.diagnostics);
  std::vector<std::string> touched = touched_by(overlay, base_root);
  const ReadSide& base = base_aligned_with(proposal, touched);
  check_paths(touched, proposal.sources, proposal.diagnostics);
  proposal.link(&base.tree);
  Contribution contribution;
  for (const std::string& path : touched) {
    auto file = std::find_if(overlay.files.begin(), overlay.files.end(), [&](const auto& f) { return f.path == path; });
    contribution.touched.push_back({path, file->bytes.size()});
  }
  // The base has no error, so what a check of the whole proposal finds is the contribution's.
  Diagnostics whole = proposal.diagnostics;
  check_selection(proposal.tree, proposal.selection, 1, whole);
  auto fails_for = [&](Tier audience) {
    Verdict verdict =
        judge({base.side(), base.diagnostics}, {proposal.side(), proposal.diagnostics}, contribution, audience, 1);
    tell(verdict, proposal.sources, touched);
    return verdict.brought.any_errors() || verdict.withheld[0] > 0;
  };
  bool fails = fails_for(Tier::supporter);
  require(fails || !whole.any_errors(), "an error of the whole tree fails the contribution");
  require(fails_for(Tier::free) == fails, "both audiences get one verdict");
  return 0;
}
