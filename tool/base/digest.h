// SHA-256 of bytes, by OpenSSL's libcrypto.
#pragma once

#include <string>
#include <string_view>

namespace bindery {

// Sixty-four hexadecimal digits, small letters.
std::string sha256(std::string_view bytes);

}  // namespace bindery
