# Words that the other scripts share (sourced).
# Everything they say goes to stderr, so that stdout stays the program's own.

say() { printf '%s\n' "$*" >&2; }

as_root() {
  if [ "$(id -u)" = 0 ]; then "$@"
  elif command -v sudo >/dev/null; then sudo "$@"
  else say "Not root and no sudo: please run yourself: $*"; return 1
  fi
}

# add_packages PACKAGE...: Debian packages.
add_packages() {
  command -v apt-get >/dev/null || { say "Please install with your system's package manager: $*"; return 1; }
  say "Installing $*"
  as_root apt-get update -qq >&2 && as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >&2
}

# need COMMAND PACKAGE...: installs the packages when the command is missing.
need() {
  local wanted=$1; shift
  command -v "$wanted" >/dev/null || add_packages "$@"
}

new_enough() { "$1" -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; }

# The newest usable Python, 3.11 at least; prints its name.
pick_python() {
  local name
  for name in python3 python3.14 python3.13 python3.12 python3.11; do
    if command -v "$name" >/dev/null && new_enough "$name"; then echo "$name"; return 0; fi
  done
  return 1
}
