#!/usr/bin/env bash
# Everything that must hold: style, types, layers, the page's types, all tests. Fails if any of them fails.
#   deploy/test.sh              everything
#   deploy/test.sh --fast       without the slow tests
#   deploy/test.sh tests/api    other arguments go to pytest
# Tests of real processes in real time go before all the others, so that nothing starves them.
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

logs=$(mktemp -d)
others=
trap '[ -z "$others" ] || pkill -P "$others" || true; rm -rf "$logs"' EXIT
nothing_selected=5
tests() {
  local name=$1 selection=$2 expression
  for expression in "${wanted[@]}"; do selection="$selection and ($expression)"; done
  shift 2
  "$@" "$venv/bin/pytest" -n 2 --dist loadgroup -m "$selection" "${arguments[@]}" 2>&1 | tee "$logs/$name"
}
verdict() {
  local name=$1 code=$2
  if [ "$code" -eq $nothing_selected ]; then empty=$((empty + 1)); elif [ "$code" -ne 0 ]; then failed+=("pytest, $name"); fi
}

empty=0
say "== pytest: what lives in real time; the others run behind it, and are shown after it"
tests others "not real_time" nice -n 19 > /dev/null &
others=$!
code=0; tests real-time "real_time" || code=$?
verdict real-time $code
say "== pytest: the others"
code=0; wait $others || code=$?
cat "$logs/others"
verdict others $code
if [ $empty -eq 2 ]; then failed+=("no test was selected"); fi

if [ ${#failed[@]} -gt 0 ]; then say "Failed: ${failed[*]}"; fi
cat "$logs/real-time" "$logs/others" | grep -E '(passed|failed|error|deselected).* in [0-9.]+s' || true
[ ${#failed[@]} -eq 0 ]
