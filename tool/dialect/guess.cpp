#include "dialect/guess.h"

#include <algorithm>
#include <cctype>
#include <set>
#include <utility>

#include <fmt/format.h>

#include "base/json.h"
#include "base/number.h"
#include "base/words.h"
#include "dialect/cell.h"

namespace bindery {

namespace {

// Short forms of the trade's words (common practice).
constexpr std::pair<std::string_view, std::string_view> short_forms[] = {
    {"temp", "temperature"}, {"dia", "diameter"}, {"diam", "diameter"},  {"accel", "acceleration"},
    {"acc", "acceleration"}, {"vel", "speed"},    {"velocity", "speed"}, {"len", "length"},
    {"dist", "clearance"},   {"pct", "share"},    {"max", "most"},       {"min", "least"}};

// Units in which programs tell a quantity, besides the setting's own.
constexpr std::string_view other_units[] = {"mm/min", "mm/s", "m/s", "mm", "um",   "m", "s",      "ms",    "min",
                                            "%",      "1",    "g",   "kg", "degC", "K", "mm/s^2", "m/s^2", "mm^3/s"};

constexpr std::size_t most_guesses = 8;  // for a key

// Words in small letters: cut where letters and digits change, at capitals and at signs.
std::vector<std::string> words_of(std::string_view text) {
  std::vector<std::string> out(1);
  bool small = false;
  for (char c : text) {
    auto letter = static_cast<unsigned char>(c);
    if (std::isalnum(letter) == 0) {
      if (!out.back().empty()) out.emplace_back();
      small = false;
      continue;
    }
    bool digit = std::isdigit(letter) != 0;
    bool turns = !out.back().empty() && ((std::isupper(letter) != 0 && small) ||
                                         (std::isdigit(static_cast<unsigned char>(out.back().back())) != 0) != digit);
    if (turns) out.emplace_back();
    small = std::islower(letter) != 0;
    out.back() += static_cast<char>(std::tolower(letter));
  }
  if (out.back().empty()) out.pop_back();
  for (std::string& word : out) {
    for (auto [brief, full] : short_forms) {
      if (word == brief) word = full;
    }
  }
  return out;
}

bool akin(const std::string& a, const std::string& b) {
  if (a == b) return true;
  const std::string& brief = a.size() < b.size() ? a : b;
  return brief.size() >= 4 && (a.size() < b.size() ? b : a).starts_with(brief);
}

// How many of the key's words the setting has, and how many of its key's segments the key has: 0 to 1.
double likeness(const std::vector<std::string>& key, const std::vector<std::string>& name,
                const std::vector<std::string>& title, std::vector<std::string>& shared) {
  auto in = [](const std::vector<std::string>& words, const std::string& word) {
    return std::any_of(words.begin(), words.end(), [&](const std::string& each) { return akin(each, word); });
  };
  double told = 0, covered = 0;
  for (const std::string& word : key) {
    if (!in(name, word) && !in(title, word)) continue;
    told += 1;
    shared.push_back(word);
  }
  for (const std::string& word : name) covered += in(key, word) ? 1 : 0;
  if (key.empty() || name.empty()) return 0;
  return 0.5 * told / static_cast<double>(key.size()) + 0.5 * covered / static_cast<double>(name.size());
}

// A number as a file writes it.
struct WrittenNumber {
  double value = 0;
  std::size_t decimals = 0;
  bool padded = false, sign = false, comma = false;
  std::string suffix;
};

std::optional<WrittenNumber> number_of(const std::string& text) {
  WrittenNumber out;
  std::string digits = text;
  out.sign = digits.starts_with('+');
  if (std::size_t comma = digits.find(','); comma != std::string::npos && digits.find('.') == std::string::npos) {
    digits[comma] = '.';
    out.comma = true;
  }
  auto read = read_number(digits);
  if (!read || digits.substr(0, read->length).find_first_of("eE") != std::string::npos) return std::nullopt;
  out.value = read->value;
  out.suffix = text.substr(read->length);
  if (out.suffix.size() > 8 || out.suffix.find_first_of("0123456789,") != std::string::npos) return std::nullopt;
  std::string number = digits.substr(0, read->length);
  if (std::size_t point = number.find('.'); point != std::string::npos) {
    out.decimals = number.size() - point - 1;
    out.padded = number.ends_with('0') || number.ends_with('.');
  }
  return out;
}

// How much an equal number proves: `1` stands everywhere, `0.415` hardly twice.
double weight_of(const WrittenNumber& number) {
  if (number.decimals >= 2) return 0.9;
  if (number.decimals == 1) return 0.7;
  double size = std::abs(number.value);
  return size <= 10 || size == 100 ? 0.3 : 0.6;
}

class Guesser {
 public:
  Guesser(const Tree& tree, const Profile* like) : tree_(tree), like_(like) {
    for (const Setting& setting : tree.dictionary.settings) {
      names_.push_back(words_of(setting.key));
      titles_.push_back(words_of(setting.title));
    }
    for (std::string_view name : other_units) {
      if (const Unit* unit = tree.dictionary.units->find(name)) units_.push_back(unit);
    }
  }

