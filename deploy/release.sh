# One installed version: made beside the others, put in force, watched, and taken back (sourced by install.sh).

healthy_within_s=60    # s; a slow board starts in 20, and a large database changes its tables before the service is started for good

live() { [ -d "$root/run/systemd/system" ]; }
ctl() { systemctl ${root:+--root="$root"} "$@"; }

need_python() {
  python=$(pick_python) || { [ -z "$root" ] && add_packages python3 python3-venv && python=$(pick_python); } \
    || { say "Python 3.11 or newer, with venv, is needed."; exit 1; }
}

# The virtual environment of a release, its address by the name it will have on the system itself.
make_release() {
  local work name
  work=$(mktemp -d)
  trap "rm -rf '$work'" EXIT
  [ -n "$wheel" ] || build_wheel "$python" "$work"
  name=$(basename "$wheel")
  version=$(cut -d- -f2 <<< "$name")
  release=$version-$(cat "$wheel" "$here/service.lock" | sha256sum | cut -c1-8)
  [ ! -e "$opt/$release/complete" ] || return 0
  say "Making /opt/geartender/$release (some minutes on a small board)"
  rm -rf "${opt:?}/$release"
  mkdir -p "$opt"
  "$python" -m venv "$opt/$release"
  "$opt/$release/bin/python" -m pip install --quiet --disable-pip-version-check --require-hashes -r "$here/service.lock" >&2
  "$opt/$release/bin/python" -m pip install --quiet --disable-pip-version-check --no-deps --no-index "$wheel" >&2
  # In the system itself the folder has no root in front.
  [ -z "$root" ] || grep -rlI "$root/opt" "$opt/$release/bin" "$opt/$release/pyvenv.cfg" | xargs -r sed -i "s|$root/opt|/opt|g"
  mkdir "$opt/$release/system"
  for name in "${!system_files[@]}" "${!socket_files[@]}"; do cp "$here/$name" "$opt/$release/system/"; done
  : > "$opt/$release/complete"
}

build_wheel() {
  local top
  top=$(dirname "$here")
  [ -f "$top/pyproject.toml" ] || { say "There is no checkout around this script; say --wheel FILE."; exit 1; }
  [ -d "$top/web/vendor/uplot" ] || need npm nodejs npm
  "$1" -m venv "$2/build"
  "$2/build/bin/python" -m pip install --quiet --disable-pip-version-check --require-hashes -r "$here/build.lock" >&2
  (cd "$top" && "$2/build/bin/python" -m hatchling build -t wheel -d "$2" >&2)
  wheel=$(echo "$2"/*.whl)
}

# in_release NAME ARGUMENT...: its command, wherever its folder is just now.
in_release() {
  local name=$1; shift
  PYTHONDONTWRITEBYTECODE=1 "$opt/$name/bin/python" -m geartender.cli.main "$@"
}

start_if_configured() {
  live || return 0
  if [ $changed = yes ]; then
    ctl stop geartender.service 2>/dev/null || true
    ctl daemon-reload
  fi
  if in_release "$release" config check "$config" >&2; then
    ctl start geartender.service
    say "Let the first phone in: sudo geartender pair --role manage --config ${config#"$root"}"
  else say "Fill in ${config#"$root"}, then: sudo systemctl start geartender"; fi
}

# Put the new release in the place of what was there, if anything was; go back when it does not show itself healthy.
change_over() {
  local old
  old=$(readlink "$opt/current" 2>/dev/null || true)
  if [ -z "$old" ]; then
    put_system_files "$release"
    point_to "$release"
    enable
    start_if_configured
    return
  fi
  in_release "$release" config check "$config" >&2 \
    || { say "The new version cannot use the configuration; nothing was changed."; rm -rf "${opt:?}/$release"; exit 1; }
  local ran=no
  if live && ctl is-active --quiet geartender.service; then ran=yes; ctl stop geartender.service; fi
  copy_data
  echo "$old" > "$opt/updating"    # what to go back to, should the power fail from here on
  put_system_files "$release"
  point_to "$release"
  if [ $ran = no ]; then enable; rm "$opt/updating"; forget_others "$old"; say "Updated to $release; it did not run before, so it was not started."; return; fi
  ctl daemon-reload
  if ctl start geartender.service && healthy "$version"; then
    enable
    rm "$opt/updating"
    forget_others "$old"
    say "Updated to $release. The version before, $old, and the data as it was are kept until the next update."
    return
  fi
  say "The new version does not show itself healthy; going back to $old. Why: journalctl -u geartender"
  go_back "$old"
  exit 1
}

# go_back RELEASE: to what ran before the update, with the data as it was.
go_back() {
  ctl stop geartender.service || true
  take_data_back
  put_system_files "$1"
  point_to "$1"
  rm -f "$opt/updating"
  ctl daemon-reload
  if ctl start geartender.service && healthy "${1%-*}"; then say "$1 runs again, with the data as it was."
  else say "$1 does not run either: journalctl -u geartender"; fi
}

# An update that the power or a closed lid has cut off: the new version stays if it is healthy, else the old one comes back first.
finish_what_was_cut_off() {
  [ -f "$opt/updating" ] && live || return 0
  local old now
  old=$(cat "$opt/updating")
  now=$(readlink "$opt/current")
  say "The last update was cut off; looking whether $now is healthy."
  if healthy "${now%-*}"; then rm "$opt/updating"
  else say "It is not; going back to $old first."; go_back "$old"; fi
}

point_to() {
  ln -sfn "$1" "$opt/new"
  mv -T "$opt/new" "$opt/current"
}

# While nothing runs a copy of the files is a copy of the database. A database elsewhere is its owner's to copy.
copy_data() {
  rm -rf "$data/before-update"
  mkdir -m 700 "$data/before-update"
  find "$data" -mindepth 1 -maxdepth 1 ! -name 'before-*' ! -name 'failed-update' ! -name '*.ballast' \
    -exec cp -a --reflink=auto -t "$data/before-update" {} +
  chown "$uid:$gid" "$data/before-update"
}

take_data_back() {
  rm -rf "$data/failed-update"
  mkdir -m 700 "$data/failed-update"
  find "$data" -mindepth 1 -maxdepth 1 ! -name before-update ! -name failed-update ! -name '*.ballast' -exec mv -t "$data/failed-update" {} +
  cp -a "$data/before-update/." "$data/"
  chmod 700 "$data"
}

# healthy VERSION: whether that version answers, and keeps things, within the time.
healthy() {
  "$python" - "$config" "$1" "$healthy_within_s" <<'PYTHON'
import json, sys, time, tomllib, urllib.request
service = tomllib.load(open(sys.argv[1], "rb")).get("service", {})
host = service.get("host", "127.0.0.1")
host = {"0.0.0.0": "127.0.0.1", "::": "[::1]"}.get(host, f"[{host}]" if ":" in host else host)
url, end = f"http://{host}:{service.get('port', 8350)}/healthz", time.monotonic() + float(sys.argv[3])
why = "no answer"
while time.monotonic() < end:
    try:
        health = json.load(urllib.request.urlopen(url, timeout=5))
        why = f"version {health.get('version')}, store {health.get('store')}"
        if health.get("version") == sys.argv[2] and health.get("status") == "ok":
            sys.exit(0)
    except (OSError, ValueError) as error:
        why = str(error)
    time.sleep(0.5)
sys.exit(f"{url}: {why}")
PYTHON
}

# Only the release in force and the one before stay.
forget_others() {
  local one
  for one in "$opt"/*/; do
    one=$(basename "$one")
    case $one in "$release" | "$1" | current) ;; *) rm -rf "${opt:?}/$one" ;; esac
  done
}
