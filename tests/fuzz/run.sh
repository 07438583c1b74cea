#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Runs one fuzz target, or all of them one after another.
#
#   tests/fuzz/run.sh PROGRAM PART -runs=20000          a bounded run that repeats exactly
#   tests/fuzz/run.sh PROGRAM PART -max_total_time=60   for a time in seconds
#   tests/fuzz/run.sh PROGRAM all -max_total_time=3600  an hour for each
#
# PROGRAM is tests/fuzz/fuzz in the build folder.  A finding is written to the working folder as
# PART-crash-*, and the status is not 0.  New inputs are kept only when WITHER_FUZZ_KEEP names a folder.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
program=$1
part=$2
shift 2
if [ "$part" = all ]; then
	for part in config payload journal rpc outlook times; do
		"$0" "$program" "$part" "$@"
	done
	exit 0
fi
case $part in
config) longest=4000 ;;
times) longest=48 ;;
*) longest=2000 ;;
esac
if [ "${WITHER_FUZZ_KEEP:-}" ]; then
	found=$WITHER_FUZZ_KEEP/$part
	mkdir -p "$found"
else
	found=$(mktemp -d)
	trap 'rm -rf "$found"' EXIT
fi
"$program" --part="$part" -seed=1 -max_len=$longest -timeout=10 -rss_limit_mb=1024 \
	-artifact_prefix="$part-" -print_final_stats=1 -dict="$here/words.dict" \
	"$@" "$found" "$here/corpus-$part" 2>"$found/.log" || {
	status=$?
	cat "$found/.log" >&2
	exit $status
}
grep -E 'stat::number_of_executed_units|stat::average_exec' "$found/.log" | sed "s/^stat::/$part: /"
