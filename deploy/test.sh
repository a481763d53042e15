#!/usr/bin/env bash
# Everything that must hold: style, types, layers, the page's types, all tests. Fails if any of them fails.
#   deploy/test.sh              everything
#   deploy/test.sh --fast       without the slow tests
#   deploy/test.sh tests/api    other arguments go to pytest
# Tests of real processes in real time run first and by themselves, so that nothing starves them; then all the others.
set -euo pipefail
. "$(dirname "$0")/setup.sh"

arguments=()
wanted=()
while [ $# -gt 0 ]; do
  case $1 in
    --fast) wanted+=("not slow") ;;
    -m) wanted+=("$2"); shift ;;
    *) arguments+=("$1") ;;
  esac
  shift
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

log=$(mktemp)
trap 'rm -f "$log"' EXIT
nothing_selected=5
empty=0
tests() {
  local name=$1 selection=$2 code=0 expression
  for expression in "${wanted[@]}"; do selection="$selection and ($expression)"; done
  say "== pytest: $name"
  "$venv/bin/pytest" -n 2 --dist loadgroup -m "$selection" "${arguments[@]}" | tee -a "$log" || code=$?
  if [ $code -eq $nothing_selected ]; then empty=$((empty + 1)); elif [ $code -ne 0 ]; then failed+=("$name"); fi
}
tests "in real time" "real_time"
tests "all others" "not real_time"
if [ $empty -eq 2 ]; then failed+=("no test was selected"); fi

if [ ${#failed[@]} -gt 0 ]; then say "Failed: ${failed[*]}"; fi
grep -E '(passed|failed|error|deselected).* in [0-9.]+s' "$log" || true
[ ${#failed[@]} -eq 0 ]
