package vcd

import (
	"bytes"
	"fmt"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/ahead"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/sourcetest"
)

// reading is all that a reader says of a dump.
type reading struct {
	changes [][]sourcetest.Change
	origin  decode.Origin
	err     string
}

func openWith(t *testing.T, text []byte, plain bool, how ahead.How, o capture.Options) (capture.Source, error) {
	in, err := capture.NewInput(bytes.NewReader(text), "text")
	require.NoError(t, err)
	in.Plain, in.Ahead = plain, how
	return Open(in, o)
}

// readWith reads a dump plainly, or ahead, and counts the spans of that.
func readWith(t *testing.T, text []byte, plain bool, how ahead.How, o capture.Options) (got reading, ahead bool) {
	s, err := openWith(t, text, plain, how, o)
	if err != nil {
		return reading{err: err.Error()}, false
	}
	defer s.Close()
	if got.changes, err = sourcetest.Drain(s); err != nil {
		return reading{err: err.Error()}, false
	}
	got.origin = s.Origin()
	dump, ok := s.(*source)
	return got, ok && len(dump.fast.Runs) > 0
}

var codings = [][5]string{
	{"!", "\"", "#", "$", "%"}, {"sA", "sB", "s#", "#s", "s$"}, {"!", "aa", "b", "0", "1"}, {"ch_one", "ch_two", "x", "$end1", "b1"},
}

// dumpText is a dump of four bits and a vector, the stamps some time apart.
func dumpText(r *rand.Rand) []byte {
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
	for range 500 + r.Intn(2000) {
		at += r.Int63n(3000) / (1 + r.Int63n(2000))
		fmt.Fprintf(&b, "#%d\n", at)
		for range r.Intn(3) {
			if r.Intn(4) == 0 {
				fmt.Fprintf(&b, "b%b %s\n", r.Intn(512), codes[4])
			} else {
				fmt.Fprintf(&b, "%d%s\n", r.Intn(2), codes[r.Intn(4)])
			}
		}
	}
	if r.Intn(4) == 0 {
		return bytes.ReplaceAll(b.Bytes(), []byte("\n"), []byte("\r\n"))
	}
	return b.Bytes()
}

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

// requireAlike holds reading ahead against reading plainly.
func requireAlike(t *testing.T, text []byte, how ahead.How, o capture.Options) (ahead bool) {
	t.Helper()
	want, _ := readWith(t, text, true, how, o)
	got, ahead := readWith(t, text, false, how, o)
	require.Equal(t, want, got)
	return ahead
}

// TestFastIsPlain: what is read ahead is what the plain reader makes of it,
// change for change and error for error, whatever the size of pieces and the
// number of workers.
func TestFastIsPlain(t *testing.T) {
	used := 0
	for seed := range int64(100) {
		r := rand.New(rand.NewSource(seed))
		text := dumpText(r)
		if r.Intn(5) > 0 {
			text = damaged(r, text)
		}
		how := ahead.How{Size: 300 + r.Intn(20000), Workers: 1 + r.Intn(3)}
		o := capture.Options{SkipBadRows: r.Intn(2) == 0}
		ok := t.Run(fmt.Sprint(seed), func(t *testing.T) {
			if requireAlike(t, text, how, o) {
				used++
			}
		})
		if !ok {
			return
		}
	}
	require.Greater(t, used, 30, "dumps that were read ahead")
}

// FuzzFastDump holds reading ahead against reading plainly: a dump, at any
// place of which any bytes stand instead.
func FuzzFastDump(f *testing.F) {
	f.Add(int64(1), uint16(4000), []byte("x"), uint16(5000), uint8(2), false)
	f.Add(int64(4), uint16(5000), []byte("\n#"), uint16(700), uint8(1), true)
	f.Add(int64(-12), uint16(4000), []byte("1"), uint16(5000), uint8(2), true) // an instant at the end of a block
	f.Fuzz(func(t *testing.T, seed int64, place uint16, bytes []byte, size uint16, workers uint8, skip bool) {
		text := dumpText(rand.New(rand.NewSource(seed)))
		copy(text[min(int(place), len(text)):], bytes)
		how := ahead.How{Size: 64 + int(size), Workers: 1 + int(workers%4)}
		requireAlike(t, text, how, capture.Options{SkipBadRows: skip})
	})
}
