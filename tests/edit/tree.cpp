// Every key of this repository's own tree edited, and random fragments in all styles: an edit changes what it is about
// and nothing else.
#include <random>

#include "one_edit.h"
#include "random_fragment.h"

using namespace bindery;
using namespace bindery::test;

namespace {

std::string written(const RawValue& value) {
  std::string out = fmt::format("{} {}<{}>", name_of(value.op), value.is_list ? "list" : "one", value.scalar.text);
  for (const Text& item : value.items) out += fmt::format("<{}>", item.text);
  return out;
}

std::string line_of(std::string_view fragment, std::size_t layer, bool adjust, std::string_view key, std::string_view value) {
  return fmt::format("{} {} {} {} {}", fragment, layer, adjust ? "adjust" : "settings", key, value);
}

// Every write of every fragment in the file, its `when` blocks included; sorted.
std::vector<std::string> writes(const SourceFile& file) {
  Diagnostics out;
  FragmentFile all = read_fragment(0, file, out);
  std::vector<std::string> lines;
  for (const Fragment& fragment : all.fragments) {
    for (std::size_t layer = 0; layer < fragment.layers.size(); ++layer) {
      for (bool adjust : {false, true}) {
        for (const RawWrite& write : adjust ? fragment.layers[layer].adjust : fragment.layers[layer].settings)
          lines.push_back(line_of(fragment.name, layer, adjust, write.key, written(write.value)));
      }
    }
  }
  std::sort(lines.begin(), lines.end());
  return lines;
}

std::string apply(const SourceFile& file, const FragmentEdit& edit) {
  Diagnostics out;
  auto result = apply_edit(0, file, edit, out);
  REQUIRE_MESSAGE(result.has_value(), file.path, " ", edit.fragment, " ", edit.key, ": ", out.items().empty() ? "" : out.items().front().message, "\n", file.text);
  return *result;
}

// Is `after` the text `before` with something put in at one place?
bool is_one_insertion(std::string_view before, std::string_view after) {
  std::size_t head = 0, tail = 0;
  while (head < before.size() && head < after.size() && before[head] == after[head]) ++head;
  while (tail < before.size() && tail < after.size() && before[before.size() - 1 - tail] == after[after.size() - 1 - tail]) ++tail;
  return after.size() > before.size() && head + tail >= before.size();
}

std::vector<SourceFile> fragments_of_the_tree() {
  Diagnostics out;
  Sources sources = read_folder(BINDERY_ROOT, 1, out);
  std::vector<SourceFile> files;
  for (const SourceFile& file : sources.files) {
    for (Kind kind : all_kinds) {
      if (file.path.starts_with(fmt::format("profiles-src/{}/", name_of(kind)))) files.push_back(file);
    }
  }
  REQUIRE(files.size() > 20);
  return files;
}

std::string as_written(const FragmentEdit& edit) {
  bool is_list = edit.is_list || edit.op == OpKind::append || edit.op == OpKind::remove;
  std::string out = fmt::format("{} {}<{}>", name_of(edit.op), is_list ? "list" : "one", is_list || edit.op == OpKind::unset ? "" : edit.scalar);
  for (const std::string& item : edit.items) out += fmt::format("<{}>", item);
  return out;
}

std::vector<std::string> with_line(std::vector<std::string> lines, const std::string& line) {
  lines.push_back(line);
  std::sort(lines.begin(), lines.end());
  return lines;
}

const std::vector<std::string> scalars = {"150 mm/s", "-3 K", "12.5 %", "true", "7", "grid", "null", "a: b", "# no", "x, y", "'q'", "[z]", "two words", "it \"is\"", "f(a, b) == 'c'"};

FragmentEdit random_value(std::mt19937& random) {
  FragmentEdit edit;
  edit.op = static_cast<OpKind>(random() % 7);
  edit.scalar = scalars[random() % scalars.size()];
  edit.is_list = edit.op == OpKind::append || edit.op == OpKind::remove || (edit.op == OpKind::set && random() % 4 == 0);
  for (std::size_t i = edit.is_list ? random() % 4 : 0; i > 0; --i) edit.items.push_back(scalars[random() % scalars.size()]);
  return edit;
}

}  // namespace

