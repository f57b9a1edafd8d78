// Digests of bytes, by OpenSSL's libcrypto.
#pragma once

#include <initializer_list>
#include <memory>
#include <string>
#include <string_view>

namespace bindery {

// Sixty-four hexadecimal digits, small letters.
std::string sha256(std::string_view bytes);
// The same of several texts, one after the other.
std::string sha256(std::initializer_list<std::string_view> parts);

// The same of bytes that come in parts.
class Sha256 {
 public:
  Sha256();
  ~Sha256();
  Sha256(const Sha256&) = delete;
  Sha256& operator=(const Sha256&) = delete;

  void add(std::string_view bytes);
  std::string finish();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

// Git's name of a file's bytes (SHA-1 over a head and the bytes): forty hexadecimal digits.
std::string blob_name(std::string_view bytes);

}  // namespace bindery
