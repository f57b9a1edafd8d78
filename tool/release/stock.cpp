#include "release/stock.h"

#include <algorithm>
#include <array>
#include <cstdint>
#include <span>
#include <unordered_map>

#include <fmt/format.h>
#include <unistd.h>

#include "base/binary.h"
#include "base/digest.h"
#include "base/failure.h"
#include "base/kept.h"
#include "base/parallel.h"
#include "resolve/needed.h"

namespace bindery {

namespace fs = std::filesystem;

namespace {

using Digest = std::array<char, 64>;

constexpr std::uintmax_t largest_kept = 1u << 30;
constexpr std::uint32_t none = 0xffffffffu;

Digest digest_of(std::string_view bytes) {
  Digest out{};
  std::string text = sha256(bytes);
  std::copy(text.begin(), text.end(), out.begin());
  return out;
}

}  // namespace

// What the profiles of an archive were made of, and where their files lie.
struct StockIndex {
  struct Part {
    std::string id;  // of a fragment
    Digest made_of{};
  };
  struct Item {
    Snapshot::Members parts{};
    std::uint32_t crc = 0, tier = 0, status = 0, deflated = 0;
    std::uint32_t said = 0;  // is anything to be said of it?
    std::uint64_t at = 0, length = 0, size = 0, capped = 0;
    Digest digest{};
  };
  struct KnownSection {  // of a long text
    Digest digest{};
    std::uint64_t at = 0, length = 0;
  };
  std::uint32_t archive = 0;  // its checksum
  Digest common{};
  std::vector<Part> parts;             // in the order of a tree's fragments
  std::vector<Item> items;             // ascending by their parts, as a selection is
  std::vector<KnownSection> sections;  // ascending by their digests

  static bool by_digest(const KnownSection& a, const KnownSection& b) { return a.digest < b.digest; }

  bool is_sound() const {
    auto by_parts = [](const Item& a, const Item& b) { return a.parts < b.parts; };
    auto names_something = [](const Item& each) {
      return each.tier <= static_cast<std::uint32_t>(Tier::supporter) &&
             each.status <= static_cast<std::uint32_t>(Status::retired);
    };
    return std::is_sorted(items.begin(), items.end(), by_parts) &&
           std::is_sorted(sections.begin(), sections.end(), by_digest) &&
           std::all_of(items.begin(), items.end(), names_something);
  }
};

template <typename Way>
void pass(Way& way, StockIndex::Part& p) {
  way(p.id, p.made_of);
}
template <typename Way>
void pass(Way& way, StockIndex& s) {
  static_assert(is_plain_bytes<StockIndex::Item> && is_plain_bytes<StockIndex::KnownSection>);
  way(s.archive, s.common, s.parts, s.items, s.sections);
}

// What is published against what was kept.
struct Stock::Matched {
  const Snapshot* snapshot = nullptr;
  StockIndex now;                    // of the snapshot, whose items lie nowhere yet
  std::vector<std::uint32_t> found;  // by profile: its item
};

namespace {

void append(std::string& out, const Snapshot::File& file) {
  out.append(file.path).append(1, '\n').append(file.bytes.data(), file.bytes.size());
}

// Of all files that are for all profiles.
Digest common_digest(const Snapshot& snapshot) {
  std::string all;
  for (const Snapshot::File& file : snapshot.files) {
    if (is_for_all_profiles(file.path)) append(all, file);
  }
  return digest_of(all);
}

// What each fragment is made of: its own file, and what the one is made of that it extends alone, or the files of all
// that it extends, in the order of its linearisation.
class PartsDigester {
 public:
  explicit PartsDigester(const Snapshot& snapshot)
      : snapshot_(snapshot), bases_(snapshot.parts.size(), none), out_(snapshot.parts.size()) {}

  std::vector<StockIndex::Part> run(unsigned jobs) {
    std::vector<char> extended(out_.size(), 0);
    for (std::uint32_t i = 0; i < out_.size(); ++i) {
      bases_[i] = base_of(i);
      if (bases_[i] != none) extended[bases_[i]] = 1;
    }
    std::vector<std::uint32_t> first, others;
    for (std::uint32_t i = 0; i < out_.size(); ++i) (extended[i] != 0 ? first : others).push_back(i);
    std::sort(first.begin(), first.end(),
              [&](std::uint32_t a, std::uint32_t b) { return line_of(a).size() < line_of(b).size(); });
    std::string room;
    for (std::uint32_t each : first) digest(each, room);
    constexpr std::size_t block = 256;
    parallel_for((others.size() + block - 1) / block, jobs, [&](std::size_t b) {
      std::string own;
      for (std::size_t i = b * block; i < std::min((b + 1) * block, others.size()); ++i) digest(others[i], own);
    });
    return std::move(out_);
  }

