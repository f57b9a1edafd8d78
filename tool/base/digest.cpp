#include "base/digest.h"

#include <memory>

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

// Of the parts, one after the other.
std::string digest_of(std::initializer_list<std::string_view> parts, const EVP_MD* method) {
  unsigned char digest[EVP_MAX_MD_SIZE];
  unsigned int length = 0;
  std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context(EVP_MD_CTX_new(), &EVP_MD_CTX_free);
  bool sound = method != nullptr && context != nullptr && EVP_DigestInit_ex(context.get(), method, nullptr) == 1;
  for (std::string_view part : parts) sound = sound && EVP_DigestUpdate(context.get(), part.data(), part.size()) == 1;
  if (!sound || EVP_DigestFinal_ex(context.get(), digest, &length) != 1)
    throw SystemError("libcrypto computes no digest");
  return hexadecimal(digest, length);
}

}  // namespace

std::string sha256(std::initializer_list<std::string_view> parts) {
  static const EVP_MD* method = method_named("SHA256");
  return digest_of(parts, method);
}

std::string sha256(std::string_view bytes) { return sha256({bytes}); }

std::string blob_name(std::string_view bytes) {
  static const EVP_MD* method = method_named("SHA1");
  std::string head = "blob " + std::to_string(bytes.size());
  head += '\0';
  return digest_of({head, bytes}, method);
}

}  // namespace bindery
