// Texts in the form DEFLATE (RFC 1951), which archives hold.
//
// A long text is deflated in sections, none of which looks back at another: those that an edit leaves as they were need
// not be deflated again. Where a section ends depends on the text about there alone, so that what is put in or taken
// out moves the next end at most, and the ones after it not.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

namespace bindery {

// A section of a text, which begins in its deflated form where the section before it ends.
struct Section {
  std::string digest;        // SHA-256 of its text
  std::uint64_t length = 0;  // of its deflated form
};

// Appends the deflated form of the section with that digest; false, and nothing is appended, where it is not known.
using FindSection = std::function<bool(const std::string& digest, std::string& out)>;

struct Deflated {
  std::string data;
  bool deflated = true;           // else the text itself: a short one that would not become shorter
  std::vector<Section> sections;  // of a long text; of another none
};

Deflated deflate(std::string_view text);

// The same of a text that comes in parts, whatever they are and whatever `find` knows: from several threads; it may be
// none.
class Deflater {
 public:
  Deflater(FindSection find, unsigned jobs);

  void add(std::string_view text);
  Deflated finish();

 private:
  void cut(bool last);
  void deflate_sections();

  FindSection find_;
  unsigned jobs_;
  std::uint64_t size_ = 0;
  std::string rest_;               // what is not deflated yet
  std::vector<std::size_t> ends_;  // of the sections that it begins with
  Deflated out_;
};

// CRC-32 of bytes, as archives have it, that follow others.
std::uint32_t checksum(std::string_view bytes, std::uint32_t before = 0);

}  // namespace bindery
