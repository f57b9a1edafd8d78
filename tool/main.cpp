// Compiles a tree of machine, material and process fragments into checked profiles and release archives.
#include <cstdio>
#include <cstdlib>

#include <malloc.h>

#include "cli/options.h"

int main(int count, char** arguments) {
  // Archives carry times of day, which libzip converts by the zone of the process.
  setenv("TZ", "UTC0", 1);
  // To get memory from the system in small steps takes a twentieth of the time in which a tree is built.
  mallopt(M_TOP_PAD, 4 << 20);
  bindery::Leftovers leftovers;
  bindery::Options options;
  options.leftovers = &leftovers;
  if (auto exit = bindery::parse_options(count, arguments, options)) return static_cast<int>(*exit);
  bindery::Exit result = bindery::run_command(options);
  // A full disk shows only when the output is flushed.
  if (std::fflush(stdout) != 0 || std::ferror(stdout) != 0) {
    std::fputs("error: the output cannot be written\n", stderr);
    return static_cast<int>(bindery::Exit::system);
  }
  std::fflush(stderr);
#ifdef BINDERY_TAKE_APART
  return static_cast<int>(result);
#else
  std::_Exit(static_cast<int>(result));  // leaves the leftovers to the system
#endif
}
