package vcd

import (
	"bytes"
	"fmt"
	"math/rand"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/formats/internal/ahead"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/sourcetest"
)

// bothWays read a dump.
var bothWays = sourcetest.Ways{Open: Open, Ahead: func(s capture.Source) bool {
	dump, ok := s.(*source)
	return ok && len(dump.fast.Runs) > 0
}}

var codings = [][5]string{
	{"!", "\"", "#", "$", "%"}, {"sA", "sB", "s#", "#s", "s$"}, {"!", "aa", "b", "0", "1"}, {"ch_one", "ch_two", "x", "$end1", "b1"},
}

func writeStamp(b *bytes.Buffer, at int64) {
	b.WriteByte('#')
	b.Write(strconv.AppendInt(b.AvailableBuffer(), at, 10))
	b.WriteByte('\n')
}

func writeBit(b *bytes.Buffer, value int, code string) {
	b.WriteByte(byte('0' + value))
	b.WriteString(code)
	b.WriteByte('\n')
}

// dumpText is a dump of four bits and a vector, the stamps some time apart.
func dumpText(r *rand.Rand, rows int) []byte {
	var b bytes.Buffer
	codes := codings[r.Intn(len(codings))]
	fmt.Fprintf(&b, "$timescale 1 %s $end\n", []string{"ns", "ps", "us"}[r.Intn(3)])
	for i, c := range codes[:4] {
		fmt.Fprintf(&b, "$var wire 1 %s D%d $end\n", c, i)
	}
	at := int64(1)
	for range r.Intn(14) {
		at *= 10
	}
	fmt.Fprintf(&b, "$var wire 9 %s bus $end\n$enddefinitions $end\n#%d\n$dumpvars\n", codes[4], at)
	for _, c := range codes[:4] {
		fmt.Fprintf(&b, "%c%s\n", "01x"[r.Intn(3)], c)
	}
	fmt.Fprintf(&b, "b0 %s\n$end\n", codes[4])
	for range rows {
		at += r.Int63n(3000) / (1 + r.Int63n(2000))
		writeStamp(&b, at)
		for range r.Intn(3) {
			if r.Intn(4) == 0 {
				fmt.Fprintf(&b, "b%b %s\n", r.Intn(512), codes[4])
			} else {
				writeBit(&b, r.Intn(2), codes[r.Intn(4)])
			}
		}
	}
	if r.Intn(4) == 0 {
		return bytes.ReplaceAll(b.Bytes(), []byte("\n"), []byte("\r\n"))
	}
	return b.Bytes()
}

// steadyText is a dump of a line that toggles at a steady rate, to whole ticks,
// beside one that changes now and then.
func steadyText(r *rand.Rand, rows int) []byte {
	var b bytes.Buffer
	codes := codings[r.Intn(len(codings))]
	fmt.Fprintf(&b, "$timescale 1 %s $end\n$var wire 1 %s clock $end\n$var wire 1 %s horn $end\n$var wire 9 %s bus $end\n$enddefinitions $end\n#0\n0%s\n0%s\n",
		[]string{"ns", "us"}[r.Intn(2)], codes[0], codes[1], codes[4], codes[0], codes[1])
	step := []float64{250, 1000, 1e4 / 12, 1e5 / 7, 1e4 / 31.4}[r.Intn(5)]
	at := float64(1)
	for range r.Intn(14) {
		at *= 10
	}
	from := max(0, at-float64(r.Intn(200))*step)
	for n := range rows {
		writeStamp(&b, int64(from+float64(n+1)*step))
		if r.Intn(200) > 0 {
			writeBit(&b, n%2, codes[0])
		}
		switch r.Intn(300) {
		case 0:
			writeBit(&b, r.Intn(2), codes[1])
		case 1:
			fmt.Fprintf(&b, "b%b %s\n", r.Intn(512), codes[4])
		}
	}
	return b.Bytes()
}

