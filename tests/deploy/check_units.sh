#!/bin/bash
# SPDX-License-Identifier: GPL-3.0-or-later
# usage: check_units.sh LIMIT UNIT...
# The exposure of each unit as systemd itself reckons it is at most LIMIT, and systemd understands
# every line of it.
set -eu
limit=$1
shift
command -v systemd-analyze >/dev/null || { echo "systemd-analyze is missing" >&2; exit 1; }
status=0
for unit; do
    threshold=$(awk -v limit="$limit" 'BEGIN { printf "%d", limit * 10 + 0.5 }')
    if ! report=$(systemd-analyze security --offline=true --no-pager --threshold="$threshold" \
        "$unit" 2>&1); then
        echo "$unit: more exposed than $limit"
        status=1
    fi
    echo "$report" | tail -n 1
    # Unknown keys and values are told as warnings with file and line.
    if systemd-analyze verify --man=no "$unit" 2>&1 | grep -E '^[^ ]+:[0-9]+: '; then
        echo "$unit: lines that systemd does not understand"
        status=1
    fi
done
exit $status
