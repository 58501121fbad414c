package table

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/exact"
)

// stamps writes a table of one channel that is high in every tenth row.
func stamps(head string, n int, stamp func(i int) string) string {
	var b strings.Builder
	b.WriteString(head)
	for i := range n {
		fmt.Fprintf(&b, "%s,%d\n", stamp(i), bit(i%10 == 3))
	}
	return b.String()
}

// TestOrigin: what the stamps say about step, unit and evenness.
func TestOrigin(t *testing.T) {
	const us = decode.Microsecond
	for name, c := range map[string]struct {
		text string
		want func(t *testing.T, o decode.Origin)
	}{
		"even": {stamps("t_us,a\n", 2000, func(i int) string { return fmt.Sprint(10 * i) }), func(t *testing.T, o decode.Origin) {
			assert.Equal(t, decode.Origin{Start: 0, End: 19990 * us, Step: float64(10 * us), Unit: us, EndStated: true, Rows: 2000}, o)
		}},
		"rounded stamps are even": {stamps("t_us,a\n", 3000, func(i int) string { return fmt.Sprintf("%.3f", float64(i)/24) }), func(t *testing.T, o decode.Origin) {
			assert.InDelta(t, 1e6/24.0, o.Step, .5)
			assert.Equal(t, decode.Nanosecond, o.Unit)
			assert.Zero(t, o.Uneven)
		}},
		"steps finer than the stamps": {stamps("t_us,a\n", 3000, func(i int) string { return fmt.Sprint(i / 4) }), func(t *testing.T, o decode.Origin) {
			assert.InDelta(t, 1e6, o.Step, 0) // no edge is told finer than its stamp
			assert.Equal(t, decode.TimesCoarse, o.Notes[0].Kind)
			assert.Contains(t, o.Notes[0].Text, "About 4 samples share each stamp")
			assert.Zero(t, o.Uneven)
		}},
		"repeated and late stamps": {stamps("t_us,a\n", 3000, func(i int) string {
			switch {
			case i == 1500:
				return "14990"
			case i >= 2000:
				return fmt.Sprint(10*i + 70)
			}
			return fmt.Sprint(10 * i)
		}), func(t *testing.T, o decode.Origin) {
			assert.Equal(t, decode.Uneven{Count: 3, Start: 14990 * us, End: 20070 * us, Largest: 80 * us}, o.Uneven)
			assert.Equal(t, float64(10*us), o.Step)
		}},
		"digits lost as stamps grow": {stamps("time_s,a\n", 30000, func(i int) string { return fmt.Sprintf("%.6g", 0.95+float64(i)*2.5e-6) }), func(t *testing.T, o decode.Origin) {
			assert.Equal(t, us, o.Unit)
			assert.Equal(t, 10*us, o.UnitAtEnd)
			assert.Zero(t, o.Uneven)
			assert.False(t, o.ChangesOnly)
		}},
		"scientific": {stamps("time_s,a\n", 3000, func(i int) string { return fmt.Sprintf("%.5e", float64(i)*1e-5) }), func(t *testing.T, o decode.Origin) {
			assert.InDelta(t, float64(10*us), o.Step, 1)
			assert.Equal(t, decode.Picosecond*100, o.Unit)
			assert.Equal(t, decode.Nanosecond*100, o.UnitAtEnd)
			assert.Zero(t, o.Uneven)
		}},
		"changes": {"t_us,a\n0,0\n1000,1\n2500,0\n21000,1\n22500,0\n", func(t *testing.T, o decode.Origin) {
			assert.Equal(t, decode.Origin{Start: 0, End: 22500 * us, Unit: us, ChangesOnly: true, Rows: 5}, o)
		}},
		"changes at even intervals": {"t_ms,a\n0,0\n10,1\n20,0\n30,1\n40,0\n50,1\n60,0\n", func(t *testing.T, o decode.Origin) {
			assert.True(t, o.ChangesOnly)
			assert.Zero(t, o.Step)
		}},
		"changes with a stated end": {"t_us,a\n0,0\n1000,1\n2500,0\n21000,1\n22500,0\n40000,0\n", func(t *testing.T, o decode.Origin) {
			assert.True(t, o.ChangesOnly)
			assert.True(t, o.EndStated)
			assert.Equal(t, 40000*us, o.End)
		}},
		"an unsteady poll": {stamps("t_us,a\n", 3000, func(i int) string { return fmt.Sprint(10*i + (i*i)%7) }), func(t *testing.T, o decode.Origin) {
			assert.False(t, o.ChangesOnly)
			assert.Greater(t, o.Uneven.Count, int64(1000))
			assert.InDelta(t, float64(10*us), o.Step, 1e5)
		}},
		"an epoch": {"epoch,a\n1777887000.5,0\n1777887000.501,1\n1777887000.5025,0\n", func(t *testing.T, o decode.Origin) {
			assert.Equal(t, "1777887000.5", o.Text)
			assert.Equal(t, 2500*us, o.End)
			assert.Zero(t, o.Start)
		}},
		"a float's digits": {"t_s,a\n0,0\n0.1,1\n0.30000000000000004,0\n0.7000000000000001,1\n", func(t *testing.T, o decode.Origin) {
			assert.Equal(t, 100*decode.Millisecond, o.Unit)
			assert.Equal(t, 700*decode.Millisecond, o.End)
		}},
		"sample numbers": {stamps("sample,a\n", 100, func(i int) string { return fmt.Sprint(i + 5) }), func(t *testing.T, o decode.Origin) {
			assert.Equal(t, decode.Origin{Start: 1666666667, End: 34666666667, Step: 1e12 / 3000.0, EndStated: true, Rows: 100}, o)
		}},
		"a rate that contradicts": {stamps("# sample rate: 1 MHz\ntime [ms],a\n", 100, func(i int) string { return fmt.Sprint(i) }), func(t *testing.T, o decode.Origin) {
			assert.Equal(t, []decode.Remark{{Kind: decode.TimesDiffer, Text: "Line 1 states a sample rate of 1 MHz, and the stamps are 1000.000000 us apart; option time-unit states the unit of the stamps."}}, o.Notes)
		}},
		"no unit": {"time,a\n0,0\n1,1\n2.5,0\n", func(t *testing.T, o decode.Origin) {
			assert.Equal(t, []decode.Remark{{Kind: decode.TimesRead, Text: "No time unit is stated: stamps are read as seconds; option time-unit states another unit."}}, o.Notes)
			assert.Equal(t, 2500*decode.Millisecond, o.End)
		}},
		"a spreadsheet": {stamps("t_us,a\n", 1<<20, func(i int) string { return fmt.Sprint(i) }), func(t *testing.T, o decode.Origin) {
			assert.Equal(t, []decode.Remark{{Kind: decode.PerhapsShort, Text: "The table has exactly 1 048 576 rows, the most a spreadsheet holds: it was probably cut there."}}, o.Notes)
		}},
		"a spreadsheet with a header": {stamps("t_us,a\n", 1<<20-1, func(i int) string { return fmt.Sprint(i) }), func(t *testing.T, o decode.Origin) {
			assert.Len(t, o.Notes, 1)
		}},
	} {
		t.Run(name, func(t *testing.T) {
			_, o, err := read(t, c.text, capture.Options{Rate: map[bool]exact.Rate{true: {Num: 3000, Den: 1}}[strings.HasPrefix(c.text, "sample")]})
			require.NoError(t, err)
			c.want(t, o)
		})
	}
}

