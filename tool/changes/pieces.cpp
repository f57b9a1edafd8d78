// The edits of one fragment: its two versions compared by what they say, whatever their layout.
#include <algorithm>
#include <map>

#include <fmt/format.h>

#include "base/json.h"
#include "changes/edits.h"

namespace bindery {

namespace {

using Pieces = std::map<std::string, std::string>;

std::string in_quotes(std::string_view text) { return json_quoted(text); }

std::string as_written(const RawLimit& limit) {
  if (limit.drop_all) return "none";
  std::string out = "{";
  std::vector<RawBound> bounds = limit.bounds;
  std::stable_sort(bounds.begin(), bounds.end(), [](const RawBound& a, const RawBound& b) { return a.side < b.side; });
  for (const RawBound& bound : bounds) {
    constexpr std::string_view sides[] = {"at_most", "at_least", "among"};
    out += fmt::format("{} {}: {}", out.size() == 1 ? "" : ",", sides[static_cast<std::size_t>(bound.side)],
                       bound.drop ? "none" : as_written(bound.value));
  }
  return out + (limit.refuse ? ", else: refuse }" : " }");
}

std::string as_written(const RawScript& script) {
  switch (script.act) {
    case RawScript::Act::drop: return "none";
    case RawScript::Act::before: return fmt::format("before: |\n{}", script.text.text);
    case RawScript::Act::after: return fmt::format("after: |\n{}", script.text.text);
    default:
      return script.text.text == "none" || script.text.empty() ? in_quotes(script.text.text)
                                                               : std::string(script.text.text);
  }
}

Pieces writes_of(const std::vector<RawWrite>& writes) {
  Pieces out;
  for (const RawWrite& each : writes) out.emplace(each.key, as_written(each.value));
  return out;
}

Pieces limits_of(const RawLayer& layer) {
  Pieces out;
  for (const RawLimit& each : layer.limits) out.emplace(each.pattern.text, as_written(each));
  return out;
}

Pieces scripts_of(const RawLayer& layer) {
  Pieces out;
  std::vector<RawScript> scripts = layer.scripts;
  std::stable_sort(scripts.begin(), scripts.end(),
                   [](const RawScript& a, const RawScript& b) { return a.act < b.act; });
  for (const RawScript& each : scripts) {
    std::string& text = out[std::string(name_of(each.slot))];
    text += (text.empty() ? "" : "\n") + as_written(each);
  }
  return out;
}

std::string as_written(const RawMacro& macro) {
  if (macro.drop) return "none";
  std::string out = "{";
  auto add = [&](std::string_view word, const std::string& text) {
    out += fmt::format("{} {}: {}", out.size() == 1 ? "" : ",", word, text);
  };
  auto list = [&](std::string_view word, const std::vector<Text>& words) {
    if (!words.empty()) add(word, joined(words));
  };
  auto values = [&](std::string_view word, const std::vector<std::pair<Text, RawValue>>& pairs) {
    std::string inner;
    for (const auto& [name, value] : pairs)
      inner += fmt::format("{} {}: {}", inner.empty() ? "" : ",", name.text, as_written(value));
    if (!pairs.empty()) add(word, fmt::format("{{{} }}", inner));
  };
  list("takes", macro.takes);
  list("needs", macro.needs);
  list("homed", macro.homed);
  values("hot", macro.hot);
  values("positioned", macro.positioned);
  if (macro.extruded) add("extruded", as_written(*macro.extruded));
  list("off", macro.off);
  return out + " }";
}

std::string condition_of(const RawLayer& layer) {
  return layer.condition ? bindery::as_written(*layer.condition) : std::string();
}

class Comparison {
 public:
  Comparison(const Fragment* old, const Fragment* now) : old_(old), now_(now) {}

  FragmentEdits compare() {
    if (old_ == nullptr || now_ == nullptr) {
      const char* words[] = {"", "there"};
      out_.pieces.push_back({Part::fragment, "fragment", {}, {}, words[old_ != nullptr], words[now_ != nullptr]});
      return std::move(out_);
    }
    compare_header();
    pair_blocks();
    compare_layers(0, 0);
    for (const auto& [old_layer, new_layer] : out_.blocks) compare_layers(old_layer, new_layer);
    add_single_blocks();
    return std::move(out_);
  }