  // What it could be, the likeliest first; what is certain stands alone.
  std::vector<std::pair<double, Guess>> guesses(const DraftFile& file, const Entry& entry) const {
    std::vector<std::pair<double, Guess>> out;
    if (entry.values.empty()) return out;
    if (auto told = guess_told(entry)) return {{10, *told}};
    if (auto script = guess_script(entry)) return {{10, *script}};
    std::vector<std::string> own = words_of(entry.key), both;
    for (const std::string& part : entry.section) {
      for (std::string& word : words_of(part)) both.push_back(std::move(word));
    }
    both.insert(both.end(), own.begin(), own.end());
    for (KeyId id = 0; id < tree_.dictionary.settings.size(); ++id) {
      std::vector<std::string> shared, more;
      double alike = std::max(likeness(own, names_[id], titles_[id], shared),
                              0.95 * likeness(both, names_[id], titles_[id], more));
      Guess one = fit(file, entry, id);
      if (one.of == Guess::Of::constant || (alike < 0.25 && proof_ < 0.7)) continue;
      bool sure = alike >= 0.5 && proof_ > 0;
      one.confidence = sure                                              ? Confidence::high
                       : alike >= 0.6 || (alike >= 0.3 && proof_ >= 0.6) ? Confidence::fair
                                                                         : Confidence::low;
      std::string words =
          more.empty() ? "" : fmt::format("the word{} {}", more.size() > 1 ? "s" : "", fmt::join(more, ", "));
      one.reason = one.reason.empty() ? words : words.empty() ? one.reason : fmt::format("{}; {}", words, one.reason);
      out.emplace_back(alike + proof_, std::move(one));
    }
    std::stable_sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
    if (out.size() > 1 && out[0].first - out[1].first < 1e-9 && out[0].second.confidence != Confidence::low)
      out[0].second.confidence = Confidence::low;
    if (out.size() > most_guesses) out.resize(most_guesses);
    return out;
  }

 private:
  std::optional<Guess> guess_told(const Entry& entry) const {
    if (like_ == nullptr || entry.values.size() != 1 || entry.list) return std::nullopt;
    const std::string& text = entry.values.front().text;
    const Triple& triple = like_->triple;
    for (const auto& [word, value] : {std::pair<std::string, std::string>{"id", profile_id(tree_, triple)},
                                      {"title", profile_title(tree_, triple)},
                                      {"machine", std::string(tree_[triple.of[0]].name())},
                                      {"material", std::string(tree_[triple.of[1]].name())},
                                      {"process", std::string(tree_[triple.of[2]].name())}}) {
      if (text != value) continue;
      Guess out;
      out.of = Guess::Of::told;
      out.told = word;
      out.reason = fmt::format("the profile's {}", word);
      out.confidence = Confidence::high;
      return out;
    }
    return std::nullopt;
  }

  std::optional<Guess> guess_script(const Entry& entry) const {
    if (like_ == nullptr || entry.values.size() != 1) return std::nullopt;
    for (std::size_t slot = 0; slot < script_slots; ++slot) {
      if (!like_->scripts[slot] || *like_->scripts[slot] != entry.values.front().text || like_->scripts[slot]->empty())
        continue;
      Guess out;
      out.of = Guess::Of::script;
      out.slot = static_cast<ScriptSlot>(slot);
      out.reason = fmt::format("the {} script", name_of(out.slot));
      out.confidence = Confidence::high;
      return out;
    }
    return std::nullopt;
  }

