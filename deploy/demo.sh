#!/usr/bin/env bash
# Starts the service with a simulated servo and prints the page's address when it answers. Arguments go to `geartender demo`.
set -euo pipefail
here=$PWD
. "$(dirname "$0")/setup.sh"
cd "$here"    # paths among the arguments are the caller's
exec "$venv/bin/geartender" demo "$@"
