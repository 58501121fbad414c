package vcd

import (
	"fmt"
	"io"
	"math/big"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
)

// Every timescale of IEEE Std 1364-2005 18.2.3.5, spaced and not, against
// rational arithmetic.
func TestVCDTimescales(t *testing.T) {
	picoseconds := map[string]*big.Rat{}
	for exponent, unit := range []string{"ps", "ns", "us", "ms", "s"} {
		picoseconds[unit] = new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(1000), big.NewInt(int64(exponent)), nil))
	}
	picoseconds["fs"] = big.NewRat(1, 1000)
	for unit, size := range picoseconds {
		for _, number := range []int64{1, 10, 100} {
			for _, form := range []string{"%d%s", "%d %s", "%d\n\t%s"} {
				text := "$timescale " + fmt.Sprintf(form, number, unit) + " $end $var wire 1 ! a $end $enddefinitions $end #0 0! "
				var want []string
				level := "low"
				want = append(want, "0 low")
				for _, tick := range []int64{2001, 2003, 2005, 2015, 2025, 2499, 2500, 2501, 3499, 3500, 4500, 7001, 9000} {
					text += fmt.Sprintf("#%d %s! ", tick, map[string]string{"low": "1", "high": "0"}[level])
					level = map[string]string{"low": "high", "high": "low"}[level]
					at := new(big.Rat).Mul(big.NewRat(tick*number, 1), size)
					want = append(want, nearestEven(at)+" "+level)
				}
				s, got := readVCD(t, text, capture.Options{})
				assert.Equal(t, want, got["a"], text)
				assert.Equal(t, unit == "fs", len(s.Origin().Notes) == 1)
				assert.EqualValues(t, max(1, decode.Time(number*size.Num().Int64()/size.Denom().Int64())), s.Origin().Unit)
			}
		}
	}
}

func nearestEven(r *big.Rat) string {
	floor := new(big.Int).Div(r.Num(), r.Denom())
	rest := new(big.Rat).Sub(r, new(big.Rat).SetInt(floor))
	if c := rest.Cmp(big.NewRat(1, 2)); c > 0 || c == 0 && floor.Bit(0) == 1 {
		floor.Add(floor, big.NewInt(1))
	}
	return floor.String()
}

// The unit can be stated where the dump has none, and is not used elsewhere.
func TestVCDTimeUnit(t *testing.T) {
	const body = "$var wire 1 ! a $end $enddefinitions $end #0 0! #5 1!\n"
	for unit, want := range map[string]string{"s": "5000000000000 high", "ms": "5000000000 high", "us": "5000000 high", "ns": "5000 high"} {
		s, got := readVCD(t, body, capture.Options{TimeUnit: unit})
		assert.Equal(t, []string{"0 low", want}, got["a"])
		assert.Equal(t, []decode.Remark{{Kind: decode.TimesRead, Text: "the dump has no $timescale: its times were taken in " + unit + ", as stated"}}, s.Origin().Notes)
	}
	s, got := readVCD(t, "$timescale 1 ns $end "+body, capture.Options{TimeUnit: "us"})
	assert.Equal(t, []string{"0 low", "5000 high"}, got["a"])
	assert.Equal(t, []decode.Remark{{Kind: decode.TimesRead, Text: "the dump has its own timescale, 1 ns, so the stated time unit was not used"}}, s.Origin().Notes)
}

// Stamps beyond 10^6 s count from the first, whose text is kept.
func TestVCDOrigin(t *testing.T) {
	dump := func(scale, changes string) string {
		return "$timescale " + scale + " $end $var wire 1 ! a $end $enddefinitions $end " + changes + "\n"
	}
	for _, c := range []struct {
		name, text       string
		origin           decode.Origin
		edges            []string
		relative, failed string
	}{
		{name: "up to the limit", text: dump("1 s", "#1000000 0! #1000001 1!"), edges: []string{"1000000000000000000 low", "1000001000000000000 high"}},
		{name: "beyond it", text: dump("1 s", "#1000001 0! #1000003 1!"), edges: []string{"0 low", "2000000000000 high"}, relative: "1000001"},
		{name: "a date", text: dump("1 ns", "#1764066862123456789 0! #1764066862123456790 1!"), edges: []string{"0 low", "1000 high"}, relative: "1764066862123456789"},
		{name: "the last of all", text: dump("1 fs", "#9223372036854775806 0! #9223372036854775807 1!"), edges: []string{"9223372036854776 high"}},
		{name: "grows beyond it", text: dump("100 s", "#0 0! #92233 1!"), edges: []string{"0 low", "9223300000000000000 high"}},
		{name: "grows out of range", text: dump("100 s", "#0 0! #92234 1!"), failed: "the time stamp #92234 is more than 106 days from the capture's zero"},
		{name: "back before the first", text: dump("100 s", "#20000 0! #19999 1!"), failed: "time goes back to #19999 after #20000"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.failed != "" {
				assert.ErrorContains(t, readVCDError(c.text, capture.Options{}), c.failed)
				return
			}
			s, got := readVCD(t, c.text, capture.Options{})
			assert.Equal(t, c.edges, got["a"])
			assert.Equal(t, c.relative, s.Origin().Text)
			notes := strings.Join(decode.Texts(s.Origin().Notes), "\n")
			assert.Equal(t, c.relative != "", strings.Contains(notes, "#"+c.relative+" of"), notes)
		})
	}
}

