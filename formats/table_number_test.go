package formats

import (
	"math/big"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"widthwise/decode"
)

func TestNumberForms(t *testing.T) {
	for text, want := range map[string]string{
		"0": "0", "1": "1000000000000", "-1": "-1000000000000", "+0.5": "500000000000", "-.25": "-250000000000",
		"1.": "1000000000000", "1e-3": "1000000000", "1E3": "1000000000000000", "1.5e+2": "150000000000000",
		"0.0000000000005":                      "0", // half to even
		"0.0000000000015":                      "2",
		"0.0000000000025":                      "2",
		"0.00000000000250000000000000000001":   "3",
		"-0.0000000000015":                     "-2",
		"000000000000000000000000000001.5":     "1500000000000",
		"0.1000000000000000055511151231257827": "100000000000", // a float's digits in full
		"1_000":                                "no", "": "no", "-": "no", ".": "no", "e5": "no", "1e": "no", "1e+": "no", "0x10": "no", "1,5": "no", "1.5.2": "no", "nan": "no", "1 2": "no",
		"1e99": "too large",
	} {
		got := "no"
		if x, ok := readNumber([]byte(text), '.'); ok {
			got = "too large"
			if w, ok := x.scaled(12); ok {
				if v, ok := w.narrow(); ok {
					got = big.NewInt(v).String()
				}
			}
		}
		assert.Equal(t, want, got, "%q", text)
	}
	_, ok := readNumber([]byte("1,"), ',')
	assert.False(t, ok, "a decimal comma has digits behind it")
}

// TestNumberIsExact compares with rational arithmetic of math/big, which
// shares no code with it, rounding half to even.
func TestNumberIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`-?[0-9]{1,6}(\.[0-9]{1,16})?(e-?[0-9])?`).Draw(t, "text")
		exact, ok := new(big.Rat).SetString(text)
		require.True(t, ok)
		exact.Mul(exact, new(big.Rat).SetInt64(1e9))
		want := new(big.Int).Div(exact.Num(), exact.Denom())
		switch half := new(big.Rat).Sub(exact, new(big.Rat).SetInt(want)).Cmp(big.NewRat(1, 2)); {
		case half > 0, half == 0 && want.Bit(0) == 1:
			want.Add(want, big.NewInt(1))
		}
		got, ok := scaledNumber([]byte(text), '.', 9)
		if !want.IsInt64() {
			require.False(t, ok)
			return
		}
		require.True(t, ok)
		require.Equal(t, want.Int64(), got)
		if m, d, ok := quickNumber([]byte(text), '.'); ok && d <= 9 {
			require.Equal(t, got, m*powersOfTen[9-d])
		}
	})
}

// TestSampleTimes: sample n at rate f is n/f, rounded once, half to even.
func TestSampleTimes(t *testing.T) {
	for _, c := range []struct {
		rate Rate
		n    int64
		want decode.Time
	}{
		{Rate{24e6, 1}, 1, 41667}, {Rate{24e6, 1}, 24e6 * 86400, 86400 * decode.Second},
		{Rate{24e6, 1}, 36e9 + 1, 1500*decode.Second + 41667},
		{Rate{3, 1}, 1, 333333333333}, {Rate{3, 1}, 2, 666666666667}, {Rate{2e12, 1}, 1, 0}, {Rate{2e12, 1}, 3, 2},
		{Rate{1e7, 3}, 5, 1500000}, {Rate{3, 1}, -1, -333333333333},
	} {
		var k clock
		require.True(t, k.withRate(c.rate))
		got, _, err := k.sample(c.n)
		require.NoError(t, err)
		assert.Equal(t, c.want, got, "%v %d", c.rate, c.n)
	}
	var k clock
	require.True(t, k.withRate(Rate{1, 1}))
	_, _, err := k.sample(1e8)
	assert.ErrorContains(t, err, "106 days")
}

func TestDates(t *testing.T) {
	// 1969-12-31T23:59:59Z is one second before the epoch, 2000-02-29 day
	// 11016 (POSIX.1 seconds since the epoch).
	for text, want := range map[string]int64{
		"1970-01-01T00:00:00Z": 0, "1969-12-31T23:59:59Z": -1, "2000-02-29T00:00:01": 11016*86400 + 1,
		"1970-01-01T02:00:00+02:00": 0, "1970-01-01 00:00:00-0130": 5400, "1970/01/01 00:00:07.25": 7, "00:01:00": 60, "29.02.2000 00:00:01,5": 11016*86400 + 1,
	} {
		got, _, _, ok := readDate([]byte(text))
		assert.True(t, ok, text)
		assert.Equal(t, want, got, text)
	}
	for _, text := range []string{"1999-02-29T00:00:00Z", "2000-01-01", "2000-13-01T00:00:00", "31.02.2000 00:00:00", "01.02-2000 00:00:00", "25:00:00", "00:60:00", "00:00:00Q", "12:30", "2000-01-01T00:00:00+1"} {
		_, _, _, ok := readDate([]byte(text))
		assert.False(t, ok, text)
	}
}

func TestTimeHeaders(t *testing.T) {
	for cell, unit := range map[string]string{
		"Time [ms]": "ms", "time_us": "us", "t (s)": "s", "Time(ns)": "ns", "t": "", "TIME": "", "Timestamp [\u00b5s]": "us",
		"t/ms": "ms", "time, s": "s", "time in seconds": "seconds", "Zeit [ms]": "ms", "us": "us", "Seconds": "seconds",
		"Time {s}": "s", "elapsed time (ms)": "ms", "time-us": "us", "Time stamp": "", "time.ns": "ns",
		"throttle": "no", "CH1 (V)": "no", "rate": "no", "sample": "no", "mode": "no", "timer": "no", "remark": "no",
	} {
		isTime, got := timeHeader(cell)
		if !isTime {
			got = "no"
		}
		assert.Equal(t, unit, got, cell)
	}
}

func TestFacts(t *testing.T) {
	for line, want := range map[string]string{
		"# Sample rate: 10 MHz":        "10 MHz",
		"Samplerate = 10000000 Hz":     "10 MHz",
		"sampling frequency 24e6":      "24 MHz",
		"Sample Interval,1e-6":         "1 MHz",
		"sampling interval: 0.5 us":    "2 MHz",
		"dt=1us":                       "1 MHz",
		"; 2,5 kHz sample rate":        "",
		"sample rate;2,5 kHz":          "2.5 kHz",
		"rate 33.333 Hz":               "33.333 Hz",
		"time unit: us":                "us",
		"# times in microseconds":      "microseconds",
		"Time Unit,ns":                 "ns",
		"Horizontal units: time [ms]":  "ms",
		"a moderate day at sea":        "",
		"frame rate of the radio: n/a": "",
		"sample rate: unknown":         "",
	} {
		var f facts
		f.learn(line, 1)
		got := f.unit
		if f.rate != (Rate{}) {
			got += f.rate.hertz()
		}
		assert.Equal(t, want, got, line)
	}
}

func TestColumnNames(t *testing.T) {
	for cell, want := range map[string]string{
		"throttle": "throttle|", "throttle (V)": "throttle|v", "rudder [mV]": "rudder|mv", " winch ": "winch|",
		"CH1 (left)": "CH1 (left)|", "a[3]": "a[3]|", "winch[V]": "winch|v",
	} {
		name, unit := cutBrackets(strings.TrimSpace(cell))
		assert.Equal(t, want, name+"|"+unit, cell)
	}
}