// TestTimeOverridden: flags say what a header does not, or says wrongly.
func TestTimeOverridden(t *testing.T) {
	_, o, err := read(t, "time [ms],a\n0,0\n1000,1\n2500,0\n", capture.Options{TimeUnit: "us"})
	require.NoError(t, err)
	assert.Equal(t, 2500*decode.Microsecond, o.End)
	_, _, err = read(t, "time [ms],a\n0,0\n1000,1\n", capture.Options{TimeUnit: "fortnight"})
	require.IsType(t, &capture.UsageError{}, err)
	_, o, err = read(t, "0,0\n1,1\n2,0\n3,0\n", capture.Options{Rate: exact.Rate{Num: 1000, Den: 1}})
	require.NoError(t, err)
	assert.Equal(t, 3*decode.Millisecond, o.End, "whole numbers that count are samples where a rate is stated")
	_, o, err = read(t, "t_us,a\n0,0\n1000,1\n2500,0\n", capture.Options{Rate: exact.Rate{Num: 1e6, Den: 1}})
	require.NoError(t, err)
	assert.Equal(t, float64(decode.Microsecond), o.Step, "a stated rate is the step of changes")
	assert.True(t, o.ChangesOnly)
}

// TestDialectOverridden: delimiter and decimal mark can be stated.
func TestDialectOverridden(t *testing.T) {
	const text = "0,5;1;0\n1,5;0;1\n2,5;1;0\n"
	r, err := newReader(strings.NewReader(text), "tug.csv", capture.Options{})
	require.NoError(t, err)
	assert.Equal(t, "semicolon, decimal comma, no header, time in column 1 in s, digital in column 2-3", r.Header().Dialect)
	r, err = newReader(strings.NewReader("0;1,0\n1;0,1\n2;1,0\n"), "tug.csv", capture.Options{Dialect: capture.Dialect{Delimiter: ';'}})
	require.NoError(t, err)
	assert.Equal(t, "semicolon, decimal comma, no header, time in column 1 in s, digital in column 2", r.Header().Dialect)
	_, err = newReader(strings.NewReader(text), "tug.csv", capture.Options{Dialect: capture.Dialect{Delimiter: ','}})
	assert.Error(t, err)
	_, err = newReader(strings.NewReader(text), "tug.csv", capture.Options{Dialect: capture.Dialect{Decimal: '.'}})
	assert.Error(t, err)
}

