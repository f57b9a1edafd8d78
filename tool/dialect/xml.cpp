// xml: elements and attributes as the layout names them; other attributes are passed over.
#include <algorithm>

#include <fmt/format.h>

#include <pugixml.hpp>

#include "dialect/families.h"

namespace bindery {

namespace {

// A name of XML 1.0 in ASCII: which other letters a name has differs between the editions, and so between readers. The
// colon stands for namespaces.
bool is_xml_name(std::string_view name) {
  auto fits = [&](const char& c) {
    bool letter = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
    return letter || (&c != name.data() && ((c >= '0' && c <= '9') || c == '-' || c == '.'));
  };
  return std::all_of(name.begin(), name.end(), fits);
}

bool starts_with_xml(std::string_view name) {
  return name.size() >= 3 && (name[0] | 0x20) == 'x' && (name[1] | 0x20) == 'm' && (name[2] | 0x20) == 'l';
}

std::string tell(pugi::xml_parse_status status) {
  switch (status) {
    case pugi::status_end_element_mismatch: return "an element is closed that is not open, or never closed";
    case pugi::status_bad_attribute: return "this attribute is malformed";
    case pugi::status_bad_start_element: return "this element is malformed";
    case pugi::status_bad_end_element: return "this end of an element is malformed";
    case pugi::status_bad_pi: return "this processing instruction is malformed";
    case pugi::status_unrecognized_tag: return "no name of an element starts here";
    default: return "this is no XML";
  }
}

class XmlReader {
 public:
  XmlReader(const Layout& layout, std::string_view text, Gathering& to) : layout_(layout), text_(text), to_(to) {}

  void read() {
    if (!sound_markup(text_, to_)) return;
    pugi::xml_document document;
    constexpr unsigned flags = pugi::parse_default | pugi::parse_ws_pcdata | pugi::parse_comments |
                               pugi::parse_declaration | pugi::parse_fragment;
    pugi::xml_parse_result result = document.load_buffer(text_.data(), text_.size(), flags, pugi::encoding_utf8);
    if (!result) {
      std::size_t at = std::min(static_cast<std::size_t>(result.offset), text_.size() - 1);
      to_.report(Code::program_file, to_.span(at, at + 1), tell(result.status))
          .with_help("take the file anew from the program, or mend it here");
      return;
    }
    if (pugi::xml_node root = outermost(document)) section(root, Gathering::top);
  }

 private:
  static std::size_t offset(pugi::xml_node node) {
    return static_cast<std::size_t>(std::max<std::ptrdiff_t>(node.offset_debug(), 0));
  }
  Span name_place(pugi::xml_node element) const {
    std::size_t at = offset(element);
    return to_.span(at, at + std::string_view(element.name()).size());
  }

  pugi::xml_node outermost(const pugi::xml_document& document) {
    pugi::xml_node root;
    for (pugi::xml_node node : document.children()) {
      if (node.type() == pugi::node_comment && !root) head_comment(node);
      if (node.type() == pugi::node_declaration && !known_encoding(node)) return {};
      bool text = node.type() == pugi::node_cdata || (node.type() == pugi::node_pcdata && !is_blank(node.value()));
      if (text || (node.type() == pugi::node_element && root)) {
        Span place = text ? to_.span(offset(node), offset(node) + 1) : name_place(node);
        to_.report(Code::program_file, place, "this stands outside of the outermost element")
            .with_help("delete it, or move it into the element");
        return {};
      }
      if (node.type() == pugi::node_element) root = node;
    }
    if (!root) {
      to_.report(Code::program_file, to_.span(0, 1), "the file holds no element")
          .with_help("take the file anew from the program");
    } else if (root.name() != layout_.root) {
      to_.report(Code::program_file, name_place(root),
                 fmt::format("the outermost element is '{}', where a file of the dialect has '{}'", root.name(),
                             layout_.root))
          .with_help("check that the file is of this dialect, or mend `root` in it");
      return {};
    }
    return root;
  }

  // A file that names another encoding than it has is read wrongly by one of two programs.
  bool known_encoding(pugi::xml_node declaration) {
    std::string name = declaration.attribute("encoding").value();
    for (char& c : name) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
    bool ascii = std::all_of(text_.begin(), text_.end(), [](char c) { return static_cast<unsigned char>(c) < 0x80; });
    if (ascii || name.empty() || name == "utf-8") return true;
    std::size_t at = text_.find("encoding");
    to_.report(Code::file_encoding, to_.span(at, at + 8),
               fmt::format("the file says that it is in '{}', and its bytes are UTF-8", name))
        .with_help("save it as UTF-8, and say so");
    return false;
  }

  void head_comment(pugi::xml_node node) {
    std::string_view text = node.value();
    Span place = to_.span(offset(node), offset(node) + text.size());
    if (text.find('\n') == std::string_view::npos) {
      if (text.starts_with(' ')) text.remove_prefix(1);
      if (text.ends_with(' ')) text.remove_suffix(1);
      to_.comment(std::string(text), place);
      return;
    }
    for (Lines lines(text); lines.next();) {
      if (std::string_view line = trimmed(lines.line()); !line.empty()) to_.comment(std::string(line), place);
    }
  }

