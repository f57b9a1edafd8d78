// One YAML document as a flat tape of nodes in the order of the text, with the place of each.
//
// What the language leaves out of YAML never gets here, so that later stages see clean mappings alone.
#pragma once

#include <cstdint>
#include <list>
#include <optional>
#include <string>
#include <vector>

#include "base/diagnostic.h"
#include "base/span.h"
#include "source/source.h"

namespace bindery {

enum class NodeKind : std::uint8_t { mapping, list, scalar, null };

// A mapping's children are key, value, key, value...; keys are scalars. `next` is the node after the subtree.
struct Node {
  NodeKind kind = NodeKind::null;
  std::uint32_t next = 0;
  Text text;  // the scalar, or the word for null; for others, and where nothing is written, only the span

  bool operator==(const Node&) const = default;
};

class Document {
 public:
  bool empty() const { return nodes.empty(); }
  const Node& operator[](std::uint32_t index) const { return nodes[index]; }

  std::vector<Node> nodes;
  std::list<std::string> owned;  // scalars whose text differs from the bytes of the file
};

// Parses a sound text: the plain layout in one pass, the rest of YAML by yaml-cpp, with the same result. Gives nothing
// where the file is no document of the language, after reporting why.
std::optional<Document> parse_document(FileId id, const SourceFile& file, Diagnostics& out);

// The place of text[offset, offset + length) of a block or any other scalar: exact where the bytes are in
// the file as they stand, for a literal block by its lines, otherwise the whole scalar.
Span place_within(const SourceFile& file, const Text& scalar, std::size_t offset, std::size_t length);

}  // namespace bindery
