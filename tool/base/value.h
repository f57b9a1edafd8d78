// The value of a setting: a number in the setting's unit, a word, a flag or a list of these.
#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

namespace bindery {

// Sixteen bytes. Words and lists are views: of the tree's texts, of the tree's or the profile's lists.
class Value {
 public:
  enum class Tag : std::uint8_t {
    unset,
    number,
    flag,
    word,
    list,
    poison,  // its computation failed and was reported; whatever reads it stays silent
  };

  Value() : number_(0) {}
  static Value of_number(double number) {
    Value v(Tag::number);
    v.number_ = number;
    return v;
  }
  static Value of_flag(bool flag) {
    Value v(Tag::flag);
    v.size_ = flag ? 1 : 0;
    return v;
  }
  static Value of_word(std::string_view word) {
    Value v(Tag::word);
    v.text_ = word.data();
    v.size_ = static_cast<std::uint32_t>(word.size());
    return v;
  }
  static Value of_list(const std::vector<Value>* items) {
    Value v(Tag::list);
    v.list_ = items;
    return v;
  }
  static Value poisoned() { return Value(Tag::poison); }

  Tag tag() const { return tag_; }
  bool is(Tag other) const { return tag_ == other; }
  bool has_value() const { return tag_ != Tag::unset && tag_ != Tag::poison; }

  // Each of these holds for its own tag; for others it is zero, false or empty.
  double number() const { return tag_ == Tag::number ? number_ : 0; }
  bool flag() const { return tag_ == Tag::flag && size_ == 1; }
  std::string_view word() const { return tag_ == Tag::word ? std::string_view(text_, size_) : std::string_view(); }
  const std::vector<Value>& items() const {
    static const std::vector<Value> none;
    return tag_ == Tag::list ? *list_ : none;
  }

 private:
  explicit Value(Tag tag) : tag_(tag), number_(0) {}

  Tag tag_ = Tag::unset;
  std::uint32_t size_ = 0;
  union {
    double number_;
    const char* text_;
    const std::vector<Value>* list_;
  };
};

}  // namespace bindery
