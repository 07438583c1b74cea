#!/bin/bash
# SPDX-License-Identifier: GPL-3.0-or-later
# usage: check_accounts.sh SYSUSERS TMPFILES
# The user, the group and the folders come out as the units expect them, in a root of their own.
set -eu
root=$(mktemp -d)
trap 'rm -rf "$root"' EXIT
mkdir -p "$root/etc" "$root/var/lib"
systemd-sysusers --root="$root" - <"$1"
grep -q '^witherd:x:[0-9]*:[0-9]*:Withering forecasts:/var/lib/witherd:' "$root/etc/passwd"
group=$(sed -n 's/^wither:x:\([0-9]*\):.*/\1/p' "$root/etc/group")
[ -n "$group" ]
[ "$(cut -d: -f1,4 "$root/etc/passwd" | grep '^witherd:')" = "witherd:$group" ]
# Only root may give folders away; anyone else sees that the lines are understood.
if [ "$(id -u)" = 0 ]; then
    systemd-tmpfiles --root="$root" --create - <"$2"
    user=$(sed -n 's/^witherd:x:\([0-9]*\):.*/\1/p' "$root/etc/passwd")
    [ "$(stat -c '%a %u %g' "$root/var/lib/witherd/backup")" = "750 $user $group" ]
    [ "$(stat -c '%a %u %g' "$root/etc/witherd")" = "750 0 $group" ]
fi
echo "accounts and folders are as the units expect"
