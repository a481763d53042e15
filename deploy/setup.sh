# Shared by demo.sh and test.sh (sourced): makes or updates .venv in the checkout; a second start costs a few file hashes.
# Everything it says goes to stderr, so that stdout stays the program's own.

top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
venv="$top/.venv"

say() { printf '%s\n' "$*" >&2; }

as_root() {
  if [ "$(id -u)" = 0 ]; then "$@"
  elif command -v sudo >/dev/null; then sudo "$@"
  else say "Not root and no sudo: please run yourself: $*"; return 1
  fi
}

# install PACKAGE...: Debian packages.
install() {
  command -v apt-get >/dev/null || { say "Please install with your system's package manager: $*"; return 1; }
  say "Installing $*"
  as_root apt-get update -qq >&2 && as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >&2
}

# need COMMAND PACKAGE...: installs the packages when the command is missing.
need() {
  local wanted=$1; shift
  command -v "$wanted" >/dev/null || install "$@"
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

make_venv() {
  local python stamp
  python=$(pick_python) || { install python3 python3-venv && python=$(pick_python); } \
    || { say "Python 3.11 or newer, with venv, is needed."; return 1; }
  # What is installed depends on these, on where the checkout stands and on the interpreter; when none changed there is nothing to do.
  stamp=$({ "$python" --version; pwd -P; cat deploy/requirements.lock pyproject.toml deploy/hatch_build.py web/package-lock.json; } | sha256sum | cut -d' ' -f1)
  [ -x "$venv/bin/geartender" ] && [ -d web/vendor ] && [ "$(cat "$venv/.stamp" 2>/dev/null)" = "$stamp" ] && return 0
  need npm nodejs npm    # the build hook fetches the chart library with it
  say "Making $venv (a minute or two, the first time)"
  "$venv/bin/python" -c '' 2>/dev/null || "$python" -m venv --clear "$venv"
  "$venv/bin/pip" install --quiet --disable-pip-version-check --require-hashes -r deploy/requirements.lock >&2
  "$venv/bin/pip" install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable . >&2
  printf '%s\n' "$stamp" > "$venv/.stamp"
}

cd "$top"
make_venv
