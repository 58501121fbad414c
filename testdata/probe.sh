#!/bin/bash
# How fast a large sampled table is checked, beside counting its lines.
#
#   testdata/probe.sh [MEGABYTES] [RUNS]      usual: 1000 megabytes, 5 runs
#
# Makes the table from a scenario in ${TMPDIR:-/tmp} and removes it after. Each
# run times `wc -l` and `check --quiet` one after the other; the medians and
# their ratio are printed, with the peak memory of the largest run.
set -euo pipefail
export LC_ALL=C
cd "$(dirname "$0")/.."

megabytes=${1:-1000}
runs=${2:-5}
row=16 # bytes: a time of seven decimals and three levels
rate=10000000

[[ $megabytes =~ ^[1-9][0-9]*$ && $runs =~ ^[1-9][0-9]*$ ]] || {
	echo 'probe: takes whole numbers above zero: MEGABYTES, then RUNS' >&2
	exit 2
}
command -v /usr/bin/time >/dev/null || {
	echo 'probe: needs the Debian package time' >&2
	exit 2
}
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT

CGO_ENABLED=0 go build -o "$scratch/widthwise" ./cmd/widthwise
cat >"$scratch/probe.toml" <<SCENARIO
scenario = "Throughput probe (invented)"
seed = 7
length = "$((megabytes * 1000000 * 1000000 / (row * rate)))us"
sampling = "${rate}Hz"
[frames]
period = "22ms"
jitter_us = 0.3
[[channel]]
name = "throttle"
kind = "servo"
width_us = 1500
jitter_us = 0.4
[[channel]]
name = "rudder"
kind = "servo"
after = "throttle"
width_us = 1520
jitter_us = 0.4
[[channel]]
name = "winch"
kind = "servo"
after = "rudder"
width_us = 1100
jitter_us = 0.4
SCENARIO

# timed prints the seconds and the peak kilobytes of a command, whose exit
# status may be that of a verdict.
timed() {
	local status=0 begun=${EPOCHREALTIME/./} ended
	/usr/bin/time -f %M -o "$scratch/time" "$@" >/dev/null || status=$?
	ended=${EPOCHREALTIME/./}
	if [ "$status" -ge 2 ] && [ "$status" -ne 3 ]; then
		echo "probe: $* ended with $status" >&2
		return 1
	fi
	awk -v us=$((ended - begun)) 'END { printf "%.3f %d\n", us / 1e6, $1 }' "$scratch/time"
}

median() { sort -n | awk '{ v[NR] = $1 } END { print NR % 2 ? v[(NR + 1) / 2] : (v[NR / 2] + v[NR / 2 + 1]) / 2 }'; }

made=$(timed "$scratch/widthwise" convert "$scratch/probe.toml" "$scratch/probe.csv" --samples "${rate}Hz")
bytes=$(stat -c %s "$scratch/probe.csv")
echo "table      $bytes bytes, made in ${made% *} s"

: >"$scratch/wc"
: >"$scratch/check"
for ((run = 0; run < runs; run++)); do
	timed wc -l "$scratch/probe.csv" >>"$scratch/wc"
	timed "$scratch/widthwise" check --quiet "$scratch/probe.csv" >>"$scratch/check"
done
wc=$(median <"$scratch/wc")
check=$(median <"$scratch/check")
peak=$(awk '{ if ($2 > m) m = $2 } END { printf "%.1f", m / 1024 }' "$scratch/check")
echo "wc -l      $wc s"
echo "check      $check s, at most $peak MiB"
awk -v c="$check" -v w="$wc" -v b="$bytes" 'BEGIN {
	printf "ratio      %.2f, %.0f MB/s\n", c / w, b / c / 1e6 }'