  static bool is_blank(std::string_view text) { return text.find_first_not_of(" \t\r\n") == std::string_view::npos; }
  static bool has_elements(pugi::xml_node node) {
    for (pugi::xml_node child : node.children()) {
      if (child.type() == pugi::node_element) return true;
    }
    return false;
  }

  // Calls itself as deep as sections may lie.
  void section(pugi::xml_node outer, Gathering::Section into) {
    for (pugi::xml_node node : outer.children()) {
      if (to_.stopped()) return;
      bool text = node.type() == pugi::node_cdata || (node.type() == pugi::node_pcdata && !is_blank(node.value()));
      if (text) {
        std::size_t at = offset(node);
        to_.report(Code::program_file, to_.span(at, text_.find_first_of("<\n", at)),
                   fmt::format("text stands beside the elements of '{}'", outer.name()))
            .with_help("put it into an element of its own");
      }
      if (node.type() == pugi::node_element) element(node, into);
    }
  }

  void element(pugi::xml_node node, Gathering::Section into) {
    std::string_view name = node.name();
    bool as_item = name == layout_.item, as_section = name == layout_.section;
    bool of_items = !layout_.item.empty(), of_sections = !layout_.section.empty();
    bool is_section = false;
    if (as_item || as_section) is_section = as_item && as_section ? has_elements(node) : as_section;
    else if (of_items && of_sections) {
      to_.report(Code::program_file, name_place(node),
                 fmt::format("the element '{}' is neither '{}' nor '{}'", name, layout_.item, layout_.section))
          .with_help("check that the file is of this dialect, or mend `item` and `section` in it");
      return;
    } else if (of_items) is_section = true;
    else if (of_sections) is_section = false;
    else is_section = has_elements(node);

    Span key_place = name_place(node);
    std::string key(name);
    if (is_section ? of_sections : of_items) {
      auto found = attribute(node, layout_.key_in);
      if (!found) return;
      key = to_.sound_value(std::move(found->first), found->second);
      if (!key.empty()) key_place = found->second;
    }
    if (!to_.sound_name(key, key_place)) return;
    if (is_section) {
      if (auto inner = to_.reopen(into, key, key_place)) section(node, *inner);
      return;
    }
    auto value = layout_.value_in.empty() ? text_of(node) : attribute(node, layout_.value_in);
    if (value) to_.repeat(into, key, {std::move(value->first), false}, key_place, value->second);
  }

  // The text of an element without others, and its place.
  std::optional<std::pair<std::string, Span>> text_of(pugi::xml_node element) {
    std::pair<std::string, Span> out{{}, name_place(element)};
    bool any = false;
    for (pugi::xml_node node : element.children()) {
      if (node.type() == pugi::node_element) {
        to_.report(Code::program_file, name_place(node),
                   fmt::format("an element stands in '{}', which holds a value", element.name()))
            .with_help("check that the file is of this dialect");
        return std::nullopt;
      }
      if (node.type() != pugi::node_pcdata && node.type() != pugi::node_cdata) continue;
      std::size_t begin = offset(node);
      std::size_t end = node.type() == pugi::node_cdata ? text_.find("]]>", begin) : text_.find('<', begin);
      if (!any) out.second = to_.span(begin, end);
      out.second.end = static_cast<std::uint32_t>(end);
      any = true;
      out.first += node.value();
    }
    return out;
  }

  // An attribute that must be there, once, and its place.
  std::optional<std::pair<std::string, Span>> attribute(pugi::xml_node element, const std::string& name) {
    std::optional<std::pair<std::string, Span>> out;
    std::size_t at = offset(element) + std::string_view(element.name()).size();
    for (pugi::xml_attribute each : element.attributes()) {
      std::size_t name_at = text_.find_first_not_of(" \t\r\n", at), open = text_.find_first_of("\"'", name_at);
      if (open == std::string_view::npos) break;
      std::size_t close = text_.find(text_[open], open + 1);
      at = close + 1;
      if (each.name() != name) continue;
      if (out) {
        to_.report(Code::program_key_twice, to_.span(name_at, name_at + name.size()),
                   fmt::format("the attribute '{}' stands twice in one element", name))
            .with_help("keep one of the two");
        return std::nullopt;
      }
      out.emplace(each.value(), to_.span(open + 1, close));
    }
    if (!out) {
      to_.report(Code::program_file, name_place(element),
                 fmt::format("the element '{}' has no attribute '{}'", element.name(), name))
          .with_help("check that the file is of this dialect");
    }
    return out;
  }

