#include "syntax/policy.h"

#include <algorithm>
#include <charconv>

#include <fmt/format.h>

namespace bindery {

namespace {

constexpr std::array<std::string_view, measure_count> measure_names = {"files",     "file_bytes", "bytes",
                                                                       "fragments", "profiles",   "script_lines"};
const std::vector<std::string_view> policy_words = {"paths",         "at_most", "headers", "sign_off",
                                                    "may_not_write", "tiers",   "evidence"};
const std::vector<std::string_view> header_words = {"title", "about", "authors"};

class PolicyReader {
 public:
  PolicyReader(const Document& doc, Diagnostics& out) : read_(doc, out) {}

  Policy read(const Field& field) {
    Policy policy;
    policy.stated = true;
    policy.span = field.key.span;
    for (const Field& part : read_.fields(field.value, "'policy'")) {
      std::string_view word = part.key.text;
      if (word == "paths") policy.paths = read_.names(part);
      else if (word == "at_most") at_most(part, policy);
      else if (word == "headers") policy.headers = headers(part);
      else if (word == "sign_off") policy.sign_off = read_.flag(part).value_or(false);
      else if (word == "may_not_write") policy.may_not_write = read_.names(part);
      else if (word == "tiers") tiers(part, policy);
      else if (word == "evidence") evidence(part, policy);
      else read_.unknown(part.key, Code::header_unknown, "part of the policy", policy_words);
    }
    return policy;
  }

 private:
  void at_most(const Field& field, Policy& policy) {
    for (const Field& part : read_.fields(field.value, "'at_most'")) {
      auto at = std::find(measure_names.begin(), measure_names.end(), part.key.text);
      if (at == measure_names.end()) {
        read_.unknown(part.key, Code::header_unknown, "measure of a contribution",
                      {measure_names.begin(), measure_names.end()});
        continue;
      }
      auto text = read_.scalar(part);
      if (!text) continue;
      std::uint64_t number = 0;
      auto [end, failure] = std::from_chars(text->text.data(), text->text.data() + text->text.size(), number);
      if (failure != std::errc() || end != text->text.data() + text->text.size())
        read_.wrong(text->span, fmt::format("'{}' is no whole number", text->text), "write how many, as in `40`");
      else policy.at_most[static_cast<std::size_t>(at - measure_names.begin())] = number;
    }
  }

  std::vector<Text> headers(const Field& field) {
    std::vector<Text> words = read_.words(field);
    for (const Text& word : words) {
      if (std::find(header_words.begin(), header_words.end(), word.text) == header_words.end())
        read_.unknown(word, Code::choice_unknown, "header that can be asked for", header_words);
    }
    return words;
  }

  void tiers(const Field& field, Policy& policy) {
    policy.tiers.emplace();
    for (const Text& word : read_.words(field)) {
      if (word.text == "free") policy.tiers->push_back(Tier::free);
      else if (word.text == "supporter") policy.tiers->push_back(Tier::supporter);
      else read_.unknown(word, Code::choice_unknown, "tier", {"free", "supporter"});
    }
  }

  void evidence(const Field& field, Policy& policy) {
    for (const Text& word : read_.words(field)) {
      if (word.text == "beta") policy.evidence.push_back(Status::beta);
      else if (word.text == "stable") policy.evidence.push_back(Status::stable);
      else read_.unknown(word, Code::choice_unknown, "status that evidence can be asked for", {"beta", "stable"});
    }
  }

  FieldReader read_;
};

}  // namespace

std::string_view name_of(Measure measure) { return measure_names[static_cast<std::size_t>(measure)]; }

Policy read_policy(const Document& doc, const Field& field, Diagnostics& out) {
  return PolicyReader(doc, out).read(field);
}

}  // namespace bindery
