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
running=()
trap 'for process in "${running[@]}"; do pkill -P "$process" || true; done; rm -rf "$logs"' EXIT
nothing_selected=5
tests() {
  local name=$1 selection=$2 expression
  for expression in "${wanted[@]}"; do selection="$selection and ($expression)"; done
  shift 2
  "$@" -p no:cacheprovider -m "$selection" "${arguments[@]}" > "$logs/$name" 2>&1
}
# The kernel may weigh sessions against each other before it looks at niceness within one: then a session of its own stands back.
behind() { setsid bash -c 'echo 19 2> /dev/null > /proc/self/autogroup || true; exec nice -n 19 "$@"' behind "$@"; }
verdict() {
  local name=$1 process=$2 code=0
  say "== pytest: $name"
  wait "$process" || code=$?
  cat "$logs/$name"
  if [ "$code" -eq $nothing_selected ]; then empty=$((empty + 1)); elif [ "$code" -ne 0 ]; then failed+=("pytest, $name"); fi
}

# Two streams of real time, one of them with the one browser; all the others fill what the processors have left.
say "== pytest: this takes a quarter of an hour; what each part says is shown when it has ended"
empty=0
tests browser "real_time and browser" "$venv/bin/pytest" & running+=($!)
tests processes "real_time and not browser" "$venv/bin/pytest" & running+=($!)
tests others "not real_time" behind "$venv/bin/pytest" -n 2 & running+=($!)
verdict browser "${running[0]}"
verdict processes "${running[1]}"
verdict others "${running[2]}"
if [ $empty -eq 3 ]; then failed+=("no test was selected"); fi

if [ ${#failed[@]} -gt 0 ]; then say "Failed: ${failed[*]}"; fi
cat "$logs"/* | grep -E '(passed|failed|error|deselected).* in [0-9.]+s' || true
[ ${#failed[@]} -eq 0 ]