// busyText is a dump of lines that change now in turn, now together, now one alone
// for long.
func busyText(r *rand.Rand, rows int) []byte {
	var b bytes.Buffer
	codes := codings[r.Intn(len(codings))]
	fmt.Fprintf(&b, "$timescale 1 %s $end\n", []string{"ns", "us"}[r.Intn(2)])
	for i, c := range codes {
		fmt.Fprintf(&b, "$var wire 1 %s D%d $end\n", c, i)
	}
	b.WriteString("$enddefinitions $end\n")
	at := int64(1)
	for range r.Intn(14) {
		at *= 10
	}
	levels, turn, alone := [len(codings[0])]int{}, 0, 0
	for n := range 250 + r.Intn(250) {
		at += r.Int63n(300)
		writeStamp(&b, at)
		if n%100 == 0 {
			turn, alone = r.Intn(len(codes)), r.Intn(3)
		}
		for i, c := range codes {
			if n == 0 || i == turn || alone == 1 && r.Intn(3) == 0 {
				levels[i] ^= 1
				writeBit(&b, levels[i], c)
			}
		}
		if alone != 2 {
			turn = (turn + 1) % len(codes)
		}
	}
	if r.Intn(3) == 0 {
		return bytes.ReplaceAll(b.Bytes(), []byte("\n"), []byte("\r\n"))
	}
	return b.Bytes()
}

// texts make the dumps that are read both ways.
var texts = []func(*rand.Rand, int) []byte{dumpText, steadyText, busyText}

// insertions are what may stand before a line of a dump.
var insertions = []string{
	"$dumpoff\nx!\n$end\n", "$dumpoff\nx!\n$end\n#999\n$dumpon\n1!\n$end\n", "$comment \n#5 0!\n $end\n", "x!\n1!\n", "\n", "  ", "#7\n", "#\n",
	"b1 !\n", "b111111111111 %\n", "bx1 %\n", "1\n", "H!\n", "1?\n", "pD 6 0 !\n", "$dumpall\n", "#99999999999999999999\n", "1! 0!\n", "#", "1", "\x01", "r1.5 !\n",
}

// damaged returns text with some lines damaged or moved, and sometimes its end
// cut off.
func damaged(r *rand.Rand, text []byte) []byte {
	lines := bytes.SplitAfter(text, []byte("\n"))
	for range []int{1, 4, 30}[r.Intn(3)] {
		i := 15 + r.Intn(len(lines)-16)
		switch r.Intn(5) {
		case 0:
			lines[i] = append([]byte(insertions[r.Intn(len(insertions))]), lines[i]...)
		case 1:
			lines[i], lines[i-1] = lines[i-1], lines[i]
		case 2:
			lines[i] = nil
		case 3:
			lines[i] = append(bytes.Clone(lines[i]), lines[i]...)
		case 4:
			if line := bytes.Clone(lines[i]); len(line) > 0 {
				line[r.Intn(len(line))] = "0123456789#\n\r x$b!"[r.Intn(18)]
				lines[i] = line
			}
		}
	}
	text = bytes.Join(lines, nil)
	if r.Intn(3) == 0 {
		text = text[:len(text)-r.Intn(20)]
	}
	return text
}

// TestFastIsPlain: what is read ahead is what the plain reader makes of it,
// change for change and error for error, whatever the size of pieces and the
// number of workers.
func TestFastIsPlain(t *testing.T) {
	bothWays.RequireAllAlike(t, 100, 30, func(r *rand.Rand, seed int64) []byte {
		return texts[int(seed)%len(texts)](r, 400+r.Intn(400))
	}, damaged)
}

// A dump of no channel at all, but of many changes, is read to its end.
func TestNoChannels(t *testing.T) {
	var text bytes.Buffer
	text.WriteString("$timescale 1 ns $end\n$var wire 9 ! bus $end\n$enddefinitions $end\n")
	for n := range 2000 {
		fmt.Fprintf(&text, "#%d\n%d!\n", 1000*n, n%2)
	}
	bothWays.RequireAlike(t, text.Bytes(), sourcetest.Way{}, capture.Options{})
}