 private:
  void note(Part part, std::string name, std::string before, std::string after, std::string condition = {},
            std::array<std::uint32_t, 2> layer = {}) {
    if (before != after)
      out_.pieces.push_back({part, std::move(name), std::move(condition), layer, std::move(before), std::move(after)});
  }

  void compare_header() {
    auto text = [](const std::optional<Text>& t) { return t ? std::string(t->text) : std::string(); };
    auto list = [](const std::vector<Text>& words) { return words.empty() ? std::string() : joined(words); };
    auto flag = [](std::optional<bool> f) { return f ? std::string(*f ? "true" : "false") : std::string(); };
    auto word = [](auto value) { return value ? std::string(name_of(*value)) : std::string(); };
    auto condition = [](const std::optional<Condition>& c) { return c ? bindery::as_written(*c) : std::string(); };
    note(Part::words, "title", text(old_->title), text(now_->title));
    note(Part::words, "about", text(old_->about), text(now_->about));
    note(Part::words, "authors", list(old_->authors), list(now_->authors));
    note(Part::extends, "extends", list(old_->extends), list(now_->extends));
    note(Part::abstract, "abstract", flag(old_->abstract), flag(now_->abstract));
    note(Part::tier, "tier", word(old_->tier), word(now_->tier));
    note(Part::status, "status", word(old_->status), word(now_->status));
    note(Part::replaces, "replaces", list(old_->replaces), list(now_->replaces));
    note(Part::locked, "locked", list(old_->locked), list(now_->locked));
    note(Part::fits, "fits", condition(old_->fits), condition(now_->fits));
    compare_macros();
    // A rename is an edit of its own: conditions match names.
    if (old_->name != now_->name) note(Part::replaces, "name", old_->name, now_->name);
  }

  void compare_macros() {
    std::map<std::string, std::array<std::string, 2>> macros;
    for (const RawMacro& each : old_->macros) macros[std::string(each.name.text)][0] = as_written(each);
    for (const RawMacro& each : now_->macros) macros[std::string(each.name.text)][1] = as_written(each);
    for (auto& [name, texts] : macros) note(Part::macros, name, texts[0], texts[1]);
  }

  // Blocks with equal conditions belong together, in order; between two such pairs the rest pairs up by place, as far
  // as both sides have the same number.
  void pair_blocks() {
    std::vector<std::string> left, right;
    for (std::size_t i = 1; i < old_->layers.size(); ++i) left.push_back(condition_of(old_->layers[i]));
    for (std::size_t i = 1; i < now_->layers.size(); ++i) right.push_back(condition_of(now_->layers[i]));
    std::vector<std::vector<std::size_t>> longest(left.size() + 1, std::vector<std::size_t>(right.size() + 1, 0));
    for (std::size_t i = left.size(); i-- > 0;) {
      for (std::size_t j = right.size(); j-- > 0;)
        longest[i][j] =
            left[i] == right[j] ? longest[i + 1][j + 1] + 1 : std::max(longest[i + 1][j], longest[i][j + 1]);
    }
    std::size_t i = 0, j = 0, gap_i = 0, gap_j = 0;
    auto close_gap = [&] {
      for (; i - gap_i == j - gap_j && gap_i < i; ++gap_i, ++gap_j) pair(gap_i, gap_j);
    };
    while (i < left.size() && j < right.size()) {
      if (left[i] == right[j]) {
        close_gap();
        pair(i++, j++);
        gap_i = i;
        gap_j = j;
      } else if (longest[i + 1][j] >= longest[i][j + 1]) {
        ++i;
      } else {
        ++j;
      }
    }
    i = left.size();
    j = right.size();
    close_gap();
    pair_moved(left, right);
    std::sort(out_.blocks.begin(), out_.blocks.end());
  }

  // A block that stands elsewhere now is the same block; that it moved is an edit.
  void pair_moved(const std::vector<std::string>& left, const std::vector<std::string>& right) {
    for (std::uint32_t i = 1; i <= left.size(); ++i) {
      for (std::uint32_t j = 1; j <= right.size() && !paired(i, false); ++j) {
        if (left[i - 1] != right[j - 1] || paired(j, true)) continue;
        out_.blocks.emplace_back(i, j);
        note(Part::when, "when", fmt::format("block {}", i), fmt::format("block {}", j), right[j - 1], {i, j});
      }
    }
  }

