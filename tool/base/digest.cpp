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

class Digester {
 public:
  explicit Digester(const EVP_MD* method) : context_(EVP_MD_CTX_new(), &EVP_MD_CTX_free) {
    require(method != nullptr && context_ != nullptr && EVP_DigestInit_ex(context_.get(), method, nullptr) == 1);
  }
  void add(std::string_view bytes) { require(EVP_DigestUpdate(context_.get(), bytes.data(), bytes.size()) == 1); }
  std::string finish() {
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned int length = 0;
    require(EVP_DigestFinal_ex(context_.get(), digest, &length) == 1);
    return hexadecimal(digest, length);
  }

 private:
  static void require(bool sound) {
    if (!sound) throw SystemError("libcrypto computes no digest");
  }
  std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context_;
};

// Of the parts, one after the other.
std::string digest_of(std::initializer_list<std::string_view> parts, const EVP_MD* method) {
  Digester digester(method);
  for (std::string_view part : parts) digester.add(part);
  return digester.finish();
}

const EVP_MD* method_of_sha256() {
  static const EVP_MD* method = method_named("SHA256");
  return method;
}

}  // namespace

struct Sha256::State {
  Digester digester{method_of_sha256()};
};

Sha256::Sha256() : state_(std::make_unique<State>()) {}
Sha256::~Sha256() = default;
void Sha256::add(std::string_view bytes) { state_->digester.add(bytes); }
std::string Sha256::finish() { return state_->digester.finish(); }

std::string sha256(std::initializer_list<std::string_view> parts) { return digest_of(parts, method_of_sha256()); }

std::string sha256(std::string_view bytes) { return sha256({bytes}); }

std::string blob_name(std::string_view bytes) {
  static const EVP_MD* method = method_named("SHA1");
  std::string head = "blob " + std::to_string(bytes.size());
  head += '\0';
  return digest_of({head, bytes}, method);
}

}  // namespace bindery
