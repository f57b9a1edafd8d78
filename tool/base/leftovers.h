// What a command has used and nobody needs to take apart: it stays until the process ends, which frees it at once. To
// destroy a large tree takes as long as a tenth of checking it.
#pragma once

#include <memory>
#include <utility>
#include <vector>

namespace bindery {

class Leftovers {
 public:
  // Takes the thing over, and gives where it stands now.
  template <typename T>
  T& keep(T thing) {
    auto kept = std::make_shared<T>(std::move(thing));
    kept_.push_back(kept);
    return *kept;
  }

 private:
  std::vector<std::shared_ptr<void>> kept_;
};

}  // namespace bindery
