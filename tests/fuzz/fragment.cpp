// The reader of fragments: a text as parse_document() and read_fragment() get it. The first line may say for which kind
// it is meant: `# material` or `# process`.
#include "syntax/fragment.h"
#include "fuzz.h"
#include "report/diagnostics.h"
#include "syntax/document.h"
#include "syntax/plain.h"
#include "syntax/yaml.h"

using namespace bindery;
using fuzz::require;

namespace {

std::string_view kind_in(std::string_view text) {
  for (std::string_view kind : {"material", "process"}) {
    if (text.starts_with("# ") && text.substr(2).starts_with(kind)) return kind;
  }
  return "machine";
}

// A scalar's place is its own, and so is that of each of its lines.
void check_scalar(const SourceFile& file, const Text& scalar) {
  if (scalar.exact) {
    require(scalar.inner + scalar.text.size() <= file.text.size(), "an exact scalar lies within its file");
    require(std::string_view(file.text).substr(scalar.inner, scalar.text.size()) == scalar.text,
            "an exact scalar is the bytes of its file");
  }
  std::string_view rest = scalar.text;
  while (!rest.empty()) {
    std::size_t offset = scalar.text.size() - rest.size();
    std::string_view line = fuzz::take_line(rest);
    Span span = place_within(file, scalar, offset, line.size());
    require(span.begin <= span.end && span.end <= file.text.size() + 1, "a line of a scalar lies within its file");
    bool told = scalar.exact || scalar.block;
    require(!told || span == scalar.span || file.text.compare(span.begin, line.size(), line) == 0,
            "the place of a line holds that line");
  }
}

void check_document(const Document& document, const SourceFile& file) {
  auto size = static_cast<std::uint32_t>(document.nodes.size());
  require(size > 0 && document[0].kind == NodeKind::mapping, "a document is a mapping");
  require(document[0].next == size, "a document is one tree");
  for (std::uint32_t at = 0; at < size; ++at) {
    const Node& node = document[at];
    require(node.next > at && node.next <= size, "a subtree ends within the document");
    require(node.text.span.begin <= node.text.span.end && node.text.span.end <= file.text.size() + 1,
            "a node lies within its file");
    if (node.kind == NodeKind::scalar) check_scalar(file, node.text);
  }
}

// The plain layout is read as yaml-cpp reads it, or not at all.
void check_plain(const SourceFile& file) {
  Document plain;
  if (!read_plain(0, file.text, plain)) {
    require(plain.empty(), "what is not in the plain layout leaves nothing");
    return;
  }
  Diagnostics said;
  auto yaml = parse_yaml(0, file, said);
  require(yaml.has_value() && !said.any_errors(), "the plain layout is YAML");
  require(plain.nodes == yaml->nodes, "the plain layout is read as yaml-cpp reads it");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  std::string_view text = fuzz::text_of(data, size);
  Sources sources;
  sources.files.push_back(
      {.path = "profiles-src/" + std::string(kind_in(text)) + "/a.yaml", .text = std::string(text)});
  SourceFile& file = sources.files.front();
  Diagnostics unsound;
  check_text(0, file, unsound);
  require(file.sound != unsound.any_errors(), "an unsound text is reported");
  if (file.sound) {
    Diagnostics said;
    auto document = parse_document(0, file, said);
    require(document.has_value() || said.any_errors(), "a text that is no document is reported");
    if (document) check_document(*document, file);
    check_plain(file);
  }

  Diagnostics out;
  FragmentFile read = read_fragment(0, file, out);
  require(!read.fragments.empty(), "a file gives one fragment at least");
  for (const Fragment& each : read.fragments) {
    bool reported = out.any_errors() || unsound.any_errors();
    require(!each.broken || reported, "a broken fragment is reported");
  }
  fuzz::require_sound(out, sources);
  out.settle();
  diagnostics_text(out, sources, {});
  return 0;
}
