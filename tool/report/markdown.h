// Texts from the sources as Markdown shows them: what they hold can neither end a span nor start a tag.
#pragma once

#include <string>
#include <string_view>

namespace bindery {

// `text` in a code span, on one line.
std::string code(std::string_view text);

// Words as they are, with the signs that Markdown and HTML would read taken as letters.
std::string plain_text(std::string_view text);

// Markdown that a person wrote, with what would reach beyond its own item taken as letters: headings, frames, HTML.
std::string tame_markdown(std::string_view text);

}  // namespace bindery
