// The stages of the program one by one, each on one core, over a tree in a folder: its argument, or BINDERY_TREE.
//
//   bindery_stages build/bench/plain --benchmark_filter=resolve
//
// A stage gets what the one before it left, made once. Items are what it goes through: files, fragments, profiles.
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <deque>
#include <exception>
#include <memory>
#include <stdexcept>
#include <string>
#include <vector>

#include <benchmark/benchmark.h>

#include "archive/archive.h"
#include "check/check.h"
#include "release/profile_file.h"
#include "resolve/profile.h"
#include "resolve/select.h"
#include "resolve/tree.h"
#include "source/source.h"
#include "syntax/document.h"
#include "syntax/fragment.h"

using namespace bindery;

namespace {

constexpr unsigned jobs = 1;
constexpr std::size_t sample_size = 200;  // all profiles at once would fill the memory

// What all stages read.
struct World {
  explicit World(const std::string& folder) : root(find_root(folder)) {
    Diagnostics reports;
    sources = read_folder(root, jobs, reports);
    tree = load_tree(sources, jobs, reports);
    selection = select_profiles(tree, reports);
    Resolver resolver(tree);
    std::size_t step = std::max<std::size_t>(1, selection.profiles.size() / sample_size);
    for (std::size_t i = 0; i < selection.profiles.size(); i += step) {
      sample.push_back(&selection.profiles[i]);
      profiles.push_back(resolver.resolve(selection.profiles[i].triple, reports));
      files.push_back(ProfileWriter(tree).write(selection.profiles[i], profiles.back()));
    }
    if (reports.any_errors() || files.empty()) throw std::runtime_error("the tree has errors, or no profile");
  }

  std::filesystem::path root;
  Sources sources;
  Tree tree;
  Selection selection;
  std::vector<const Selected*> sample;  // spread evenly over the selection
  std::deque<Profile> profiles;         // of the sample; copies would point into the lists of the first
  std::vector<std::string> files;       // of the sample
};

std::unique_ptr<const World> world;

bool is_document(const SourceFile& file) { return file.sound && file.path.ends_with(".yaml"); }

bool is_fragment(const SourceFile& file) {
  return is_document(file) &&
         (file.path.starts_with("profiles-src/machine/") || file.path.starts_with("profiles-src/material/") ||
          file.path.starts_with("profiles-src/process/"));
}

void count(benchmark::State& state, std::size_t items, std::size_t bytes = 0) {
  auto runs = static_cast<std::int64_t>(state.iterations());
  state.SetItemsProcessed(runs * static_cast<std::int64_t>(items));
  if (bytes > 0) state.SetBytesProcessed(runs * static_cast<std::int64_t>(bytes));
}

void read_the_folder(benchmark::State& state) {
  for (auto each : state) {
    Diagnostics reports;
    benchmark::DoNotOptimize(read_folder(world->root, jobs, reports));
  }
  count(state, world->sources.files.size());
}

// YAML to the tape of nodes.
void parse_documents(benchmark::State& state) {
  std::size_t files = 0, bytes = 0;
  for (auto each : state) {
    files = bytes = 0;
    Diagnostics reports;
    for (FileId id = 0; id < world->sources.files.size(); ++id) {
      if (!is_document(world->sources[id])) continue;
      benchmark::DoNotOptimize(parse_document(id, world->sources[id], reports));
      ++files;
      bytes += world->sources[id].text.size();
    }
  }
  count(state, files, bytes);
}

// Parsing included.
void read_fragments(benchmark::State& state) {
  std::size_t fragments = 0, bytes = 0;
  for (auto each : state) {
    fragments = bytes = 0;
    Diagnostics reports;
    for (FileId id = 0; id < world->sources.files.size(); ++id) {
      if (!is_fragment(world->sources[id])) continue;
      fragments += read_fragment(id, world->sources[id], reports).fragments.size();
      bytes += world->sources[id].text.size();
    }
  }
  count(state, fragments, bytes);
}

// Dictionary and plan read, fragments read, bound, linked and linearised.
void load_the_tree(benchmark::State& state) {
  for (auto each : state) {
    Diagnostics reports;
    benchmark::DoNotOptimize(load_tree(world->sources, jobs, reports));
  }
  count(state, world->tree.fragments.size());
}

void select_all(benchmark::State& state) {
  for (auto each : state) {
    Diagnostics reports;
    benchmark::DoNotOptimize(select_profiles(world->tree, reports));
  }
  count(state, world->selection.profiles.size());
}

void resolve_all(benchmark::State& state) {
  for (auto each : state) {
    Diagnostics reports;
    Resolver resolver(world->tree);
    for (const Selected& selected : world->selection.profiles)
      benchmark::DoNotOptimize(resolver.resolve(selected.triple, reports));
  }
  count(state, world->selection.profiles.size());
}

// Resolving included.
void check_all(benchmark::State& state) {
  for (auto each : state) {
    Diagnostics reports;
    check_selection(world->tree, world->selection, jobs, reports);
  }
  count(state, world->selection.profiles.size());
}

// One after the other of the sample.
void write_profile_file(benchmark::State& state) {
  std::size_t at = 0;
  ProfileWriter writer(world->tree);
  for (auto each : state) {
    benchmark::DoNotOptimize(writer.write(*world->sample[at], world->profiles[at]));
    at = (at + 1) % world->sample.size();
  }
  count(state, 1);
}

// The same for compressing, checksum and digest included.
void pack_profile_file(benchmark::State& state) {
  std::size_t at = 0, bytes = 0;
  for (auto each : state) {
    benchmark::DoNotOptimize(pack("profiles/some.json", world->files[at]));
    bytes += world->files[at].size();
    at = (at + 1) % world->files.size();
  }
  count(state, 1);
  state.SetBytesProcessed(static_cast<std::int64_t>(bytes));
}

BENCHMARK(read_the_folder)->Unit(benchmark::kMillisecond);
BENCHMARK(parse_documents)->Unit(benchmark::kMillisecond);
BENCHMARK(read_fragments)->Unit(benchmark::kMillisecond);
BENCHMARK(load_the_tree)->Unit(benchmark::kMillisecond);
BENCHMARK(select_all)->Unit(benchmark::kMillisecond);
BENCHMARK(resolve_all)->Unit(benchmark::kMillisecond);
BENCHMARK(check_all)->Unit(benchmark::kMillisecond);
BENCHMARK(write_profile_file)->Unit(benchmark::kMicrosecond);
BENCHMARK(pack_profile_file)->Unit(benchmark::kMicrosecond);

}  // namespace

int main(int count, char** arguments) {
  benchmark::Initialize(&count, arguments);
  const char* named = std::getenv("BINDERY_TREE");
  std::string folder = count > 1 ? arguments[1] : named != nullptr ? named : "";
  if (folder.empty() || folder.starts_with('-') || count > 2) {
    std::fputs(
        "usage: bindery_stages FOLDER [--benchmark_filter=WORDS]; a tree, as tests/bench/generate.py writes it\n",
        stderr);
    return 2;
  }
  try {
    world = std::make_unique<const World>(folder);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "error: %s: %s\n", folder.c_str(), error.what());
    return 1;
  }
  benchmark::RunSpecifiedBenchmarks();
  benchmark::Shutdown();
}
