#!/bin/bash
# SPDX-License-Identifier: GPL-3.0-or-later
# usage: check_install.sh MESON BUILD_FOLDER SOURCE_ROOT
# What `meson install` puts in place: programs, units, accounts, pages, completion, examples, and each
# example configuration is accepted by the installed daemon.
set -eu
meson=$1
build=$2
root=$3
stage=$(mktemp -d)
trap 'rm -rf "$stage"' EXIT
# The words of MESON may be several.
DESTDIR=$stage $meson install -C "$build" --no-rebuild --quiet >"$stage.log" 2>&1 ||
    { cat "$stage.log"; rm -f "$stage.log"; exit 1; }
rm -f "$stage.log"
need() { # END_OF_PATH MODE
    found=$(find "$stage" -path "*/$1")
    [ -n "$found" ] || { echo "not installed: $1"; exit 1; }
    [ "$(stat -c %a "$found")" = "$2" ] || { echo "$1 has mode $(stat -c %a "$found")"; exit 1; }
}
need bin/wither 755
need sbin/witherd 755
need lib/systemd/system/witherd.service 644
need lib/systemd/system/witherd-backup.service 644
need lib/systemd/system/witherd-backup.timer 644
need lib/sysusers.d/witherd.conf 644
need lib/tmpfiles.d/witherd.conf 644
need libexec/wither-backup 755
need share/man/man1/wither.1 644
need share/man/man8/witherd.8 644
need share/man/man5/witherd.conf.5 644
need share/man/man5/wither-journal.5 644
need share/bash-completion/completions/wither 644
need doc/wither/examples/broker/mosquitto.conf 644
need doc/wither/examples/broker/mosquitto.acl 644
need doc/wither/examples/broker/make-certificates 755
need doc/wither/examples/open-network.conf 644
# Every file of config/ is there.
examples=$(dirname "$(find "$stage" -path '*/doc/wither/examples/witherd.conf')")
(cd "$root/config" && find . -type f) | while read -r file; do
    [ -f "$examples/$file" ] || { echo "not installed: config/$file"; exit 1; }
done
"$(find "$stage" -path '*/sbin/witherd')" --config "$examples/witherd.conf" --check
# The units call what is installed.
prefix=$(sed -n 's#^ExecStart=\(.*\)/sbin/witherd .*#\1#p' "$(find "$stage" -name witherd.service)")
[ -x "$stage$prefix/sbin/witherd" ] || { echo "the unit starts '$prefix/sbin/witherd'"; exit 1; }
script=$(sed -n 's#^ExecStart=\([^ ]*\) .*#\1#p' "$(find "$stage" -name witherd-backup.service)")
[ -x "$stage$script" ] || { echo "the backup unit starts '$script'"; exit 1; }
echo "$(find "$stage" -type f | wc -l) files, all in place"
