#!/usr/bin/env bash
# Everything that must hold: style, types, layers, the page's types, all tests. Fails if any of them fails.
#   deploy/test.sh              everything
#   deploy/test.sh --fast       without the slow tests
#   deploy/test.sh tests/api    other arguments go to pytest
# Tests of real processes in real time go before all the others, so that nothing starves them; the whole takes a quarter of an hour.
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
# systemd's own tools judge the units, and the page is shown through a real proxy.
need systemd-analyze systemd
PATH=$PATH:/usr/sbin need nginx nginx-light
# Debian keeps the server's programs out of the path.
PATH=$PATH:$(printf '%s:' /usr/lib/postgresql/*/bin) need initdb postgresql

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
  local selection=$1 expression
  for expression in "${wanted[@]}"; do selection="$selection and ($expression)"; done
  shift
  "$@" -p no:cacheprovider -m "$selection" "${arguments[@]}" 2>&1
}
# The kernel may weigh sessions against each other before it looks at niceness within one: then a session of its own stands back.
behind() { setsid bash -c 'echo 19 2> /dev/null > /proc/self/autogroup || true; exec nice -n 19 "$@"' behind "$@"; }
verdict() {
  local name=$1 code=$2
  if [ "$code" -eq $nothing_selected ]; then empty=$((empty + 1)); elif [ "$code" -ne 0 ]; then failed+=("pytest, $name"); fi
}

# Tests of real processes in real time one after the other; all the others fill what those leave of the processors.
empty=0
tests "not real_time" behind "$venv/bin/pytest" -n 2 > "$logs/others" & others=$!
real_time() {
  local selection=$1 code=0
  shift
  say "== pytest: $selection"
  tests "$selection" "$venv/bin/pytest" "$@" | tee "$logs/$selection" || code=$?
  verdict "$selection" $code
}
real_time "real_time and not browser"
# A browser mostly waits: two files of these tests at a time, each with a service of its own.
real_time "real_time and browser and not alone" -n 2 --dist loadfile
real_time "real_time and browser and alone"
say "== pytest: the others, which have been running meanwhile"
code=0
wait "$others" || code=$?
others=
cat "$logs/others"
verdict others $code
if [ $empty -eq 4 ]; then failed+=("no test was selected"); fi

if [ ${#failed[@]} -gt 0 ]; then say "Failed: ${failed[*]}"; fi
cat "$logs"/* | grep -E '(passed|failed|error|deselected).* in [0-9.]+s' || true
[ ${#failed[@]} -eq 0 ]