TEST_SUITE("edit/tree") {

TEST_CASE("every scalar of the tree can be replaced, and no byte beside it changes") {
  std::size_t replaced = 0;
  for (const SourceFile& file : fragments_of_the_tree()) {
    Diagnostics out;
    FragmentFile all = read_fragment(0, file, out);
    for (const Fragment& fragment : all.fragments) {
      for (bool adjust : {false, true}) {
        for (const RawWrite& write : adjust ? fragment.layers[0].adjust : fragment.layers[0].settings) {
          if (write.value.is_list || write.value.op == OpKind::unset) continue;
          FragmentEdit edit = operate(std::string(write.key), write.value.op, "12.5 %", fragment.name);
          edit.adjust = adjust;
          Span span = write.value.scalar.span;
          std::string expected = file.text;
          expected.replace(span.begin, span.end - span.begin, "12.5 %");
          CHECK_MESSAGE(apply(file, edit) == expected, file.path, " ", fragment.name, " ", write.key);
          ++replaced;
        }
      }
    }
  }
  CHECK(replaced > 400);
}

TEST_CASE("any value of the tree gives way to any other, and what is read is that alone") {
  std::mt19937 random(1);
  for (const SourceFile& file : fragments_of_the_tree()) {
    Diagnostics out;
    FragmentFile all = read_fragment(0, file, out);
    auto before = writes(file);
    for (const Fragment& fragment : all.fragments) {
      for (bool adjust : {false, true}) {
        for (const RawWrite& write : adjust ? fragment.layers[0].adjust : fragment.layers[0].settings) {
          FragmentEdit edit = random_value(random);
          edit.fragment = fragment.name;
          edit.key = write.key;
          edit.adjust = adjust;
          SourceFile after{file.path, apply(file, edit)};
          auto expected = before;
          std::string old = line_of(fragment.name, 0, adjust, write.key, written(write.value));
          expected.erase(std::find(expected.begin(), expected.end(), old));
          CHECK(writes(after) == with_line(expected, line_of(fragment.name, 0, adjust, write.key, as_written(edit))));
          CHECK(std::count(after.text.begin(), after.text.end(), '\n') == std::count(file.text.begin(), file.text.end(), '\n'));
          // Back again: the value is what it was, in the words that the file had where its operation's are.
          FragmentEdit back = operate(std::string(write.key), write.value.op, std::string(write.value.scalar.text), fragment.name);
          back.adjust = adjust;
          back.is_list = write.value.is_list;
          for (const Text& item : write.value.items) back.items.emplace_back(item.text);
          CHECK(writes({file.path, apply(after, back)}) == before);
        }
      }
    }
  }
}

TEST_CASE("a key that a fragment of the tree lacks comes in one place, and nothing else is read otherwise") {
  std::mt19937 random(2);
  std::size_t added = 0;
  for (const SourceFile& file : fragments_of_the_tree()) {
    Diagnostics out;
    FragmentFile all = read_fragment(0, file, out);
    auto before = writes(file);
    for (const Fragment& fragment : all.fragments) {
      for (bool adjust : {false, true}) {
        std::vector<std::string> keys = {"zz", "zz.new", "wall.zz", "hotend.zz.new"};
        for (const RawWrite& write : fragment.layers[0].settings) {
          std::string_view key = write.key;
          for (std::size_t dot = key.find('.'); dot != std::string_view::npos; dot = key.find('.', dot + 1)) keys.push_back(fmt::format("{}.zz", key.substr(0, dot)));
        }
        for (const std::string& key : keys) {
          FragmentEdit edit = random_value(random);
          edit.fragment = fragment.name;
          edit.key = key;
          edit.adjust = adjust;
          SourceFile after{file.path, apply(file, edit)};
          CHECK_MESSAGE(is_one_insertion(file.text, after.text), file.path, " ", key, "\n", after.text);
          CHECK(writes(after) == with_line(before, line_of(fragment.name, 0, adjust, key, as_written(edit))));
          ++added;
        }
      }
    }
  }
  CHECK(added > 1000);
}

TEST_CASE("random fragments in all styles take every edit, and keep their comments") {
  std::mt19937 random(3);
  std::size_t found = 0;
  for (int round = 0; round < 2000; ++round) {
    bool adjust = random() % 4 == 0;
    SourceFile file{"profiles-src/process/q.yaml", RandomFragment(random, adjust).text()};
    CAPTURE(file.text);
    Diagnostics out;
    FragmentFile all = read_fragment(0, file, out);
    REQUIRE(all.fragments.front().parsed);
    auto before = writes(file);
    const RawLayer& own = all.fragments.front().layers[0];
    std::vector<RawWrite> written_keys = adjust ? own.adjust : own.settings;
    for (int i = 0; i < 4; ++i) {
      FragmentEdit edit = random_value(random);
      edit.fragment = "q";
      edit.adjust = adjust;
      auto expected = before;
      if (!written_keys.empty() && i % 2 == 0) {
        const RawWrite& write = written_keys[random() % written_keys.size()];
        edit.key = write.key;
        expected.erase(std::find(expected.begin(), expected.end(), line_of("q", 0, adjust, write.key, written(write.value))));
        ++found;
      } else {
        edit.key = "n0.zz";
        if (!written_keys.empty()) {
          std::string_view key = written_keys[random() % written_keys.size()].key;
          edit.key = fmt::format("{}.zz", key.substr(0, key.rfind('.')));
          bool is_written = std::any_of(written_keys.begin(), written_keys.end(), [&](const RawWrite& write) { return edit.key.starts_with(fmt::format("{}.", write.key)); });
          if (is_written) edit.key = "zz";
        }
      }
      CAPTURE(edit.key);
      SourceFile after{file.path, apply(file, edit)};
      CAPTURE(after.text);
      CHECK(writes(after) == with_line(expected, line_of("q", 0, adjust, edit.key, as_written(edit))));
      auto comments = [](std::string_view text) {
        std::size_t count = 0;
        for (std::size_t at = text.find("# a comment"); at != std::string_view::npos; at = text.find("# a comment", at + 1)) ++count;
        return count;
      };
      CHECK(comments(after.text) == comments(file.text));
      bool crlf = file.text.find('\r') != std::string::npos;
      if (crlf) CHECK(std::count(after.text.begin(), after.text.end(), '\n') == std::count(after.text.begin(), after.text.end(), '\r'));
      CHECK(after.text.ends_with('\n') == file.text.ends_with('\n'));
    }
  }
  CHECK(found > 1000);
}

}
