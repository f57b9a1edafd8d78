#include "base/digest.h"

#include "../support.h"

using namespace bindery;

TEST_SUITE("base/digest") {

// FIPS 180-4: the examples that NIST publishes beside the standard (from memory).
TEST_CASE("SHA-256 gives the digests of the standard's examples") {
  CHECK(sha256("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(sha256("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq") == "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  CHECK(sha256(std::string(1'000'000, 'a')) == "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

// From memory; `sha256sum /dev/null` prints the same.
TEST_CASE("nothing has a digest too") { CHECK(sha256("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"); }

TEST_CASE("a zero byte counts in a digest") {
  using namespace std::literals;
  CHECK(sha256("\0"sv) != sha256(""));
  CHECK(sha256("a\0b"sv) != sha256("a"));
}

// Git's own documentation, "Git Objects": the name of the bytes "test content" and a line break (from memory;
// `git hash-object` prints the same), and of an empty file.
TEST_CASE("a file has the name that git gives its bytes") {
  CHECK(blob_name("test content\n") == "d670460b4b4aece5915caf5c68d12f560a9fe3e4");
  CHECK(blob_name("") == "e69de29bb2d1d6434b8b29ae775ad8c2e48c5391");
}

}
