#include <algorithm>
#include <optional>

#include "archive/archive.h"
#include "archive/records.h"
#include "archive/zip_file.h"
#include "base/failure.h"

namespace bindery {

namespace {

// Days since 1970 to a civil date: the usual arithmetic on eras of 400 years.
DosTime to_dos(std::int64_t seconds) {
  constexpr std::int64_t first = 315532800, last = 4354819198;  // 1980-01-01 and 2107-12-31 23:59:58, UTC
  seconds = std::clamp(seconds, first, last);
  std::int64_t days = seconds / 86400, rest = seconds % 86400;
  std::int64_t z = days + 719468, era = z / 146097, day_of_era = z - era * 146097;
  std::int64_t year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
  std::int64_t day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
  std::int64_t shifted = (5 * day_of_year + 2) / 153;
  std::int64_t day = day_of_year - (153 * shifted + 2) / 5 + 1, month = shifted < 10 ? shifted + 3 : shifted - 9;
  std::int64_t year = year_of_era + era * 400 + (month <= 2 ? 1 : 0);
  return {static_cast<std::uint16_t>(rest / 3600 << 11 | rest / 60 % 60 << 5 | rest % 60 / 2),
          static_cast<std::uint16_t>((year - 1980) << 9 | month << 5 | day)};
}

// The file that lends all entries which are lent; null where none is, or two lend.
const StoredFile* lender_of(const PackedEntries& entries) {
  const StoredFile* out = nullptr;
  for (const PackedEntry* entry : entries) {
    if (entry->lent.file == nullptr) continue;
    if (out != nullptr && entry->lent.file != out) return nullptr;
    out = entry->lent.file;
  }
  return out;
}

// The record of an entry in the list of the archive that lends it; empty where it is not certain to be that.
std::string_view lent_record(const PackedEntry& entry, RecordList& list) {
  std::uint64_t before = entry_head + entry.path.size();
  if (entry.lent.at < before) return {};
  std::string_view record = list.find(entry.lent.at - before);
  bool same = !record.empty() && listed_path(record) == entry.path && listed_crc(record) == entry.crc &&
              listed_length(record) == entry.lent.length;
  return same ? record : std::string_view();
}

// Writes an archive of which an earlier one lends entries: these are copied with their records, and so are the others,
// out of an archive of their own that libzip writes. Gives where the stored bytes of each begin. Nothing, and nothing
// is handed on, where that is not certain to give what libzip would have written.
std::optional<std::vector<std::uint64_t>> join(const PackedEntries& entries, DosTime time,
                                               const std::vector<TakeBytes>& takers) {
  const StoredFile* lender = lender_of(entries);
  if (lender == nullptr || entries.size() > ArchiveJoiner::most_entries) return std::nullopt;
  StoredReader reader;
  ReadAt read_lent = [&](std::uint64_t at, std::size_t length, std::string& out) {
    return reader.append(*lender, at, length, out);
  };
  auto lent = RecordList::read(lender->size(), read_lent);
  if (!lent) return std::nullopt;
  std::vector<std::string_view> records;  // of those that are lent
  PackedEntries others;
  std::uint64_t size = lent->end().size(), list_size = 0;
  for (const PackedEntry* entry : entries) {
    records.push_back(entry->lent.file == nullptr ? std::string_view() : lent_record(*entry, *lent));
    if (entry->lent.file == nullptr) others.push_back(entry);
    else if (records.back().empty()) return std::nullopt;
    size += entry_head + entry->path.size() + entry->stored_size();
    list_size += listed_head + entry->path.size();
  }
  size += list_size;
  if (size > ArchiveJoiner::most_bytes || others.empty()) return std::nullopt;

  std::string made;
  std::vector<std::uint64_t> heads = ZipFile(others, time).close(made);
  ReadAt read_made = [&](std::uint64_t at, std::size_t length, std::string& out) {
    if (at > made.size() || length > made.size() - at) return false;
    out.append(made, static_cast<std::size_t>(at), length);
    return true;
  };
  auto list = RecordList::read(made.size(), read_made);
  if (!list || heads.size() != others.size()) return std::nullopt;
  for (std::size_t i = 0, other = 0; i < records.size(); ++i) {
    if (entries[i]->lent.file == nullptr) records[i] = list->find(heads[other++]);
    if (records[i].empty()) return std::nullopt;
  }

  Followers followers(takers);
  ArchiveJoiner joiner(followers, static_cast<std::size_t>(list_size));
  std::vector<std::uint64_t> places;
  places.reserve(records.size());
  for (std::size_t i = 0; i < records.size(); ++i) {
    auto place = joiner.add(records[i], entries[i]->lent.file == nullptr ? read_made : read_lent, time);
    if (!place) throw SystemError("the archive of the last build cannot be read", "build again");
    places.push_back(*place);
  }
  joiner.finish(lent->end());
  followers.finish();
  return places;
}

}  // namespace

struct ArchiveWriter::State {
  PackedEntries entries;
  DosTime time;
  std::optional<ZipFile> whole;  // where libzip writes all of it
};

ArchiveWriter::ArchiveWriter(PackedEntries entries, std::int64_t time) : state_(std::make_unique<State>()) {
  state_->entries = std::move(entries);
  state_->time = to_dos(time);
  if (lender_of(state_->entries) == nullptr) state_->whole.emplace(state_->entries, state_->time);
}

ArchiveWriter::~ArchiveWriter() = default;

std::vector<std::uint64_t> ArchiveWriter::finish(std::vector<TakeBytes> takers) {
  State& s = *state_;
  if (!s.whole) {
    if (auto places = join(s.entries, s.time, takers)) return *places;
    s.whole.emplace(s.entries, s.time);
  }
  Followers followers(std::move(takers));
  std::vector<std::uint64_t> places = s.whole->close([&](std::string part) { return followers.hand(std::move(part)); });
  followers.finish();
  for (std::size_t i = 0; i < places.size(); ++i) places[i] += entry_head + s.entries[i]->path.size();
  return places;
}

std::string write_archive(const PackedEntries& entries, std::int64_t time) {
  std::string out;
  ArchiveWriter(entries, time).finish({[&](std::string_view bytes) { out += bytes; }});
  return out;
}

}  // namespace bindery