  // Could the setting stand there, and does the profile have the value? Leaves how much that proves in proof_.
  Guess fit(const DraftFile& file, const Entry& entry, KeyId id) const {
    const Setting& setting = tree_.dictionary.settings[id];
    const Value* own = like_ == nullptr ? nullptr : &like_->cells[id].value;
    proof_ = 0;
    Guess none;
    bool same = std::all_of(entry.values.begin(), entry.values.end(),
                            [&](const Scalar& each) { return each.text == entry.values.front().text; });
    bool repeated = entry.values.size() > 1 && same && !setting.list;
    if (setting.list || (entry.values.size() > 1 && !same))
      return setting.list && own != nullptr ? fit_list(entry, setting, id, *own) : none;
    const std::string& text = entry.values.front().text;
    Guess out;
    out.of = Guess::Of::setting;
    out.key = id;
    std::string tail = repeated ? fmt::format(", repeat: {}", entry.values.size()) : entry.list ? ", repeat: 1" : "";
    bool program_bare = file.family == FileFamily::json || file.family == FileFamily::yaml;
    if (program_bare && !entry.values.front().bare) tail += ", bare: false";
    switch (setting.type) {
      case Type::quantity:
      case Type::count: return fit_number(text, setting, own, std::move(out), tail) ? last_ : none;
      case Type::flag: {
        static const std::set<std::string, std::less<>> yes = {"true", "yes", "on", "1"},
                                                        no = {"false", "no", "off", "0"};
        std::string low = text;
        std::transform(low.begin(), low.end(), low.begin(),
                       [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
        bool is_yes = yes.contains(low), is_no = no.contains(low);
        if (!is_yes && !is_no) return none;
        if (own != nullptr && own->is(Value::Tag::flag) && own->flag() != is_yes) return none;
        static const std::pair<std::string_view, std::string_view> pairs[] = {
            {"true", "false"}, {"yes", "no"}, {"on", "off"}, {"1", "0"}};
        for (auto [a, b] : pairs) {
          if (low != a && low != b) continue;
          std::string one(a), two(b);
          if (low != text) {
            std::string& mine = is_yes ? one : two;
            mine = text;
            std::string& other = is_yes ? two : one;
            other[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(other[0])));
          }
          if (one != "true") out.format = fmt::format(", yes: {}, no: {}", json_quoted(one), json_quoted(two));
        }
        out.format += tail;
        if (own != nullptr) out.reason = fmt::format("'{}' as in the profile", text);
        proof_ = own != nullptr ? 0.1 : 0;
        out.confidence = Confidence::low;
        return out;
      }
      default: {
        if (own == nullptr || !own->is(Value::Tag::word) || number_of(text)) return none;
        std::vector<std::string> shared;
        bool equal = own->word() == text;
        if (!equal && likeness(words_of(text), words_of(own->word()), {}, shared) < 0.5) return none;
        if (!equal) out.format = fmt::format(", words: {{ {}: {} }}", own->word(), json_quoted(text));
        out.format += tail;
        out.reason = equal ? fmt::format("'{}' as in the profile", text)
                           : fmt::format("'{}' for '{}'; the other words are still to be told", text, own->word());
        proof_ = equal ? 0.6 : 0.4;
        out.confidence = Confidence::low;
        return out;
      }
    }
  }

  Guess fit_list(const Entry& entry, const Setting& setting, KeyId id, const Value& own) const {
    Guess out;
    if (own.items().size() < 2) return out;
    std::vector<std::string> items;
    for (const Value& item : own.items())
      items.push_back(item.is(Value::Tag::number) ? write_number(item.number()) : std::string(item.word()));
    bool apart = items.size() == entry.values.size() &&
                 std::equal(items.begin(), items.end(), entry.values.begin(),
                            [](const std::string& a, const Scalar& b) { return a == b.text; });
    for (std::string_view sign : {", ", ",", "; ", ";", " ", "|", "/"}) {
      if (apart || entry.values.size() != 1) break;
      if (fmt::format("{}", fmt::join(items, sign)) == entry.values.front().text)
        out.format = fmt::format(", join: {}", json_quoted(sign));
    }
    if (!apart && out.format.empty()) return out;
    out.of = Guess::Of::setting;
    out.key = id;
    out.reason = fmt::format("the list of '{}' as in the profile", setting.title);
    out.confidence = Confidence::low;
    proof_ = 0.9;
    return out;
  }

  bool fit_number(const std::string& text, const Setting& setting, const Value* own, Guess out,
                  const std::string& tail) const {
    auto number = number_of(text);
    if (!number) return false;
    if (own != nullptr && !own->is(Value::Tag::number)) return false;
    std::vector<const Unit*> units = {setting.unit};
    for (const Unit* unit : units_) {
      if (setting.unit != nullptr && unit->text != setting.unit->text && unit->point == setting.unit->point &&
          unit->dimension == setting.unit->dimension)
        units.push_back(unit);
    }
    for (const Unit* unit : units) {
      if (own != nullptr) {
        double value = converted(own->number(), setting.unit, unit);
        RowFormat format;
        format.decimals = static_cast<int>(std::min<std::size_t>(number->decimals, 6));
        std::string why;
        CellValue cell;
        cell.number = value;
        auto written = write_cell(format, cell, 0, why);
        auto back = written ? read_number(written->values.front().text) : std::nullopt;
        if (!back || !same_value(back->value, number->value)) continue;
        // A percentage below one, or a unit of another scale, is believed only where digits speak for it.
        bool own_unit = unit == setting.unit;
        proof_ = weight_of(*number) * (own_unit ? 1 : 0.8);
        if (number->value == 0) proof_ = 0.1;
        out.reason = fmt::format("{}{} as in the profile", write_number(number->value),
                                 unit == nullptr || unit->bare() ? "" : " " + unit->text);
      } else if (unit != setting.unit) {
        break;
      }
      out.format.clear();
      if (unit != nullptr && setting.unit != nullptr && unit->text != setting.unit->text)
        out.format += fmt::format(", in: {}", json_quoted(unit->text));
      if (number->padded) out.format += fmt::format(", decimals: {}, pad: true", number->decimals);
      if (number->sign) out.format += ", plus: true";
      if (number->comma) out.format += ", point: \",\"";
      if (!number->suffix.empty()) out.format += fmt::format(", suffix: {}", json_quoted(number->suffix));
      out.format += tail;
      out.confidence = Confidence::low;
      last_ = std::move(out);
      return true;
    }
    return false;
  }

  const Tree& tree_;
  const Profile* like_;
  std::vector<std::vector<std::string>> names_, titles_;
  std::vector<const Unit*> units_;
  mutable double proof_ = 0;
  mutable Guess last_;
};

}  // namespace

std::string_view name_of(Confidence confidence) {
  switch (confidence) {
    case Confidence::none: return "none";
    case Confidence::low: return "low";
    case Confidence::fair: return "fair";
    case Confidence::high: return "high";
  }
  return "";
}

std::vector<Guess> guess(const Tree& tree, const Profile* like, const DraftFile& file) {
  Guesser guesser(tree, like);
  const auto& entries = file.content.entries;
  struct Option {
    double score;
    std::size_t entry;
    Guess guess;
  };
  std::vector<Option> options;
  for (std::size_t i = 0; i < entries.size(); ++i) {
    for (auto& [score, one] : guesser.guesses(file, entries[i])) options.push_back({score, i, std::move(one)});
  }
  // A setting stands at one key, and a key holds one: the likeliest pairs first.
  std::stable_sort(options.begin(), options.end(), [](const Option& a, const Option& b) { return a.score > b.score; });
  std::vector<Guess> out(entries.size());
  std::set<KeyId> taken;
  for (Option& option : options) {
    Guess& slot = out[option.entry];
    if (slot.of != Guess::Of::constant) continue;
    if (option.guess.of == Guess::Of::setting && !taken.insert(option.guess.key).second) continue;
    slot = std::move(option.guess);
  }
  return out;
}

}  // namespace bindery
