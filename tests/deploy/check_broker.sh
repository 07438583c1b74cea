#!/bin/bash
# SPDX-License-Identifier: GPL-3.0-or-later
# usage: check_broker.sh FOLDER_OF_EXAMPLES
# The broker example runs as it is given (only paths and port changed): no one without a name, no one
# without TLS, no station beyond its own topics.
set -eu
example=$1
folder=$(mktemp -d)
port=$((20000 + $$ % 20000))
broker=
finish() {
    [ -z "$broker" ] || kill "$broker" 2>/dev/null || true
    rm -rf "$folder"
}
trap finish EXIT
PATH=$PATH:/usr/sbin
"$example/make-certificates" "$folder/certs" localhost 127.0.0.1
cp "$example/mosquitto.acl" "$folder/witherd.acl"
touch "$folder/witherd.passwd"
chmod 600 "$folder/witherd.passwd" "$folder/witherd.acl"
for name in witherd loft shelf; do
    mosquitto_passwd -b "$folder/witherd.passwd" "$name" "secret-$name" 2>/dev/null
done
mkdir "$folder/store"
sed -e "s#/etc/mosquitto#$folder#; s#/var/lib/mosquitto/#$folder/store/#" \
    -e "s#^listener 8883#listener $port 127.0.0.1#" "$example/mosquitto.conf" >"$folder/mosquitto.conf"
[ "$(id -u)" != 0 ] || echo "user root" >>"$folder/mosquitto.conf"
mosquitto -c "$folder/mosquitto.conf" >"$folder/log" 2>&1 &
broker=$!

as() { # NAME PROGRAM ARGUMENTS...
    name=$1
    program=$2
    shift 2
    timeout 10 "$program" -h localhost -p "$port" --cafile "$folder/certs/ca.pem" \
        -u "$name" -P "secret-$name" -q 1 -V 5 "$@"
}
refused() {
    if "$@" >/dev/null 2>&1; then
        echo "accepted: $*"
        exit 1
    fi
}
for _ in $(seq 100); do
    ! as witherd mosquitto_pub -t wither/hello -m 1 >/dev/null 2>&1 || break
    kill -0 "$broker" 2>/dev/null || { cat "$folder/log"; exit 1; }
    sleep 0.05
done

# The daemon hears the station in its own place, and nothing that it or another put elsewhere.
as witherd mosquitto_sub -t 'shed/#' -W 8 -F '%t %p' >"$folder/heard" 2>&1 &
listener=$!
sleep 0.5
as loft mosquitto_pub -t shed/shelf -m wrong >/dev/null 2>&1 || true
as shelf mosquitto_pub -t shed/loft/a -m wrong >/dev/null 2>&1 || true
as loft mosquitto_pub -t shed/loft/a -m right
as loft mosquitto_pub -t shed/loft -m right
for _ in $(seq 60); do
    [ "$(grep -c right "$folder/heard" || true)" = 2 ] && break
    sleep 0.1
done
kill "$listener" 2>/dev/null || true
[ "$(grep -c right "$folder/heard")" = 2 ] || { echo "a station was not heard"; exit 1; }
! grep wrong "$folder/heard" || { echo "a station wrote in another's place"; exit 1; }

refused as nobody mosquitto_pub -t shed/loft -m 1
refused timeout 5 mosquitto_pub -h localhost -p "$port" --cafile "$folder/certs/ca.pem" -t a -m 1
refused timeout 5 mosquitto_pub -h localhost -p "$port" -u loft -P secret-loft -t shed/loft -m 1
# The certificate is for localhost alone.
refused timeout 5 mosquitto_pub -h "$(hostname)" -p "$port" --cafile "$folder/certs/ca.pem" \
    -u loft -P secret-loft -t shed/loft -m 1
refused "$example/make-certificates" "$folder/certs" localhost
echo "the broker example keeps its word"
