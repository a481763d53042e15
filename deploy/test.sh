#!/usr/bin/env bash
# Everything that must hold: style, types, layers, the page's types, all tests. Fails if any of them fails.
#   deploy/test.sh              everything
#   deploy/test.sh --fast       without the slow tests
#   deploy/test.sh tests/api    other arguments go to pytest
set -euo pipefail
. "$(dirname "$0")/setup.sh"

arguments=()
for argument in "$@"; do
  if [ "$argument" = --fast ]; then arguments+=(-m "not slow"); else arguments+=("$argument"); fi
done

need node nodejs npm
need chromium chromium fonts-dejavu-core

failed=()
step() {
  local name=$1; shift
  say "== $name"
  "$@" || failed+=("$name")
}
page_types() {
  [ -f web/package-lock.json ] || return 0
  # npm keeps a copy of the lock it installed; when the lock is not newer than that, there is nothing to install.
  if [ ! -f web/node_modules/.package-lock.json ] || [ web/package-lock.json -nt web/node_modules/.package-lock.json ]; then
    (cd web && npm ci --silent --no-audit --no-fund)
  fi
  (cd web && node node_modules/typescript/bin/tsc --noEmit -p .)
}

step "ruff check" "$venv/bin/ruff" check --quiet .
step "ruff format" "$venv/bin/ruff" format --quiet --check .
step "mypy" "$venv/bin/mypy"
step "lint-imports" "$venv/bin/lint-imports"
step "tsc" page_types

say "== pytest"
log=$(mktemp)
trap 'rm -f "$log"' EXIT
"$venv/bin/pytest" -n 2 --dist loadgroup "${arguments[@]}" | tee "$log" || failed+=(pytest)

if [ ${#failed[@]} -gt 0 ]; then say "Failed: ${failed[*]}"; fi
tail -n 1 "$log"
[ ${#failed[@]} -eq 0 ]
