#!/bin/bash
# How fast captures are checked, beside counting their lines.
#
#   testdata/speed.sh [PERCENT] [RUNS]      usual: 100 percent, 5 runs
#
# Makes the captures in ${TMPDIR:-/tmp}, a gigabyte each at 100 percent, one
# after another, and removes them after. Each run times `wc -l` (for gzip files
# `gzip -dc | wc -l`) and `check --quiet` in turn; a row of the table has the
# medians, their ratio, the processor time of both and the peak memory. "4 times"
# is how much longer a capture takes than a quarter of it, beside the quarter's
# memory; for many captures it is one core against all, from the same runs.
set -euo pipefail
export LC_ALL=C
cd "$(dirname "$0")/.."

percent=${1:-100}
runs=${2:-5}
[[ $percent =~ ^[1-9][0-9]*$ && $runs =~ ^[1-9][0-9]*$ ]] || {
	echo 'speed: takes whole numbers above zero: PERCENT, then RUNS' >&2
	exit 2
}
command -v /usr/bin/time >/dev/null || {
	echo 'speed: needs the Debian package time' >&2
	exit 2
}
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
CGO_ENABLED=0 go build -trimpath -o "$scratch/widthwise" ./cmd/widthwise
go build -trimpath -o "$scratch/make" ./testdata/speed

# timed prints wall seconds, processor seconds and peak kilobytes of a command,
# whose exit status may be that of a verdict.
timed() {
	local status=0 begun=${EPOCHREALTIME/./} ended
	/usr/bin/time -f '%U %S %M' -o "$scratch/time" "$@" >/dev/null || status=$?
	ended=${EPOCHREALTIME/./}
	if [ "$status" -ge 2 ] && [ "$status" -ne 3 ]; then
		echo "speed: $* ended with $status" >&2
		return 1
	fi
	tail -1 "$scratch/time" | awk -v us=$((ended - begun)) '{ printf "%.3f %.2f %d\n", us / 1e6, $1 + $2, $3 }'
}

# column prints the median of a column of a file.
column() { awk -v c="$1" '{ print $c }' "$2" | sort -n | awk '{ v[NR] = $1 } END { print v[int((NR + 1) / 2)] }'; }

# row times both commands on files and prints a row of the table, with another
# run of check beside: on a quarter of the capture, or on one core.
row() {
	local name=$1 count=$2 beside=$3
	shift 3
	: >"$scratch/count"
	: >"$scratch/check"
	: >"$scratch/beside"
	for ((run = 0; run < runs; run++)); do
		timed sh -c "$count" >>"$scratch/count"
		timed "$scratch/widthwise" check --quiet "$@" >>"$scratch/check"
		if [ "$beside" = one ]; then
			GOMAXPROCS=1 timed "$scratch/widthwise" check --quiet "$@" >>"$scratch/beside"
		else
			timed "$scratch/widthwise" check --quiet "$beside" >>"$scratch/beside"
		fi
	done
	awk -v name="$name" -v one="$([ "$beside" = one ] && echo 1 || echo 0)" \
		-v wc="$(column 1 "$scratch/count")" -v wcpu="$(column 2 "$scratch/count")" \
		-v s="$(column 1 "$scratch/check")" -v cpu="$(column 2 "$scratch/check")" -v kb="$(column 3 "$scratch/check")" \
		-v b="$(column 1 "$scratch/beside")" -v bkb="$(column 3 "$scratch/beside")" 'BEGIN {
		printf "| %-26s | %7.3f | %7.3f | %6.2f | %5.2f | %5.2f | %4.0f | %7.2f | %4.0f |\n", name, wc, s, s / wc, wcpu, cpu, kb / 1024, one ? b / s : s / b, bkb / 1024 }'
}

echo "| capture                    | count s | check s |  ratio | CPU s | CPU s |  MiB | 4 times |  MiB |"
echo "| -------------------------- | ------- | ------- | ------ | ----- | ----- | ---- | ------- | ---- |"
# kind, seconds at 100 percent, name
while read -r kind seconds name; do
	file=$scratch/$kind
	"$scratch/make" "$kind" "$(awk -v s="$seconds" -v p="$percent" 'BEGIN { print s * p / 100 }')" >"$file"
	"$scratch/make" "$kind" "$(awk -v s="$seconds" -v p="$percent" 'BEGIN { print s * p / 400 }')" >"$file.4"
	row "$name" "wc -l '$file'" "$file.4" "$file"
	if [ "$kind" = sampled ] || [ "$kind" = dump ] || [ "$kind" = changes ]; then
		gzip -1 "$file" "$file.4"
		row "$name, gzip" "gzip -dc '$file.gz' | wc -l" "$file.4.gz" "$file.gz"
	fi
	rm -f "$file" "$file.4" "$file.gz" "$file.4.gz"
done <<KINDS
sampled 40 table, 1 MHz
nine 1.6 table, 24 MHz, 9 decimals
crlf 39 table, CR LF
volts 20 table, volts
dump 15 dump, a busy line
vectors 1.2 dump, vectors and 24 MHz
changes 40500 table, changes only
KINDS
mkdir "$scratch/many"
for ((n = 0; n < 200; n++)); do
	"$scratch/make" sampled 0.0012 >"$scratch/many/$n.csv"
done
row "200 captures of 30 kB" "cat '$scratch'/many/* | wc -l" one "$scratch"/many/*
