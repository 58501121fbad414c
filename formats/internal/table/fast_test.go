package table

import (
	"bytes"
	"fmt"
	"io"
	"math/rand"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/ahead"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/exact"
	"widthwise/formats/internal/sourcetest"
)

// bothWays read a table.
var bothWays = sourcetest.Ways{Open: Open, Ahead: func(s capture.Source) bool {
	table, ok := s.(*table)
	return ok && table.queue != nil
}}

// damages are what may befall a line of a table.
var damages = []func(r *rand.Rand, line []byte) []byte{
	func(_ *rand.Rand, line []byte) []byte { return append([]byte("# remark\n"), line...) },
	func(_ *rand.Rand, line []byte) []byte { return append([]byte("\n"), line...) },
	func(*rand.Rand, []byte) []byte { return nil },
	func(r *rand.Rand, line []byte) []byte {
		line[r.Intn(len(line))] = "0123456789.,x\"-e \x00z#$\n\r;"[r.Intn(24)]
		return line
	},
	func(_ *rand.Rand, line []byte) []byte { return append(line[:len(line)/2], '\n') },
	func(_ *rand.Rand, line []byte) []byte { return append(bytes.Clone(line), line...) },
	func(_ *rand.Rand, line []byte) []byte { return bytes.TrimSuffix(line, []byte("\n")) },
	func(_ *rand.Rand, line []byte) []byte { return bytes.ReplaceAll(line, []byte("\n"), []byte("\r\n")) },
	func(_ *rand.Rand, line []byte) []byte { return bytes.ReplaceAll(line, []byte("1"), []byte("x")) },
	func(_ *rand.Rand, line []byte) []byte { return append([]byte("\"a\nb\","), line...) },
	func(_ *rand.Rand, line []byte) []byte { return append([]byte("  "), line...) },
	func(_ *rand.Rand, line []byte) []byte { return append([]byte("0"), line...) },
	anotherDigit, anotherDigit, anotherDigit,
}

// anotherDigit alters a digit of the stamp, most often the last.
func anotherDigit(r *rand.Rand, line []byte) []byte {
	at := max(0, bytes.IndexAny(line, ",;")-1-r.Intn(2)*r.Intn(8))
	line[at] = byte('0' + r.Intn(10))
	return line
}

// damaged returns text with some lines damaged or in other places, and
// sometimes its end cut off.
func damaged(r *rand.Rand, text []byte) []byte {
	lines := bytes.SplitAfter(text, []byte("\n"))
	lines = lines[:len(lines)-1]
	for range []int{1, 5, 40}[r.Intn(3)] {
		i := 1 + r.Intn(len(lines)-1)
		if r.Intn(6) == 0 {
			lines[i], lines[i-1] = lines[i-1], lines[i]
		} else if len(lines[i]) > 0 {
			lines[i] = damages[r.Intn(len(damages))](r, bytes.Clone(lines[i]))
		}
	}
	text = bytes.Join(lines, nil)
	if r.Intn(3) == 0 {
		text = text[:len(text)-r.Intn(30)]
	}
	return text
}

// writeDecimal writes u parts of which whole make one.
func writeDecimal(b *bytes.Buffer, u, whole int64, mark string) {
	b.WriteString(strconv.FormatInt(u/whole, 10))
	b.WriteString(mark)
	b.WriteString(strconv.FormatInt(whole+u%whole, 10)[1:])
}

// sampledText is a sampled table: rates whose stamps end or are cut, line ends,
// words for levels, an offset, a mark.
func sampledText(r *rand.Rand, rows int) []byte {
	var b bytes.Buffer
	channels := 1 + r.Intn(9)
	delimiter, mark := ",", "."
	if r.Intn(5) == 0 {
		delimiter, mark = ";", ","
	}
	b.WriteString("time_s")
	for c := range channels {
		fmt.Fprintf(&b, "%sch%d", delimiter, c)
	}
	end := []string{"\n", "\r\n"}[r.Intn(2)]
	b.WriteString(end)
	words := [][]string{{"0", "1"}, {"0" + mark + "00", "3" + mark + "30"}, {"low", "high"}}[r.Intn(3)]
	rates := []struct{ mega, decimals int64 }{{1, 6}, {24, 9}, {4, 8}, {2, 7}, {10, 7}, {10, 9}, {12, 9}, {16, 9}, {3, 9}, {1, 7}}
	rate := rates[r.Intn(len(rates))]
	unit := int64(1e12)
	for range rate.decimals {
		unit /= 10
	}
	start := r.Int63n(3) * (r.Int63n(20)*999_000 + 8_996_000)
	round := r.Int63n(2) * unit / 2
	zero := r.Int63n(2) * (start*1_000_000/rate.mega/unit + r.Int63n(6000)) // where the recording was triggered
	pairs := r.Int63n(6) / 5                                                // rows two by two, further apart than the usual step
	busy := []int{10, 400, 3000}[r.Intn(3)]
	level := make([]int, channels)
	for n := range int64(rows) {
		u := ((start+n+n/2*5*pairs)*1_000_000/rate.mega+round)/unit - zero
		if u < 0 {
			b.WriteByte('-')
			u = -u
		}
		writeDecimal(&b, u, 1e12/unit, mark)
		for c := range channels {
			if r.Intn(busy) == 0 {
				level[c] ^= 1
			}
			b.WriteString(delimiter + words[level[c]])
		}
		b.WriteString(end)
	}
	return b.Bytes()
}

