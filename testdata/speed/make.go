// Command make writes the captures that speed is measured with: eight invented
// channels of a tug's receiver, as tables and as dumps.
//
//	go run ./testdata/speed KIND SECONDS > FILE
//
// Kinds: sampled (1 MHz), nine (24 MHz, nine decimals), crlf, volts, dump (one
// busy line), vectors (a bus and a 24 MHz clock), changes.
package main

import (
	"bufio"
	"fmt"
	"os"
	"strconv"
)

const channels = 8

func main() {
	kinds := map[string]func(*bufio.Writer, int64){
		"sampled": func(w *bufio.Writer, s int64) { sampled(w, s, 1e6, 6, "\n", [2]string{",0", ",1"}) },
		"nine":    func(w *bufio.Writer, s int64) { sampled(w, s, 24e6, 9, "\n", [2]string{",0", ",1"}) },
		"crlf":    func(w *bufio.Writer, s int64) { sampled(w, s, 1e6, 6, "\r\n", [2]string{",0", ",1"}) },
		"volts":   func(w *bufio.Writer, s int64) { sampled(w, s, 1e6, 6, "\n", [2]string{",0.00", ",3.30"}) },
		"changes": changes,
		"dump":    dump,
		"vectors": vectors,
	}
	var write func(*bufio.Writer, int64)
	seconds := 0.0
	if len(os.Args) == 3 {
		write = kinds[os.Args[1]]
		seconds, _ = strconv.ParseFloat(os.Args[2], 64)
	}
	if write == nil || seconds <= 0 {
		fmt.Fprintln(os.Stderr, "go run ./testdata/speed KIND SECONDS > FILE; see its source for the kinds")
		os.Exit(2)
	}
	w := bufio.NewWriterSize(os.Stdout, 1<<20)
	write(w, int64(seconds*1e9))
	w.Flush()
}

// level tells whether channel c is high at t, and when that changes, in
// nanoseconds: 18 ms frames, channel after channel, sticks that move slowly
// and a little jitter.
func level(c int, t int64) (high bool, until int64) {
	const frame = 18_000_000
	n := t / frame
	up := n*frame + int64(c)*2_000_000 + 1000
	down := up + width(c, n)
	switch {
	case t < up:
		return false, up
	case t < down:
		return true, down
	}
	return false, (n+1)*frame + int64(c)*2_000_000 + 1000
}

func width(c int, n int64) int64 {
	stick := (n*int64(c+1)/5)%800 - 400
	if stick < 0 {
		stick = -stick
	}
	noise := int64(uint64(n*2654435761+int64(c)*40503) >> 7 % 3)
	return 1_300_000 + stick*1000 + noise*1000
}

func header(w *bufio.Writer, first, end string) {
	w.WriteString(first)
	for c := range channels {
		fmt.Fprintf(w, ",ch%d", c)
	}
	w.WriteString(end)
}

// sampled writes a row for each sample, the stamp cut to its decimals.
func sampled(w *bufio.Writer, length, rate int64, decimals int, end string, word [2]string) {
	header(w, "time_s", end)
	unit := int64(1e9)
	for range decimals {
		unit /= 10
	}
	var row []byte
	var high [channels]bool
	next := int64(0)
	for n := int64(0); ; n++ {
		t := n/rate*1e9 + n%rate*1e9/rate
		if t >= length {
			return
		}
		if t >= next {
			next = 1 << 62
			for c := range channels {
				h, until := level(c, t)
				high[c], next = h, min(next, until)
			}
		}
		row = stamp(row[:0], t, unit, decimals)
		for _, h := range high {
			if h {
				row = append(row, word[1]...)
			} else {
				row = append(row, word[0]...)
			}
		}
		w.Write(append(row, end...))
	}
}

func stamp(row []byte, t, unit int64, decimals int) []byte {
	row = strconv.AppendInt(row, t/1e9, 10)
	row = append(row, '.')
	at := len(row)
	for range decimals {
		row = append(row, '0')
	}
	for i, v := len(row)-1, t%1e9/unit; i >= at; i-- {
		row[i] = byte('0' + v%10)
		v /= 10
	}
	return row
}

// edges calls change for every change of any channel, in order of time.
func edges(length int64, change func(t int64, c int, high bool)) {
	var until [channels]int64
	for t := int64(0); t < length; {
		next := int64(1 << 62)
		for c := range channels {
			if until[c] <= t {
				h, u := level(c, t)
				change(t, c, h)
				until[c] = u
			}
			next = min(next, until[c])
		}
		t = next
	}
}

// changes writes a row for each change.
func changes(w *bufio.Writer, length int64) {
	header(w, "time_s", "\n")
	row := []byte{}
	levels := [2 * channels]byte{}
	for i := range levels {
		levels[i] = ",0"[i%2]
	}
	last := int64(0)
	edges(length, func(t int64, c int, high bool) {
		if t > last {
			row = stamp(row[:0], last, 1000, 6)
			w.Write(append(append(row, levels[:]...), '\n'))
			last = t
		}
		levels[2*c+1] = '0'
		if high {
			levels[2*c+1] = '1'
		}
	})
	w.Write(append(append(stamp(row[:0], last, 1000, 6), levels[:]...), '\n'))
}

func declare(w *bufio.Writer, more string) {
	w.WriteString("$timescale 1 ns $end\n$scope module tug $end\n")
	for c := range channels {
		fmt.Fprintf(w, "$var wire 1 %c ch%d $end\n", '!'+c, c)
	}
	w.WriteString(more + "$upscope $end\n$enddefinitions $end\n")
}

// dump writes a dump in which the last line toggles at 2 MHz.
func dump(w *bufio.Writer, length int64) {
	declare(w, "$var wire 1 * busy $end\n")
	tick, busy := int64(0), int64(0)
	row := []byte{}
	toggle := func(t int64) {
		for ; tick < t; tick += 250 {
			row = append(strconv.AppendInt(append(row[:0], '#'), tick, 10), '\n', byte('0'+busy), '*', '\n')
			w.Write(row)
			busy ^= 1
		}
	}
	edges(length, func(t int64, c int, high bool) {
		toggle(t)
		v := byte('0')
		if high {
			v = '1'
		}
		row = append(strconv.AppendInt(append(row[:0], '#'), t, 10), '\n', v, byte('!'+c), '\n')
		w.Write(row)
	})
	toggle(length)
}

// vectors writes a dump with a bus of 16 bits every 2 us beside a clock of
// 24 MHz, two changes for each of its periods.
func vectors(w *bufio.Writer, length int64) {
	declare(w, "$var wire 16 + bus [15:0] $end\n$var wire 1 * clock $end\n")
	n := int64(0)
	row := []byte{}
	clock := func(t int64) {
		for ; ; n++ {
			at := n * 1000 / 48
			if at >= t {
				return
			}
			row = append(strconv.AppendInt(append(row[:0], '#'), at, 10), '\n', byte('0'+n&1), '*', '\n')
			if n%96 == 0 {
				row = append(strconv.AppendInt(append(row, 'b'), n/96&0xffff, 2), " +\n"...)
			}
			w.Write(row)
		}
	}
	edges(length, func(t int64, c int, high bool) {
		clock(t)
		v := byte('0')
		if high {
			v = '1'
		}
		w.Write(append(strconv.AppendInt(append(row[:0], '#'), t, 10), '\n', v, byte('!'+c), '\n'))
	})
	clock(length)
}