  bool paired(std::uint32_t layer, bool new_side) const {
    return std::any_of(out_.blocks.begin(), out_.blocks.end(),
                       [&](const auto& each) { return (new_side ? each.second : each.first) == layer; });
  }

  void pair(std::size_t left, std::size_t right) {
    out_.blocks.emplace_back(static_cast<std::uint32_t>(left + 1), static_cast<std::uint32_t>(right + 1));
  }

  void compare_layers(std::uint32_t old_layer, std::uint32_t new_layer) {
    const RawLayer &before = old_->layers[old_layer], &after = now_->layers[new_layer];
    std::array<std::uint32_t, 2> at = {old_layer, new_layer};
    std::string condition = condition_of(after);
    if (condition_of(before) != condition) note(Part::when, "when", condition_of(before), condition, condition, at);
    compare_pieces(before, after, condition, at);
  }

  void compare_pieces(const RawLayer& before, const RawLayer& after, const std::string& condition,
                      std::array<std::uint32_t, 2> at) {
    auto compare = [&](Part part, const Pieces& left, const Pieces& right) {
      Pieces all = left;
      all.insert(right.begin(), right.end());
      for (const auto& [name, text] : all) {
        auto l = left.find(name), r = right.find(name);
        note(part, name, l == left.end() ? "" : l->second, r == right.end() ? "" : r->second, condition, at);
      }
    };
    compare(Part::settings, writes_of(before.settings), writes_of(after.settings));
    compare(Part::adjust, writes_of(before.adjust), writes_of(after.adjust));
    compare(Part::limits, limits_of(before), limits_of(after));
    compare(Part::scripts, scripts_of(before), scripts_of(after));
  }

  // A block that came or went: all its pieces did.
  void add_single_blocks() {
    static const RawLayer nothing;
    for (std::uint32_t i = 1; i < old_->layers.size(); ++i) {
      if (!paired(i, false)) compare_pieces(old_->layers[i], nothing, condition_of(old_->layers[i]), {i, 0});
    }
    for (std::uint32_t i = 1; i < now_->layers.size(); ++i) {
      if (!paired(i, true)) compare_pieces(nothing, now_->layers[i], condition_of(now_->layers[i]), {0, i});
    }
  }

  const Fragment* old_;
  const Fragment* now_;
  FragmentEdits out_;
};

}  // namespace

std::string joined(const std::vector<Text>& words) {
  std::string out = "[";
  for (const Text& word : words) out += fmt::format("{}{}", out.size() == 1 ? "" : ", ", word_as_written(word.text));
  return out + "]";
}

std::string word_as_written(std::string_view text) {
  bool plain = !text.empty() && text.find_first_of(",[]{}\"'#\n") == std::string_view::npos && text.front() != ' ' &&
               text.back() != ' ' && text != "none";
  return plain ? std::string(text) : in_quotes(text);
}

std::string as_written(const RawValue& value) {
  std::string operand = value.is_list ? joined(value.items) : std::string(value.scalar.text);
  switch (value.op) {
    case OpKind::set: return value.is_list ? operand : word_as_written(operand);
    case OpKind::append:
    case OpKind::remove: return fmt::format("{{ {}: {} }}", name_of(value.op), joined(value.items));
    case OpKind::unset: return "{ unset: true }";
    default: return fmt::format("{{ {}: {} }}", name_of(value.op), operand);
  }
}

std::string as_written(const Condition& condition) {
  std::string out;
  for (Kind kind : all_kinds) {
    const auto& names = condition.names[static_cast<std::size_t>(kind)];
    if (!names.empty()) out += fmt::format("{}{}: {}", out.empty() ? "" : ", ", name_of(kind), joined(names));
  }
  if (condition.where) out += fmt::format("{}where: {}", out.empty() ? "" : ", ", condition.where->text);
  return out;
}

FragmentEdits compare_fragments(const Fragment* old, const Fragment* now) { return Comparison(old, now).compare(); }

}  // namespace bindery