// changesText is a table of single digits with a row for each change, or
// sampled unevenly, some channels at rest for long.
func changesText(r *rand.Rand, rows int) []byte {
	var b bytes.Buffer
	channels := 1 + r.Intn(20)
	b.WriteString("time_us")
	for c := range channels {
		fmt.Fprintf(&b, ",D%d", c)
	}
	end := []string{"\n", "\r\n"}[r.Intn(2)]
	b.WriteString(end)
	level := make([]byte, channels)
	decimals, at := r.Intn(7), []int{0, 99_000_000, 198_000_000, 9_999_900_000, 1_700_000_000_000}[r.Intn(5)]
	for n := range rows {
		if decimals == 0 {
			b.WriteString(strconv.Itoa(at))
		} else {
			second := exact.PowersOfTen[decimals]
			writeDecimal(&b, int64(at)*second+int64(at%10), second, ".")
		}
		for c := range channels {
			if r.Intn(channels) == 0 && (n < 1000*c || c < 8) {
				level[c] ^= 1
			}
			b.WriteByte(',')
			b.WriteByte('0' + level[c])
		}
		b.WriteString(end)
		at += []int{1 + r.Intn(3000), r.Intn(2), 20 + r.Intn(3)}[r.Intn(1+channels%3)]
	}
	return b.Bytes()
}

// texts make the tables that are read both ways.
var texts = map[string]func(*rand.Rand, int) []byte{"sampled": sampledText, "changes": changesText}

// TestFastIsPlain: whatever is read ahead is what the plain reader makes of it,
// edge for edge and error for error, whatever the size of pieces and the number
// of workers.
func TestFastIsPlain(t *testing.T) {
	for name, make := range texts {
		t.Run(name, func(t *testing.T) {
			bothWays.RequireAllAlike(t, 50, 15, func(r *rand.Rand, _ int64) []byte { return make(r, 2500+r.Intn(6000)) }, damaged)
		})
	}
}

// TestStridesEndWithBlocks: a block ends at the same row whether rows are taken
// one by one or as strides, since analog channels settle where blocks end.
func TestStridesEndWithBlocks(t *testing.T) {
	for _, word := range []string{"low", "a level in many more letters than that"} {
		var text strings.Builder
		text.WriteString("time_s,boiler room,ch\n")
		for i := range 150_000 {
			fmt.Fprintf(&text, "%.6f,%s,%d\n", float64(i)/1e6, word, i/1000%2)
		}
		ends := func(plain bool) (all []decode.Time) {
			in, err := capture.NewInput(strings.NewReader(text.String()), "text")
			require.NoError(t, err)
			in.Plain = plain
			s, err := Open(in, capture.Options{})
			require.NoError(t, err)
			defer s.Close()
			for {
				b, err := s.Next()
				if err != nil {
					require.Equal(t, io.EOF, err)
					return all
				}
				all = append(all, b.Until)
			}
		}
		require.Equal(t, ends(true), ends(false))
		require.Greater(t, len(ends(true)), 2)
	}
}

// TestRestingChannel: a channel that has rested for long is read ahead as one
// that rests, and as before once it moves.
func TestRestingChannel(t *testing.T) {
	var text strings.Builder
	text.WriteString("time_s,throttle,winch,rudder\n")
	for i := range 430_000 {
		winch := bit(i > 410_000 && i%7 == 0 || i == 400_000)
		fmt.Fprintf(&text, "%.6f,%d,%d,0\n", float64(3*i)/1e6+float64(i%3)/1e6, i/100%2, winch)
	}
	wasAhead := bothWays.RequireAlike(t, []byte(text.String()), sourcetest.Way{How: ahead.How{Size: 64 << 10}}, capture.Options{})
	require.True(t, wasAhead)
}

// FuzzFastTable holds reading ahead against reading plainly: a short table of
// some kind, at any place of which any bytes stand instead, looked at ahead soon.
// How it is spelt is stated, since finding that out takes longest and comes to the
// same.
func FuzzFastTable(f *testing.F) {
	f.Add(int64(1), uint16(600), []byte("x"), uint16(500), uint8(2), false)
	f.Add(int64(1), uint16(0), []byte("\x1f\x8b"), uint16(500), uint8(1), false) // as if compressed
	f.Add(int64(4), uint16(900), []byte("\n\n"), uint16(700), uint8(1), true)
	for i, text := range seedTables(f, "bad") {
		f.Add(int64(i), uint16(500), text[:min(len(text), 300)], uint16(100*i), uint8(i), i%2 == 0)
	}
	f.Fuzz(func(t *testing.T, seed int64, place uint16, bytes []byte, size uint16, workers uint8, skip bool) {
		r := rand.New(rand.NewSource(seed))
		text := []func(*rand.Rand, int) []byte{sampledText, changesText}[seed&1](r, 24+r.Intn(24))
		spelt := capture.Dialect{Delimiter: ',', Decimal: '.'}
		if text[len("time_s")] == ';' {
			spelt = capture.Dialect{Delimiter: ';', Decimal: ','}
		}
		copy(text[min(int(place), len(text)):], bytes)
		how := sourcetest.Way{How: ahead.How{Size: 64 + int(size)%4096, Workers: 1 + int(workers%4)}, Settle: 4}
		bothWays.RequireAlike(t, text, how, capture.Options{SkipBadRows: skip, Dialect: spelt})
	})
}
