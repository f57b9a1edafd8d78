// The progress of a command as one line on a terminal.
#pragma once

#include <condition_variable>
#include <mutex>
#include <string>
#include <thread>

#include "base/progress.h"

namespace bindery {

// The line for a glance, `width` columns at most: the stage, a bar, and the share that is done in per cent where its
// steps are known.
std::string bar_line(const Progress::Glance& glance, std::size_t width);

// Draws the line on stderr once half a second has gone, and takes it away when the progress ends.
class Bar {
 public:
  explicit Bar(Progress& progress);
  ~Bar() { end(); }
  Bar(const Bar&) = delete;
  Bar& operator=(const Bar&) = delete;

 private:
  void draw();
  void end();

  Progress& progress_;
  std::mutex guard_;
  std::condition_variable wake_;
  bool ended_ = false;
  std::thread drawer_;
};

}  // namespace bindery
