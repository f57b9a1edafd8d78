// What the fuzz targets share: how an input is cut into files, and the promises that hold for any input.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <map>
#include <string>
#include <string_view>

#include "base/diagnostic.h"
#include "base/utf8.h"
#include "source/source.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

namespace bindery::fuzz {

// Ends the run, and so keeps the input, where a promise is broken.
inline void require(bool holds, std::string_view promise) {
  if (holds) return;
  std::fprintf(stderr, "broken promise: %.*s\n", static_cast<int>(promise.size()), promise.data());
  std::abort();
}

inline std::string_view text_of(const std::uint8_t* data, std::size_t size) {
  return size == 0 ? std::string_view() : std::string_view(reinterpret_cast<const char*>(data), size);
}

// The next line, taken off the text with its line break.
inline std::string_view take_line(std::string_view& text) {
  std::size_t end = std::min(text.find('\n'), text.size());
  std::string_view line = text.substr(0, end);
  text.remove_prefix(std::min(end + 1, text.size()));
  return line;
}

// `== NAME` on a line of its own begins the part of that name, as in the cases; of two of one name the later counts.
// What stands before the first has the name "".
inline std::map<std::string, std::string> parts_of(std::string_view text) {
  std::map<std::string, std::string> out;
  std::string* part = nullptr;
  while (!text.empty()) {
    std::string_view rest = text, line = take_line(text);
    bool ended = rest.size() > line.size();
    if (line.starts_with("== ")) {
      part = &out[std::string(line.substr(3))];
      part->clear();
      continue;
    }
    if (part == nullptr) part = &out[""];
    part->append(rest.substr(0, line.size() + (ended ? 1 : 0)));
  }
  return out;
}

// Is it a place of these sources, or none?
inline bool is_place(Span span, const Sources& sources) {
  if (!span.known()) return true;
  return span.file < sources.files.size() && span.begin <= span.end && span.end <= sources[span.file].text.size() + 1;
}

// Texts that are printed turn no terminal and mislead no reader.
inline void require_plain(std::string_view text, std::string_view promise) {
  require(is_utf8(text) && !find_hidden(text), promise);
}

// The same for what stands on one line, where a second could look like a report of its own.
inline void require_line(std::string_view text, std::string_view promise) {
  require_plain(text, promise);
  require(text.find('\n') == std::string_view::npos, promise);
}

// Every report names a place that exists and says something.
inline void require_sound(const Diagnostics& diagnostics, const Sources& sources) {
  for (const Diagnostic& item : diagnostics.items()) {
    require(is_place(item.span, sources), "a report stands at a place of the sources");
    require(!item.message.empty(), "a report says something");
    require_line(item.message, "a report is one line that hides nothing");
    require_line(item.help, "a cure is one line that hides nothing");
    for (const Related& each : item.related) {
      require(is_place(each.span, sources), "a related place is one of the sources");
      require_line(each.message, "what is said of it is one line that hides nothing");
    }
  }
}

}  // namespace bindery::fuzz
