#include "cli/bar.h"

#include <algorithm>
#include <chrono>

#include <sys/ioctl.h>
#include <unistd.h>

#include <fmt/format.h>

namespace bindery {

namespace {

using namespace std::chrono_literals;

constexpr std::size_t longest_line = 72;
constexpr std::size_t name_width = 12, bar_width = 40;

std::size_t terminal_width() {
  winsize size{};
  if (ioctl(STDERR_FILENO, TIOCGWINSZ, &size) != 0 || size.ws_col == 0) return longest_line;
  return std::min<std::size_t>(size.ws_col - 1, longest_line);
}

}  // namespace

std::string bar_line(const Progress::Glance& glance, std::size_t width) {
  std::string line = fmt::format("{:{}}", glance.name, name_width);
  if (glance.steps > 0) {
    std::size_t done = std::min(glance.done, glance.steps), filled = done * bar_width / glance.steps;
    line += fmt::format(" [{}{}] {:3} %", std::string(filled, '='), std::string(bar_width - filled, ' '),
                        done * 100 / glance.steps);
  }
  return line.substr(0, width);
}

Bar::Bar(Progress& progress) : progress_(progress), drawer_([this] { draw(); }) {
  progress_.at_end([this] { end(); });
}

void Bar::draw() {
  std::unique_lock lock(guard_);
  bool drawn = false;
  auto ended = [&] { return ended_; };
  for (auto wait = 500ms; !wake_.wait_for(lock, wait, ended); wait = 100ms) {
    fmt::print(stderr, "\r\x1b[K{}", bar_line(progress_.glance(), terminal_width()));
    std::fflush(stderr);
    drawn = true;
  }
  if (drawn) fmt::print(stderr, "\r\x1b[K");
}

void Bar::end() {
  {
    std::lock_guard lock(guard_);
    ended_ = true;
  }
  wake_.notify_all();
  if (drawer_.joinable()) drawer_.join();
}

}  // namespace bindery