// TestBusyLines: lines that change in turn or together, and line ends of two
// characters, leave nothing to others.
func TestBusyLines(t *testing.T) {
	for seed := range int64(40) {
		text := busyText(rand.New(rand.NewSource(seed)), 600)
		from := bytes.Index(text, []byte("\n#")) + 1
		s, err := bothWays.OpenWith(bytes.NewReader(text), true, sourcetest.Way{}, capture.Options{})
		require.NoError(t, err)
		f, out := s.(*source).newFinder(), &found{}
		piece := append(bytes.Clone(text[from:]), make([]byte, ahead.Slack)...)
		f.find(piece[:len(piece)-ahead.Slack], out)
		require.Len(t, out.spans, 1)
		require.Equal(t, len(text)-from, out.spans[0].to)
	}
}

// TestCycles: a line at a steady rate is followed without reading its stamps,
// across longer stamps and changes of others between.
func TestCycles(t *testing.T) {
	for _, c := range []struct {
		codes [2]string
		step  float64
		rows  int
	}{
		{[2]string{"*", "!"}, 250, 40}, {[2]string{"*", "!"}, 1e6 / 24e3 / 2, 480}, {[2]string{"clk", "!"}, 12500, 8}, {[2]string{"ab", "cd"}, 1e5 / 7, 70},
	} {
		var text bytes.Buffer
		fmt.Fprintf(&text, "$timescale 1 ns $end\n$var wire 1 %s clock $end\n$var wire 1 %s horn $end\n$enddefinitions $end\n", c.codes[0], c.codes[1])
		from := text.Len()
		for n := range 20_000 {
			at := int64(99_999_000_000 + float64(n)*c.step)
			fmt.Fprintf(&text, "#%d\n%d%s\n", at, n%2, c.codes[0])
			if n%700 == 0 {
				fmt.Fprintf(&text, "%d%s\n", n/700%2, c.codes[1])
			}
		}
		s, err := bothWays.OpenWith(bytes.NewReader(append(text.Bytes(), "#0\n"...)), true, sourcetest.Way{}, capture.Options{})
		require.NoError(t, err)
		f, out := s.(*source).newFinder(), &found{}
		piece := append(text.Bytes()[from:], make([]byte, ahead.Slack)...)
		f.find(piece[:len(piece)-ahead.Slack], out)
		require.Len(t, out.spans, 1)
		require.Len(t, f.cycle.rows, c.rows)
		require.Less(t, f.tries.pairs, int64(3000), "read and not compared, of 20 000")
	}
}

// FuzzFastDump holds reading ahead against reading plainly: a short dump of some
// kind, at any place of which any bytes stand instead, looked at ahead soon.
func FuzzFastDump(f *testing.F) {
	for kind := range uint8(len(texts)) {
		for i, bytes := range []string{"x", "\n#", "1", "#", "2", "b", "\r"} {
			f.Add(int64(i), kind, uint16(900+100*i), []byte(bytes), uint16(300*i), uint8(i), i%2 == 0)
		}
	}
	for i, d := range badDumps(f) {
		f.Add(int64(i), uint8(i), uint16(1000), []byte(d[1][:min(len(d[1]), 300)]), uint16(100*i), uint8(i), i%2 == 0)
	}
	f.Fuzz(func(t *testing.T, seed int64, kind uint8, place uint16, bytes []byte, size uint16, workers uint8, skip bool) {
		r := rand.New(rand.NewSource(seed))
		text := texts[int(kind)%len(texts)](r, 120+r.Intn(120))
		copy(text[min(int(place), len(text)):], bytes)
		how := sourcetest.Way{How: ahead.How{Size: 64 + int(size), Workers: 1 + int(workers%4)}, Settle: 500}
		bothWays.RequireAlike(t, text, how, capture.Options{SkipBadRows: skip})
	})
}
