#!/bin/bash
# SPDX-License-Identifier: GPL-3.0-or-later
# usage: check_syscalls.sh WITHERD WITHER UNIT SOURCE_ROOT
# A run of the daemon, with a broker, questions, acts and a backup, makes no system call that the
# unit's filter would refuse.  The filter is expanded by systemd itself from the unit's own lines.
set -eu
witherd=$1
wither=$2
unit=$3
root=$4
folder=$(mktemp -d)
port=$((20000 + $$ % 20000))
pids=
finish() {
    for pid in $pids; do
        # strace takes no notice of a signal while what it follows runs.
        pkill -P "$pid" 2>/dev/null || true
        kill "$pid" 2>/dev/null || true
    done
    wait 2>/dev/null || true
    rm -rf "$folder"
}
trap finish EXIT
PATH=$PATH:/usr/sbin
for tool in strace systemd-analyze mosquitto mosquitto_pub; do
    command -v "$tool" >/dev/null || { echo "$tool is missing" >&2; exit 1; }
done

expand() { # a set, with the sets inside it
    systemd-analyze syscall-filter --no-pager "$1" | sed 's/#.*//; s/^ *//' | tail -n +2 |
        while read -r name; do
            case $name in
            @*) expand "$name" ;;
            ?*) echo "$name" ;;
            esac
        done
}
for word in $(sed -n 's/^SystemCallFilter=\([^~].*\)/\1/p' "$unit"); do
    expand "$word"
done | sort -u >"$folder/allowed"
for word in $(sed -n 's/^SystemCallFilter=~\(.*\)/\1/p' "$unit"); do
    expand "$word"
done | sort -u >"$folder/denied"
[ -s "$folder/allowed" ] && [ -s "$folder/denied" ]

printf 'listener %s 127.0.0.1\nallow_anonymous true\n' "$port" >"$folder/mosquitto.conf"
mosquitto -c "$folder/mosquitto.conf" >/dev/null 2>&1 &
pids="$pids $!"
sed -e "s#^database = .*#database = $folder/wither.db#; s#^socket = .*#socket = $folder/sock#" \
    -e "s#^\#*port = .*#port = $port#" "$root/config/witherd.conf" >"$folder/witherd.conf"
# SQLite gives files away only when it runs as root; the unit does not.
as=
if [ "$(id -u)" = 0 ]; then
    chmod -R a+rwX "$folder"
    as="setpriv --reuid=65534 --regid=65534 --clear-groups"
fi
$as strace -f -qq -o "$folder/trace" "$witherd" --config "$folder/witherd.conf" 2>"$folder/log" &
daemon=$!
pids="$pids $daemon"
export WITHER_SOCKET=$folder/sock
for _ in $(seq 200); do
    ! "$wither" health >/dev/null 2>&1 && [ ! -S "$folder/sock" ] || break
    sleep 0.1
done
[ -S "$folder/sock" ] || { cat "$folder/log"; exit 1; }
for k in 1 2 3; do
    mosquitto_pub -p "$port" -q 1 -t shed/loft -m "{\"temperature\":2$k.5,\"humidity\":70}"
done
"$wither" spread 'South slope' 6 --area 6 >/dev/null
"$wither" tonight >/dev/null || true
"$wither" plan >/dev/null || true
"$wither" backup "$folder/copy.db" >/dev/null
"$wither" undo >/dev/null
kill "$(pgrep -P "$daemon" | head -n 1)" 2>/dev/null || kill "$daemon"
wait "$daemon" || true

# "1234 openat(...)" and "1234 <... openat resumed>"
sed -n 's/^[0-9]* *\(<\.\.\. \)\{0,1\}\([a-z_0-9]*\)[( ].*/\2/p' "$folder/trace" | sort -u |
    grep -v -x -e execve -e '' >"$folder/made"
[ "$(wc -l <"$folder/made")" -ge 30 ] || { echo "too little was traced"; cat "$folder/log"; exit 1; }
comm -23 "$folder/made" "$folder/allowed" >"$folder/refused"
comm -12 "$folder/made" "$folder/denied" >>"$folder/refused"
if [ -s "$folder/refused" ]; then
    echo "the unit would refuse:"
    sort -u "$folder/refused"
    exit 1
fi
echo "$(wc -l <"$folder/made") kinds of system calls, all allowed by the unit"
