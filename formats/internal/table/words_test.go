package table

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/exact"
)

// TestSampleTimes: sample n at rate f is n/f, rounded once, half to even.
func TestSampleTimes(t *testing.T) {
	for _, c := range []struct {
		rate exact.Rate
		n    int64
		want decode.Time
	}{
		{exact.Rate{Num: 24e6, Den: 1}, 1, 41667}, {exact.Rate{Num: 24e6, Den: 1}, 24e6 * 86400, 86400 * decode.Second},
		{exact.Rate{Num: 24e6, Den: 1}, 36e9 + 1, 1500*decode.Second + 41667},
		{exact.Rate{Num: 3, Den: 1}, 1, 333333333333}, {exact.Rate{Num: 3, Den: 1}, 2, 666666666667}, {exact.Rate{Num: 2e12, Den: 1}, 1, 0}, {exact.Rate{Num: 2e12, Den: 1}, 3, 2},
		{exact.Rate{Num: 1e7, Den: 3}, 5, 1500000}, {exact.Rate{Num: 3, Den: 1}, -1, -333333333333},
	} {
		var k clock
		require.True(t, k.withRate(c.rate))
		got, _, err := k.sample(c.n)
		require.NoError(t, err)
		assert.Equal(t, c.want, got, "%v %d", c.rate, c.n)
	}
	var k clock
	require.True(t, k.withRate(exact.Rate{Num: 1, Den: 1}))
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
		"sampling rate = 10000000 Hz":  "10 MHz",
		"sampling frequency 24e6":      "24 MHz",
		"time per sample,1e-6":         "1 MHz",
		"sampling interval: 0.5 us":    "2 MHz",
		"dt=1us":                       "1 MHz",
		"; 2,5 kHz sample rate":        "",
		"sample rate;2,5 kHz":          "2.5 kHz",
		"rate 33.333 Hz":               "33.333 Hz",
		"time unit: us":                "us",
		"# times in microseconds":      "microseconds",
		"Time Unit,ns":                 "ns",
		"stamps: time [ms]":            "ms",
		"a moderate day at sea":        "",
		"frame rate of the radio: n/a": "",
		"sample rate: unknown":         "",
	} {
		var f facts
		f.learn(line, 1)
		got := f.unit
		if f.rate != (exact.Rate{}) {
			got += f.rate.Hertz()
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
