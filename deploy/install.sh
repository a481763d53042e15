#!/usr/bin/env bash
# Puts Geartender on a Debian-like board, updates it, and takes it off again. Run it as root, from a checkout or from a folder that
# holds these files and a wheel. A second run with the same version changes nothing.
#   deploy/install.sh                  builds the wheel of this checkout and installs it
#   deploy/install.sh --wheel FILE     installs this wheel
#   deploy/install.sh --socket         the service gets its listening socket handed in, and has no network of its own
#   deploy/install.sh --uninstall      takes everything off but the data, /var/lib/geartender
#   … --root DIR                       does it to the system that lies in a folder, such as the image of a card
#
# Each version has a virtual environment of its own in /opt/geartender; `current` points to the one in use. Where an older one runs, the
# new one is made beside it, the configuration is checked, the data is copied, and the new one must show itself healthy;
# else the old one comes back with the data as it was.
set -euo pipefail
umask 022

here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
. "$here/common.sh"

root=
wheel=
variant=plain
todo=install
while [ $# -gt 0 ]; do
  case $1 in
    --wheel) wheel=$(realpath "$2"); shift ;;
    --root) root=$(realpath "$2"); shift ;;
    --socket) variant=socket ;;
    --uninstall) todo=uninstall ;;
    *) sed -n '2,/^set /{s/^# \{0,1\}//p}' "$0" >&2; exit 2 ;;
  esac
  shift
done
[ "$root" != / ] || root=
[ "$(id -u)" = 0 ] || { say "Run this as root: sudo $0"; exit 1; }

opt=$root/opt/geartender
etc=$root/etc/geartender
data=$root/var/lib/geartender
config=$etc/geartender.toml
units=$root/etc/systemd/system
. "$here/release.sh"

# Files that the whole system reads: where each goes, by its name here.
declare -A system_files=(
  [geartender.service]=$units/geartender.service
  [geartender-clock.service]=$units/geartender-clock.service
  [geartender.sysusers]=$root/etc/sysusers.d/geartender.conf
  [70-geartender.rules]=$root/etc/udev/rules.d/70-geartender.rules
  [geartender.avahi]=$root/etc/avahi/services/geartender.service
)
declare -A socket_files=(
  [geartender.socket]=$units/geartender.socket
  [geartender-socket.conf]=$units/geartender.service.d/socket.conf
)

# put FILE TARGET [MODE [OWNER [GROUP]]]: copies unless it is there already, the same in every way.
put() {
  local mode=${3:-644} owner=${4:-0} group=${5:-0}
  [ "$(stat -c %a:%u:%g "$2" 2>/dev/null)" = "$mode:$owner:$group" ] && cmp -s "$1" "$2" && return 0
  command install -D -m "$mode" -o "$owner" -g "$group" "$1" "$2"
  changed=yes
}

# folder PATH MODE OWNER GROUP
folder() {
  [ "$(stat -c %a:%u:%g "$1" 2>/dev/null)" = "$2:$3:$4" ] || command install -d -m "$2" -o "$3" -g "$4" "$1"
}

link() { [ "$(readlink "$2" 2>/dev/null)" = "$1" ] || { mkdir -p "$(dirname "$2")"; ln -sfn "$1" "$2"; }; }

id_of() { awk -F: -v name="$2" '$1 == name {print $3}' "$root/etc/$1"; }

make_user() {
  put "$here/geartender.sysusers" "${system_files[geartender.sysusers]}"
  [ -n "$(id_of passwd geartender 2>/dev/null)" ] || systemd-sysusers ${root:+--root="$root"} "${system_files[geartender.sysusers]}" >&2
  uid=$(id_of passwd geartender)
  gid=$(id_of group geartender)
}

make_folders() {
  folder "$etc" 750 0 "$gid"
  if [ -d "$data/configuration" ] && [ ! -e "$config" ]; then    # kept by --uninstall
    cp "$data/configuration/"* "$etc/"
    rm -r "$data/configuration"
    chown 0:"$gid" "$etc"/*; chmod 640 "$etc"/*
  fi
  [ -e "$config" ] || put "$here/geartender.toml" "$config" 640 0 "$gid"
  [ "$(stat -c %u "$data" 2>/dev/null)" = "$uid" ] || { mkdir -p "$data"; chown -R "$uid:$gid" "$data"; }
  folder "$data" 700 "$uid" "$gid"
}

# put_system_files RELEASE: those that came with it.
put_system_files() {
  local name from=$opt/$1/system
  for name in "${!system_files[@]}"; do put "$from/$name" "${system_files[$name]}"; done
  if [ "$variant" = plain ] && [ -e "${socket_files[geartender.socket]}" ]; then
    ! live || ctl stop geartender.service geartender.socket
    ctl --quiet disable geartender.socket
  fi
  for name in "${!socket_files[@]}"; do
    if [ "$variant" = socket ]; then put "$from/$name" "${socket_files[$name]}"; else remove "${socket_files[$name]}"; fi
  done
  link /opt/geartender/current/bin/geartender "$root/usr/local/bin/geartender"
}

changed=no    # whether something that the service is started with is not as it was

# remove FILE...: and the folders that are empty without it and were made for it.
remove() {
  local file
  for file in "$@"; do
    [ -e "$file" ] || [ -L "$file" ] || continue
    rm "$file"
    changed=yes
    case $(dirname "$file") in */geartender.service.d | */avahi/services | */avahi | */sysusers.d) rmdir -p --ignore-fail-on-non-empty "$(dirname "$file")" 2>/dev/null || true ;; esac
  done
}

enable() {
  local wanted=(geartender.service) unit
  [ "$variant" = plain ] || wanted+=(geartender.socket)
  for unit in "${wanted[@]}"; do ctl is-enabled --quiet "$unit" 2>/dev/null || ctl --quiet enable "$unit"; done
}

install_all() {
  need_python
  make_user
  make_folders
  finish_what_was_cut_off
  make_release
  if [ "$(readlink "$opt/current" 2>/dev/null)" = "$release" ]; then
    put_system_files "$release"
    enable
    start_if_configured
  else
    change_over
  fi
}

uninstall_all() {
  ! live || ctl stop geartender.service geartender.socket geartender-clock.service 2>/dev/null || true
  ctl --quiet disable geartender.service geartender.socket 2>/dev/null || true
  remove "${system_files[@]}" "${socket_files[@]}" "$root/usr/local/bin/geartender"
  rm -rf "$opt"
  ! live || ctl daemon-reload
  if [ -d "$etc" ]; then
    # What was written by hand is data too: it lies with the rest of it until the next installation.
    mkdir -p "$data/configuration"
    cp -a "$etc/." "$data/configuration/"
    rm -rf "$etc"
  fi
  # The user goes, so the data must not be left to whoever gets its number next.
  [ ! -d "$data" ] || chown -R 0:0 "$data"
  [ -z "$(id_of passwd geartender 2>/dev/null)" ] || userdel ${root:+--prefix "$root"} geartender 2>/dev/null || true
  [ -z "$(id_of group geartender 2>/dev/null)" ] || groupdel ${root:+--prefix "$root"} geartender 2>/dev/null || true
  say "Geartender is off this system. Its data is in ${data#"$root"}."
}

"${todo}_all"