// TestChannelsOfTables: names, their doubles, columns by number.
func TestChannelsOfTables(t *testing.T) {
	const text = "time_us,winch (V),winch (V),remark,rudder\n0,0,1,fine,0\n10,1,1,fine,1\n25,0,0,fine,0\n"
	got, o, err := read(t, text, capture.Options{})
	require.NoError(t, err)
	assert.Equal(t, "winch: low 0.000000 high 10.000000 low 25.000000\nwinch_col3: high 0.000000 low 25.000000\nrudder: low 0.000000 high 10.000000 low 25.000000\n", got)
	assert.Equal(t, []decode.Remark{{Kind: decode.NameChanged, Text: "Two columns are named winch: the one in column 3 is called winch_col3."}}, o.Notes)
	got, _, err = read(t, text, capture.Options{Select: []string{"#5"}})
	require.NoError(t, err)
	assert.Equal(t, "rudder: low 0.000000 high 10.000000 low 25.000000\n", got)
	_, _, err = read(t, text, capture.Options{Select: []string{"#1"}})
	require.EqualError(t, err, `channel "#1": column 1 holds time; the capture has winch, winch_col3, rudder`)

	r, err := newReader(strings.NewReader("time_us,bus\n0,0001\n10,0011\n20,1111\n"), "tug.csv", capture.Options{Select: []string{"bus[1]"}})
	require.NoError(t, err)
	assert.Equal(t, []decode.Channel{{Name: "bus[1]", Named: true}}, r.Channels())
}

// TestLongTables: rows that speak of one channel each.
func TestLongTables(t *testing.T) {
	got, o, err := read(t, "time_us,channel,level\n0,throttle,0\n0,rudder,1\n10,throttle,1\n25,throttle,0\n30,winch,1\n40,winch,0\n", capture.Options{})
	require.NoError(t, err)
	assert.Equal(t, "throttle: low 0.000000 high 10.000000 low 25.000000\nrudder: high 0.000000\nwinch: low 0.000000 high 30.000000 low 40.000000\n", got)
	assert.Equal(t, []decode.Remark{{Kind: decode.LevelsRead, Text: "A channel that first appears after the beginning is taken to have had the other level before."}}, o.Notes)
	got, _, err = read(t, "t_us;ch;state\n0;1;low\n0;2;low\n10;2;high\n25;2;low\n", capture.Options{Select: []string{"2"}})
	require.NoError(t, err)
	assert.Equal(t, "2: low 0.000000 high 10.000000 low 25.000000\n", got)

	late := "time_us,channel,level\n" + strings.Repeat("0,throttle,0\n", 20000) + "10,winch,1\n"
	_, _, err = read(t, late, capture.Options{})
	require.EqualError(t, err, `tug.csv:20002:4: channel "winch" appears here for the first time; a row for each channel near the beginning`)
}

// TestUnknownLevels: letters for unknown levels, after VHDL's std_logic.
func TestUnknownLevels(t *testing.T) {
	got, _, err := read(t, "time_us,a,b\n0,U,0\n10,0,X\n20,1,Z\n30,W,1\n40,L,0\n50,H,-\n60,0,1\n", capture.Options{})
	require.NoError(t, err)
	assert.Equal(t, "a: low 10.000000 high 20.000000 unknown 30.000000 low 40.000000 high 50.000000 low 60.000000\n"+
		"b: low 0.000000 unknown 10.000000 high 30.000000 low 40.000000 unknown 50.000000 high 60.000000\n", got)
}

// TestColumnsThatAreNoChannels: text, placeholders and numbers no level can be.
func TestColumnsThatAreNoChannels(t *testing.T) {
	text := "# the \"open\" sea, 5\" waves\nDate,2026-05-04\nTime,09:30:00\ntime_us,serial,remark,a,stamp\n0,987654321987,-,0,09:30:00\n10,987654321988,-,1,09:30:00\n# 5\" more\n25,987654321989,-,0,09:30:01\n"
	got, _, err := read(t, text, capture.Options{})
	require.NoError(t, err)
	assert.Equal(t, "a: low 0.000000 high 10.000000 low 25.000000\n", got)
}
