#!/bin/bash
# Runs every bench in a scratch directory and compares what it makes with what is
# committed; any difference fails. With --write what is committed is replaced.
#
# A bench is a directory with bench.v (iverilog), bench.vhd (ghdl) or bench.cir
# (ngspice). It makes capture* and prints its truth.
set -euo pipefail
shopt -s nullglob

benches=$(cd "$(dirname "$0")" && pwd)
write=false
case "${1-}" in
'') ;;
--write) write=true ;;
*)
	echo "usage: regenerate.sh [--write]" >&2
	exit 2
	;;
esac
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT

# The date and version of a dump are not part of what was simulated.
plain_header() {
	awk '/^\$(date|version)$/ { print; print "\tharbour tug, invented"; inside = 1; next }
		/^\$end$/ { inside = 0 }
		!inside' "$1" >"$1.plain"
	mv "$1.plain" "$1"
}

run_verilog() {
	iverilog -g2012 -I "$benches" -o simulation "$1/bench.v"
	vvp -n simulation | grep -v '^VCD info: ' >truth.csv
	rm simulation
}

run_vhdl() {
	ghdl -a --std=08 "$benches/wire.vhd"
	ghdl -a --std=08 "$1/bench.vhd"
	ghdl -e --std=08 bench
	ghdl -r --std=08 bench --vcd=capture.vcd --stop-time=3sec >truth.csv
	rm -f bench ./*.cf ./*.o
}

# ngspice prints each measured pulse as two lines, "rose = ..." and "width = ...",
# and puts blanks for the commas of what it echoes.
run_spice() {
	ngspice -b "$1/bench.cir" >log 2>&1 || { cat log >&2; return 1; }
	awk '$1 ~ /^(unit|channel|analog)$/ { gsub(" ", ","); print }
		/^channel/ { split($0, part, ","); name = part[2] }
		/^rose = / && NF == 3 { rose = $3 }
		/^width = / && NF == 3 { print "pulse," name "," rose "," $3 }' log >truth.csv
	rm log
}

# Floating-point libraries differ in their last bits, so what an analog simulator
# computes may be a millionth off (and 1e-9, near zero).
same_numbers() {
	awk '{ gsub(",", " ") }
		NR == FNR { want[FNR] = $0; rows = FNR; next }
		split(want[FNR], w, " ") != NF { exit bad = 1 }
		{
			for (i = 1; i <= NF; i++) {
				off = $i - w[i]
				size = w[i] < 0 ? -w[i] : w[i]
				number = $i ~ /^[-+]?[0-9]/
				if (number ? off * off > (1e-6 * size + 1e-9) ^ 2 : $i != w[i]) exit bad = 1
			}
		}
		END { exit bad || FNR != rows }' "$1" "$2"
}

same() {
	cmp -s <(unpacked "$1") <(unpacked "$2") && return
	[ -e "$(dirname "$1")/bench.cir" ] && same_numbers <(unpacked "$1") <(unpacked "$2")
}

unpacked() {
	case $1 in
	*.gz) gzip -dc "$1" ;;
	*) cat "$1" ;;
	esac
}

differences=0
count=0
for bench in "$benches"/*/; do
	bench=${bench%/}
	name=$(basename "$bench")
	made=$scratch/$name
	mkdir "$made"
	cd "$made"
	if [ -e "$bench/bench.v" ]; then
		run_verilog "$bench"
	elif [ -e "$bench/bench.vhd" ]; then
		run_vhdl "$bench"
	elif [ -e "$bench/bench.cir" ]; then
		run_spice "$bench"
	else
		echo "$name: no bench.v, bench.vhd or bench.cir" >&2
		exit 1
	fi
	for dump in *.vcd; do plain_header "$dump"; done
	for capture in capture*; do
		[ "$(wc -c <"$capture")" -lt 200000 ] || gzip -9n "$capture"
	done
	if ! compgen -G 'capture*' >/dev/null || ! grep -q '^pulse,' truth.csv; then
		echo "$name: made no capture or no truth" >&2
		exit 1
	fi
	if $write; then
		rm -f "$bench"/capture* "$bench/truth.csv"
		cp capture* truth.csv "$bench/"
	fi
	for file in capture* truth.csv; do
		if [ ! -e "$bench/$file" ]; then
			echo "$name/$file is not committed" >&2
			differences=$((differences + 1))
		elif ! same "$bench/$file" "$file"; then
			echo "$name/$file differs from what the bench makes:" >&2
			diff <(unpacked "$bench/$file") <(unpacked "$file") | head -5 >&2 || true
			differences=$((differences + 1))
		fi
	done
	for file in "$bench"/capture* "$bench/truth.csv"; do
		if [ ! -e "$(basename "$file")" ]; then
			echo "$name/$(basename "$file") is not made by its bench" >&2
			differences=$((differences + 1))
		fi
	done
	count=$((count + 1))
done
echo "$count benches, $differences differences"
[ "$count" -gt 0 ] && [ "$differences" -eq 0 ]
