# Sourced by tool/run and tests/run: installs what is missing, says what, and does nothing twice.

say() { printf '%s\n' "$*"; }

# need PACKAGE...: installs the Debian packages that are not there, as root or with sudo.
need() {
  local missing=() package
  for package in "$@"; do
    [ "$(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null)" = installed ] || missing+=("$package")
  done
  [ ${#missing[@]} -gt 0 ] || return 0
  say "installing: ${missing[*]}"
  local as=()
  if [ "$(id -u)" -ne 0 ]; then
    command -v sudo >/dev/null || { say "these packages need root or sudo; install them, then run this again" >&2; exit 3; }
    as=(sudo)
  fi
  # The lists are fetched only if a package is not known yet.
  apt-cache show "${missing[@]}" >/dev/null 2>&1 || "${as[@]}" apt-get -qq update
  "${as[@]}" env DEBIAN_FRONTEND=noninteractive apt-get -qq -y --no-install-recommends install "${missing[@]}" >/dev/null ||
    { "${as[@]}" apt-get -qq update && "${as[@]}" env DEBIAN_FRONTEND=noninteractive apt-get -qq -y --no-install-recommends install "${missing[@]}" >/dev/null; }
}

# need_program PROGRAM PACKAGE...: the packages, unless the program is there already.
need_program() {
  local program=$1
  shift
  command -v "$program" >/dev/null || need "$@"
}

# What the program is built with.
need_build() {
  need_program g++ g++
  need_program cmake cmake
  need_program ninja ninja-build
  need_program pkg-config pkg-config
  need_program python3 python3
  need libyaml-cpp-dev libfmt-dev nlohmann-json3-dev libssl-dev libgit2-dev libzip-dev libdeflate-dev zlib1g-dev libudunits2-dev libpugixml-dev libcli11-dev doctest-dev
}

# build PRESET TARGET...: configures once, then compiles what changed.
build() {
  local preset=$1
  shift
  [ -f "build/$preset/build.ninja" ] || { say "configuring build/$preset"; cmake --preset "$preset" >"build/$preset.log" 2>&1 || { cat "build/$preset.log"; exit 3; }; }
  say "building $* in build/$preset"
  cmake --build "build/$preset" --target "$@" >"build/$preset.log" 2>&1 || { tail -n 60 "build/$preset.log"; exit 3; }
}