  const Layout& layout_;
  std::string_view text_;
  Gathering& to_;
};

// `attribute`: line breaks and tabs would be read as blanks.
std::string escaped(std::string_view text, bool attribute) {
  std::string out;
  for (char c : text) {
    switch (c) {
      case '&': out += "&amp;"; break;
      case '<': out += "&lt;"; break;
      case '>': out += "&gt;"; break;
      case '"': out += attribute ? "&quot;" : "\""; break;
      case '\n': out += attribute ? "&#10;" : "\n"; break;
      case '\t': out += attribute ? "&#9;" : "\t"; break;
      default: out += c;
    }
  }
  return out;
}

class XmlWriter {
 public:
  XmlWriter(const Layout& layout, const FileContent& content) : layout_(layout), tree_(content, false) {
    out_ = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";
    // One line each; two hyphens would end it.
    for (std::string line : content.comments) {
      for (std::size_t at = 0; (at = line.find("--", at)) != std::string::npos; at += 2) line.insert(at + 1, " ");
      std::replace(line.begin(), line.end(), '\n', ' ');
      out_ += fmt::format("<!-- {} -->\n", line);
    }
  }

  std::string write() {
    if (tree_.branches[0].items.empty()) return out_ + fmt::format("<{}/>\n", layout_.root);
    out_ += fmt::format("<{}>\n", layout_.root);
    branch(0, 1);
    out_ += fmt::format("</{}>\n", layout_.root);
    return std::move(out_);
  }

 private:
  void indent(std::size_t level) { out_.append(level * static_cast<std::size_t>(std::max(layout_.indent, 0)), ' '); }

  // Calls itself as deep as sections lie.
  void branch(std::size_t at, std::size_t level) {
    for (const Branches::Item& item : tree_.branches[at].items) {
      if (item.entry == nullptr) {
        std::string_view name = tree_.branches[item.branch].name;
        indent(level);
        start(layout_.section, name);
        out_ += ">\n";
        branch(item.branch, level + 1);
        indent(level);
        out_ += fmt::format("</{}>\n", layout_.section.empty() ? name : std::string_view(layout_.section));
        continue;
      }
      for (const Scalar& scalar : item.entry->values) {
        indent(level);
        start(layout_.item, item.entry->key);
        if (!layout_.value_in.empty())
          out_ += fmt::format(" {}=\"{}\"/>\n", layout_.value_in, escaped(scalar.text, true));
        else
          out_ += fmt::format(">{}</{}>\n", escaped(scalar.text, false),
                              layout_.item.empty() ? item.entry->key : layout_.item);
      }
    }
  }

  // The start of a tag up to the name: `<name`, or `<element key_in="name"`.
  void start(const std::string& element, std::string_view name) {
    if (element.empty()) out_ += fmt::format("<{}", name);
    else out_ += fmt::format("<{} {}=\"{}\"", element, layout_.key_in, escaped(name, true));
  }

  const Layout& layout_;
  Branches tree_;
  std::string out_;
};

// What the elements of a file without others have in common, and those with others.
struct Shape {
  pugi::xml_node first;
  bool any = false, alike = true;

  void meet(pugi::xml_node node) {
    if (any && std::string_view(first.name()) != node.name()) alike = false;
    if (!any) first = node;
    any = true;
  }
};

}  // namespace

std::string write_xml(const Layout& layout, const FileContent& content) { return XmlWriter(layout, content).write(); }

void read_xml(const Layout& layout, const SourceFile& file, Gathering& to) { XmlReader(layout, file.text, to).read(); }

std::string unfit_xml(const Layout& layout, std::string_view name, bool section) {
  if (!(section ? layout.section : layout.item).empty()) return {};
  const std::string& taken = section ? layout.item : layout.section;
  if (!taken.empty() && name == taken)
    return fmt::format("'{}' is the element of all {}", name, section ? "keys" : "sections");
  if (starts_with_xml(name)) return "no XML element has a name that starts with 'xml'";
  if (!is_xml_name(name))
    return "the name of an XML element is letters, digits, '_', '-' and '.', and starts with a letter or '_'";
  return {};
}

void recognise_xml(std::string_view text, Layout& layout) {
  pugi::xml_document document;
  if (text.size() > largest_program_file ||
      !document.load_buffer(text.data(), text.size(), pugi::parse_default, pugi::encoding_utf8))
    return;
  pugi::xml_node root = document.document_element();
  layout.root = root.name();
  layout.indent = likely_indent(text).value_or(layout.indent);
  Shape keys, sections;
  std::size_t elements = 0;
  for (pugi::xml_node node = root.first_child(); node && elements < 1000;) {
    if (node.type() == pugi::node_element) {
      ++elements;
      bool outer = node.first_child().type() == pugi::node_element;
      (outer ? sections : keys).meet(node);
      if (outer) {
        node = node.first_child();
        continue;
      }
    }
    while (!node.next_sibling() && node.parent() != root) node = node.parent();
    node = node.next_sibling();
  }
  // Where all keys are one element with an attribute, that holds the key.
  if (pugi::xml_attribute key = keys.first.first_attribute(); keys.any && keys.alike && key) {
    layout.item = keys.first.name();
    layout.key_in = key.name();
    pugi::xml_attribute value = key.next_attribute();
    if (value && !keys.first.first_child()) layout.value_in = value.name();
  }
  if (sections.any && sections.alike && sections.first.attribute(layout.key_in.c_str()))
    layout.section = sections.first.name();
}

}  // namespace bindery
