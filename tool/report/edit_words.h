// An edit in words: "`process/everyday`: `wall.outer.speed` `150 mm/s` -> `180 mm/s`".
#pragma once

#include <string>

#include "changes/changes.h"

namespace bindery {

std::string edit_words(const Edit& edit);

}  // namespace bindery