 private:
  std::span<const std::uint32_t> line_of(std::uint32_t part) const {
    std::uint32_t begin = part == 0 ? 0 : snapshot_.linear_ends[part - 1];
    return {snapshot_.linear.data() + begin, snapshot_.linear_ends[part] - begin};
  }

  // The part whose linearisation is the rest of this one's.
  std::uint32_t base_of(std::uint32_t part) const {
    std::span<const std::uint32_t> line = line_of(part);
    if (line.size() < 2 || line[0] != part) return none;
    std::span<const std::uint32_t> rest = line.subspan(1), base = line_of(rest[0]);
    return std::equal(rest.begin(), rest.end(), base.begin(), base.end()) ? rest[0] : none;
  }

  void append_part(std::uint32_t part, std::string& text) const {
    text.append(snapshot_.parts[part].name).append(1, '\n');
    append(text, snapshot_.files[snapshot_.parts[part].file]);
  }

  void digest(std::uint32_t part, std::string& text) {
    text.clear();
    if (std::uint32_t base = bases_[part]; base != none) {
      append_part(part, text);
      text.append(out_[base].made_of.data(), out_[base].made_of.size());
    } else {
      for (std::uint32_t each : line_of(part)) append_part(each, text);
    }
    const Snapshot::Part& own = snapshot_.parts[part];
    std::string& id = out_[part].id;
    std::string_view kind = name_of(own.kind);
    id.reserve(kind.size() + 1 + own.name.size());
    id.append(kind).append(1, '/').append(own.name);
    out_[part].made_of = digest_of(text);
  }

