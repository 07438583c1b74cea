#!/bin/bash
# SPDX-License-Identifier: GPL-3.0-or-later
# usage: check_backup.sh SCRIPT
# The backup script keeps the newest copies, and all of them when the new one fails.
set -eu
script=$1
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
mkdir "$folder/bin" "$folder/copies"
printf '#!/bin/sh\n[ "$1" = backup ] && echo copy >"$2"\n' >"$folder/bin/works"
printf '#!/bin/sh\nexit 1\n' >"$folder/bin/fails"
printf '#!/bin/sh\nexit 0\n' >"$folder/bin/writes-nothing"
chmod +x "$folder/bin/"*
for day in 01 02 03 04 05; do
    echo old >"$folder/copies/wither-202604${day}T120000Z.db"
done
echo other >"$folder/copies/notes.txt"
for bad in fails writes-nothing; do
    if WITHER=$folder/bin/$bad "$script" "$folder/copies" 2 2>/dev/null; then
        echo "no error though the copy failed ($bad)"
        exit 1
    fi
    [ "$(ls "$folder/copies" | wc -l)" = 6 ]
done
WITHER=$folder/bin/works "$script" "$folder/copies" 3
ls "$folder/copies"
[ "$(ls "$folder/copies" | wc -l)" = 4 ]
[ -e "$folder/copies/notes.txt" ] && [ -e "$folder/copies/wither-20260405T120000Z.db" ]
[ ! -e "$folder/copies/wither-20260403T120000Z.db" ]
status=0
"$script" "$folder/copies" 0 2>/dev/null || status=$?
[ "$status" = 2 ]
