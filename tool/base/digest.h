// Digests of bytes, by OpenSSL's libcrypto.
#pragma once

#include <string>
#include <string_view>

namespace bindery {

// Sixty-four hexadecimal digits, small letters.
std::string sha256(std::string_view bytes);

// Git's name of a file's bytes (SHA-1 over a head and the bytes): forty hexadecimal digits.
std::string blob_name(std::string_view bytes);

}  // namespace bindery
