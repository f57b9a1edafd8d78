#include "base/digest.h"

#include <openssl/evp.h>

#include "base/failure.h"

namespace bindery {

namespace {

std::string hexadecimal(const unsigned char* digest, unsigned int length) {
  constexpr char digits[] = "0123456789abcdef";
  std::string out;
  out.reserve(2 * length);
  for (unsigned int i = 0; i < length; ++i) {
    out += digits[digest[i] >> 4];
    out += digits[digest[i] & 15];
  }
  return out;
}

// Sought once: libcrypto looks up a method that it is given by name alone at each use.
const EVP_MD* method_named(const char* name) { return EVP_MD_fetch(nullptr, name, nullptr); }

std::string digest_of(std::string_view bytes, const EVP_MD* method) {
  unsigned char digest[EVP_MAX_MD_SIZE];
  unsigned int length = 0;
  if (method == nullptr || EVP_Digest(bytes.data(), bytes.size(), digest, &length, method, nullptr) != 1)
    throw SystemError("libcrypto computes no digest");
  return hexadecimal(digest, length);
}

}  // namespace

std::string sha256(std::string_view bytes) {
  static const EVP_MD* method = method_named("SHA256");
  return digest_of(bytes, method);
}

std::string blob_name(std::string_view bytes) {
  std::string whole = "blob " + std::to_string(bytes.size());
  whole += '\0';
  whole += bytes;
  static const EVP_MD* method = method_named("SHA1");
  return digest_of(whole, method);
}

}  // namespace bindery