// Where the record begins and ends, and whether the dump states its end.
func TestVCDSpan(t *testing.T) {
	for _, c := range []struct {
		changes    string
		start, end decode.Time
		stated     bool
		rows       int64
	}{
		{"#0 0! #5 1!", 0, 5, false, 2},
		{"#0 0! #5 1! #9", 0, 9, true, 3},
		{"#7000 0! #7005 1! #7009", 7000, 7009, true, 3},
		{"$dumpvars 0! $end #7 1!", 7, 7, false, 1},
		{"#0 0! #5 1! $vcdclose #9 $end", 0, 9, true, 3},
		{"#0 0! #5 1! $vcdclose #5 $end", 0, 5, true, 3},
		{"#0 #9", 0, 9, true, 2},
		{"#0 0! #9 $comment end $end", 0, 9, true, 2},
		{"#3 #3 #3 0!", 3, 3, false, 3},
	} {
		s, _ := readVCD(t, "$timescale 1 ps $end $var wire 1 ! a $end $enddefinitions $end "+c.changes+" ", capture.Options{})
		assert.Equal(t, decode.Origin{Start: c.start, End: c.end, EndStated: c.stated, Rows: c.rows, Unit: 1, ChangesOnly: true},
			s.Origin(), c.changes)
	}
}

// Levels at one instant, and what is known of them.
func TestVCDLevels(t *testing.T) {
	for _, c := range []struct {
		name, changes string
		want          []string
	}{
		{"the last at the start holds", "#0 0! 1! #0 0! #5 1!", []string{"0 low", "5 high"}},
		{"unknown and then known at the start", "#0 $dumpvars x! $end 1! #5 0!", []string{"0 high", "5 low"}},
		{"known before the start", "$dumpvars 0! $end #5 1! #9 0!", []string{"5 low", "5 high", "9 low"}},
		{"unknown before the start", "$dumpvars x! $end #5 1! #9 0!", []string{"5 high", "9 low"}},
		{"no duration", "#0 0! #5 1! 0! #9", []string{"0 low", "5 high", "5 low"}},
		{"unknown of no duration between levels", "#0 0! #5 x! 1! #9", []string{"0 low", "5 high"}},
		{"unknown of no duration in a level", "#0 0! #5 x! 0! #9 1!", []string{"0 low", "9 high"}},
		{"known of no duration", "#0 0! #5 x! #6 1! x! #7 1!", []string{"0 low", "5 unknown", "6 high", "6 unknown", "7 high"}},
		{"switched off", "#0 0! #5 $dumpoff x! $end #8 $dumpon 1! $end #9 0!", []string{"0 low", "5 unknown", "8 high", "9 low"}},
		{"switched off without values", "#0 0! #5 $dumpoff $end #8 $dumpon 1! $end", []string{"0 low", "5 unknown", "8 high"}},
		{"values of a dump switched off", "#0 0! #5 $dumpoff 1! $end #8 $dumpon 0! $end", []string{"0 low", "5 unknown", "8 low"}},
		{"switched on at once", "#0 0! #5 $dumpoff x! $end $dumpon 0! $end #8 1!", []string{"0 low", "8 high"}},
		{"never switched on", "#0 0! #5 $dumpoff x! $end #8 1! #9 0!", []string{"0 low", "5 unknown", "8 high", "9 low"}},
		{"switched off and never closed", "#0 0! #5 $dumpoff x! #8 1!", []string{"0 low", "5 unknown", "8 high"}},
		{"checkpoint with news", "#0 0! #5 $dumpall 1! $end #8", []string{"0 low", "5 high"}},
		{"ports off", "#0 0! #5 $dumpportsoff pX 6 6 ! $end #8 $dumpportson pU 6 0 ! $end", []string{"0 low", "5 unknown", "8 high"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, got := readVCD(t, "$timescale 1 ps $end $var wire 1 ! a $end $enddefinitions $end "+c.changes+" ", capture.Options{})
			assert.Equal(t, c.want, got["a"])
		})
	}
}

// What is not wanted is left out.
func TestVCDWant(t *testing.T) {
	s, err := Open(vcdInput(tugScopes), capture.Options{Also: []string{"volts", "gear[1]"}})
	require.NoError(t, err)
	for i, c := range s.Channels() {
		if c.Name != "throttle" && c.Name != "gear[1]" {
			s.Want(i, decode.Nothing)
		}
	}
	got, err := readTracks(s)
	require.NoError(t, err)
	assert.Equal(t, tracks{"throttle": {"0 low", "5000000 high"}, "gear[1]": {"0 high", "5000000 low"}}, got)
}

// Blocks come at a steady pace, also where nothing that is wanted changes.
func TestVCDBlocks(t *testing.T) {
	var b strings.Builder
	b.WriteString("$timescale 1 ns $end $var wire 1 ! a $end $var wire 1 % busy $end $enddefinitions $end\n#0 0! 0%\n")
	for tick := 1; tick < 1_000_000; tick++ {
		fmt.Fprintf(&b, "#%d %d%%\n", tick*100, tick%2)
	}
	s, err := Open(vcdInput(b.String()), capture.Options{Select: []string{"a"}})
	require.NoError(t, err)
	blocks, before := 0, decode.Time(-1)
	for {
		block, err := s.Next()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		assert.Greater(t, block.Until, before)
		before = block.Until
		blocks++
	}
	assert.InDelta(t, b.Len()/blockBytes+1, blocks, 1)
	assert.EqualValues(t, 99_999_900_000, before)
}
