# Shared by demo.sh and test.sh (sourced): makes or updates .venv in the checkout; a second start costs a few file hashes.

top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
venv="$top/.venv"

. "$top/deploy/common.sh"

make_venv() {
  local python stamp
  python=$(pick_python) || { add_packages python3 python3-venv && python=$(pick_python); } \
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