  const Snapshot& snapshot_;
  std::vector<std::uint32_t> bases_;
  std::vector<StockIndex::Part> out_;
};

}  // namespace

Stock::Stock(const fs::path& root) : folder_(root / ".bindery" / "packed"), index_(std::make_unique<StockIndex>()) {}
Stock::~Stock() = default;
Stock::Stock(Stock&&) noexcept = default;
Stock& Stock::operator=(Stock&&) noexcept = default;

void Stock::open() {
  auto bytes = read_kept(folder_ / "index", largest_kept);
  if (!bytes) return;
  StockIndex kept;
  BinaryReader reader(*bytes);
  pass(reader, kept);
  if (!reader.whole() || !kept.is_sound()) return;
  auto archive = StoredFile::open(folder_ / "archive");
  if (!archive) return;
  std::uint32_t sum = 0;
  if (!archive->read_all([&](std::string_view part) { sum = checksum(part, sum); }) || sum != kept.archive) return;
  archive_ = std::make_unique<StoredFile>(std::move(*archive));
  *index_ = std::move(kept);
}

void Stock::match(const Snapshot& snapshot, unsigned jobs) {
  matched_ = std::make_unique<Matched>(Matched{&snapshot, {}, {}});
  StockIndex& now = matched_->now;
  now.common = common_digest(snapshot);
  now.parts = PartsDigester(snapshot).run(jobs);
  now.items.resize(snapshot.published.size());
  for (std::size_t i = 0; i < now.items.size(); ++i) now.items[i].parts = snapshot.published[i];
  matched_->found.assign(now.items.size(), none);
  if (index_->items.empty() || now.common != index_->common) return;

  // Most stand where they stood.
  std::unordered_map<std::string_view, std::uint32_t> numbers;
  auto number_of = [&](std::string_view id) {
    if (numbers.empty()) {
      for (std::uint32_t i = 0; i < index_->parts.size(); ++i) numbers.emplace(index_->parts[i].id, i);
    }
    auto at = numbers.find(id);
    return at == numbers.end() ? none : at->second;
  };
  std::vector<std::uint32_t> same(now.parts.size(), none);
  for (std::uint32_t i = 0; i < same.size(); ++i) {
    bool stands = i < index_->parts.size() && index_->parts[i].id == now.parts[i].id;
    std::uint32_t at = stands ? i : number_of(now.parts[i].id);
    if (at != none && index_->parts[at].made_of == now.parts[i].made_of) same[i] = at;
  }
  auto next = index_->items.begin();
  for (std::size_t i = 0; i < now.items.size(); ++i) {
    auto parts = now.items[i].parts;
    for (std::uint32_t& part : parts) part = same[part];
    if (next == index_->items.end() || next->parts != parts)
      next = std::lower_bound(index_->items.begin(), index_->items.end(), parts,
                              [](const StockIndex::Item& item, const auto& those) { return item.parts < those; });
    bool there = next != index_->items.end() && next->parts == parts && next->at <= archive_->size() &&
                 next->length <= archive_->size() - next->at;
    if (there) matched_->found[i] = static_cast<std::uint32_t>(next++ - index_->items.begin());
  }
}

bool Stock::holds(std::size_t index, bool silent) const {
  std::uint32_t found = matched_->found[index];
  return found != none && !(silent && index_->items[found].said != 0);
}

bool Stock::take(std::size_t index, bool silent, PackedProfile& out) const {
  if (!holds(index, silent)) return false;
  const StockIndex::Item& item = index_->items[matched_->found[index]];
  const Snapshot& snapshot = *matched_->snapshot;
  out.entry.path = profile_path(snapshot.id_of(snapshot.published[index]));
  out.entry.lent = {archive_.get(), item.at, item.length};
  out.entry.deflated = item.deflated != 0;
  out.entry.size = item.size;
  out.entry.crc = item.crc;
  out.entry.digest.assign(item.digest.data(), item.digest.size());
  out.title = snapshot.title_of(snapshot.published[index]);
  out.tier = static_cast<Tier>(item.tier);
  out.status = static_cast<Status>(item.status);
  out.capped = item.capped;
  return true;
}

bool Stock::append(const std::string& digest, std::string& out) const {
  if (!archive_) return false;
  StockIndex::KnownSection wanted;
  if (digest.size() != wanted.digest.size()) return false;
  std::copy(digest.begin(), digest.end(), wanted.digest.begin());
  auto at = std::lower_bound(index_->sections.begin(), index_->sections.end(), wanted, StockIndex::by_digest);
  if (at == index_->sections.end() || at->digest != wanted.digest || at->at > archive_->size() ||
      at->length > archive_->size() - at->at)
    return false;
  std::size_t before = out.size();
  out.resize(before + static_cast<std::size_t>(at->length));
  if (archive_->read(at->at, out.data() + before, static_cast<std::size_t>(at->length))) return true;
  out.resize(before);
  return false;
}

void Stock::replace(const std::vector<PackedProfile>& packed, const std::vector<char>& said) {
  *index_ = std::move(matched_->now);
  matched_.reset();
  for (std::size_t i = 0; i < packed.size(); ++i) {
    StockIndex::Item& item = index_->items[i];
    const PackedEntry& entry = packed[i].entry;
    item.said = said[i] != 0 ? 1 : 0;
    item.tier = static_cast<std::uint32_t>(packed[i].tier);
    item.status = static_cast<std::uint32_t>(packed[i].status);
    item.crc = entry.crc;
    item.deflated = entry.deflated ? 1 : 0;
    item.length = entry.stored_size();
    item.size = entry.size;
    item.capped = packed[i].capped;
    std::copy(entry.digest.begin(), entry.digest.end(), item.digest.begin());
  }
  archive_.reset();
}

void Stock::require_unchanged() const {
  if (archive_ && !archive_->is_unchanged())
    throw SystemError(fmt::format("{} was written to while it was read", (folder_ / "archive").string()),
                      "build again");
}

bool Stock::keep_index(const TierRelease& whole) {
  if (whole.places.size() != index_->items.size()) return false;
  index_->archive = whole.checksum;
  for (std::size_t i = 0; i < whole.places.size(); ++i) {
    index_->items[i].at = whole.places[i];
    if (whole.places[i] == 0) return false;
  }
  for (const auto& [section, at] : whole.sections) {
    StockIndex::KnownSection& known = index_->sections.emplace_back();
    std::copy(section.digest.begin(), section.digest.end(), known.digest.begin());
    known.at = at;
    known.length = section.length;
  }
  std::sort(index_->sections.begin(), index_->sections.end(), StockIndex::by_digest);
  BinaryWriter writer;
  constexpr std::size_t a_part = 128;
  writer.bytes.reserve(index_->items.size() * sizeof(StockIndex::Item) + index_->parts.size() * a_part);
  pass(writer, *index_);
  return write_kept(folder_ / "index", writer.bytes);
}

void Stock::keep_archive(const fs::path& path) const {
  fs::path to = folder_ / "archive", beside = folder_ / fmt::format(".archive-{}", getpid());
  std::error_code failure;
  fs::remove(beside, failure);
  fs::create_hard_link(path, beside, failure);
  if (failure && !fs::copy_file(path, beside, failure)) {
    fs::remove(beside, failure);
    return;
  }
  fs::rename(beside, to, failure);
  // A rename between two names of one file does nothing.
  fs::remove(beside, failure);
}

}  // namespace bindery
