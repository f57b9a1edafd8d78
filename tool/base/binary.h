// Structures to bytes and back, for what this program alone reads again.
//
// A structure T is described once for both directions, by `template <typename Way> void pass(Way& way, T& t)` in
// namespace bindery, which calls way(member, member, ...).
#pragma once

#include <array>
#include <cstdint>
#include <cstring>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

namespace bindery {

// What is copied as it lies in memory: without gaps, whose bytes nobody sets.
template <typename T>
constexpr bool is_plain_bytes = std::is_trivially_copyable_v<T> &&
                                (std::has_unique_object_representations_v<T> || std::is_floating_point_v<T>);

// The highest byte that is a value of the type; one more for each enumeration that is written.
template <typename T>
constexpr std::uint8_t highest_byte = 1;  // of a bool

template <typename Way, typename First, typename Second>
void pass(Way& way, std::pair<First, Second>& p) {
  way(p.first, p.second);
}

class BinaryWriter {
 public:
  template <typename... Parts>
  void operator()(Parts&... parts) {
    (one(parts), ...);
  }
  std::string bytes;

 private:
  template <typename T>
  void one(T& thing) {
    if constexpr (is_plain_bytes<T>) bytes.append(reinterpret_cast<const char*>(&thing), sizeof thing);
    else pass(*this, thing);
  }
  void one(std::string& text) {
    size(text.size());
    bytes += text;
  }
  void one(std::optional<double>& number) {
    bool there = number.has_value();
    double value = number.value_or(0);
    one(there);
    one(value);
  }
  template <typename T>
  void one(std::vector<T>& list) {
    size(list.size());
    if constexpr (is_plain_bytes<T>) bytes.append(reinterpret_cast<const char*>(list.data()), list.size() * sizeof(T));
    else
      for (T& each : list) one(each);
  }
  template <typename T, std::size_t N>
  void one(std::array<T, N>& list) {
    if constexpr (is_plain_bytes<T>) bytes.append(reinterpret_cast<const char*>(list.data()), N * sizeof(T));
    else
      for (T& each : list) one(each);
  }
  void size(std::size_t value) {
    auto wide = static_cast<std::uint64_t>(value);
    bytes.append(reinterpret_cast<const char*>(&wide), sizeof wide);
  }
};

class BinaryReader {
 public:
  explicit BinaryReader(std::string_view bytes) : rest_(bytes) {}
  template <typename... Parts>
  void operator()(Parts&... parts) {
    (one(parts), ...);
  }
  bool whole() const { return sound_ && rest_.empty(); }

 private:
  template <typename T>
  void one(T& thing) {
    if constexpr (std::is_same_v<T, bool> || std::is_enum_v<T>) {
      // Bytes that are no value of the type are not put into one.
      std::uint8_t byte = 0;
      static_assert(sizeof(T) == 1);
      take(&byte, 1);
      if (byte > highest_byte<T>) sound_ = false;
      if (sound_) thing = static_cast<T>(byte);
    } else if constexpr (is_plain_bytes<T>) {
      take(&thing, sizeof thing);
    } else {
      pass(*this, thing);
    }
  }
  void one(std::string& text) {
    std::size_t length = size(1);
    text.assign(rest_.substr(0, length));
    rest_.remove_prefix(length);
  }
  void one(std::optional<double>& number) {
    bool there = false;
    double value = 0;
    one(there);
    one(value);
    if (there) number = value;
  }
  template <typename T>
  void one(std::vector<T>& list) {
    if constexpr (is_plain_bytes<T>) {
      list.resize(size(sizeof(T)));
      take(list.data(), list.size() * sizeof(T));
    } else {
      list.resize(size(1));
      for (T& each : list) one(each);
    }
  }
  template <typename T, std::size_t N>
  void one(std::array<T, N>& list) {
    if constexpr (is_plain_bytes<T> && !std::is_enum_v<T> && !std::is_same_v<T, bool>) take(list.data(), N * sizeof(T));
    else
      for (T& each : list) one(each);
  }
  void take(void* target, std::size_t length) {
    if (length > rest_.size()) sound_ = false;
    if (!sound_ || length == 0) return;
    std::memcpy(target, rest_.data(), length);
    rest_.remove_prefix(length);
  }
  // A number of things of which each takes that many bytes at least, so that nonsense asks for no memory.
  std::size_t size(std::size_t least) {
    std::uint64_t wide = 0;
    take(&wide, sizeof wide);
    if (wide > rest_.size() / least) sound_ = false;
    return sound_ ? static_cast<std::size_t>(wide) : 0;
  }

  std::string_view rest_;
  bool sound_ = true;
};

}  // namespace bindery
