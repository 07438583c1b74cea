# SPDX-License-Identifier: GPL-3.0-or-later
# Shared by the scripts of this folder; sourced, not run.
set -eu

here=$(cd "$(dirname "$0")" && pwd)
top=$(dirname "$here")
began_s=$(date +%s)

say() {
    printf '[%3d s] %s\n' "$(($(date +%s) - began_s))" "$*"
}

die() {
    printf '%s: %s\n' "$(basename "$0")" "$*" >&2
    exit 1
}

# packages SET: names in deploy/packages; SET is "run" or "check" (everything).
packages() {
    if [ "$1" = check ]; then
        sed 's/#.*//' "$here/packages"
    else
        sed '/^#check/,$d; s/#.*//' "$here/packages"
    fi | grep -v '^$'
}

# Installs what is missing; asks nothing when all is there.
install_packages() {
    missing=
    for name in $(packages "$1"); do
        dpkg-query -W -f '${Status}\n' "$name" 2>/dev/null | grep -q 'ok installed' ||
            missing="$missing $name"
    done
    [ -n "$missing" ] || return 0
    [ "$(id -u)" = 0 ] || die "these Debian packages are missing; install them as root:$missing"
    say "installing Debian packages:$missing"
    export DEBIAN_FRONTEND=noninteractive
    log=$(mktemp)
    if ! { apt-get -q update && apt-get -q -y --no-install-recommends install $missing; } \
        >"$log" 2>&1; then
        tail -n 20 "$log" >&2
        die "apt-get failed; its whole output is in $log"
    fi
    rm -f "$log"
}

# build_tree DIR [meson options]: sets up once, builds, shows only trouble.  $targets: not all of it.
build_tree() {
    dir=$1
    shift
    log="$dir.log"
    mkdir -p "$(dirname "$dir")"
    if [ ! -f "$dir/build.ninja" ]; then
        meson setup "$dir" "$top" "$@" >"$log" 2>&1 || { cat "$log" >&2; die "meson setup failed"; }
    fi
    meson compile -C "$dir" ${targets:-} >"$log" 2>&1 || { tail -n 60 "$log" >&2; die "the build failed"; }
}
