package table

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/formats/internal/capture"
)

// Natural ways to head the column of times. Common practice, no source.
func TestNaturalTimeHeaders(t *testing.T) {
	for cell, want := range map[string]string{
		"time": "", "Time [ms]": "ms", "time_us": "us", "t (s)": "s", "Time(ns)": "ns", "t/ms": "ms", "time in us": "us",
		"Time (in us)": "us", "Time (microseconds since start)": "microseconds", "us since start": "us", "TimeUs": "us",
		"TimestampNs": "ns", "us_time": "us", "stamp_us": "us", "clock_ms": "ms", "at_us": "us", "Time<us>": "us",
		"seconds": "seconds", "\u00b5s": "us",
	} {
		is, unit := timeHeader(cell)
		assert.True(t, is, cell)
		assert.Equal(t, want, unit, cell)
	}
	for _, cell := range []string{"throttle", "rudder [V]", "timer", "clock", "at", "stamp", "us_mail", "Tms2", "bus[3]", "status", "sum"} {
		is, _ := timeHeader(cell)
		assert.False(t, is, cell)
	}
}

// What lines before the data say about the samples.
func TestNaturalFacts(t *testing.T) {
	for line, want := range map[string]string{
		"# sample rate: 10 MHz": "10 MHz", "Sample Rate [kHz],10": "10 kHz", "Sample Rate (Hz),10000": "10 kHz",
		"sampling frequency 10,000 Hz": "10 kHz", "# fs = 24e6": "24 MHz", "sample rate 2,5 MHz": "2.5 MHz",
		"Sampling step (us),100": "10 kHz", "sample period: 0.5 us": "2 MHz", "dt=1e-6": "1 MHz",
	} {
		var f facts
		f.learn(line, 1)
		assert.Equal(t, want, f.rate.Hertz(), line)
	}
	for line, want := range map[string]string{
		"unit: us": "us", "# units: ms": "ms", "time base: us": "us", "time is given in us": "us", "timescale 1 us": "us",
		"Time unit,ns": "ns", "unit: V": "", "units of the winch": "",
	} {
		var f facts
		f.learn(line, 1)
		assert.Equal(t, want, f.unit, line)
	}
}

// A stated base is the base, whatever the digits would pass for.
func TestStatedBase(t *testing.T) {
	for head, want := range map[string][]string{
		"bus [hex]": {"bus[0]", "bus[1]", "bus[2]", "bus[3]", "bus[4]", "bus[5]", "bus[6]", "bus[7]"},
		"bus [bin]": {"bus[0]", "bus[1]"},
	} {
		r, err := newReader(strings.NewReader("time [us],"+head+"\n0,00\n1500,10\n3000,00\n4500,10\n"), "bus.csv", capture.Options{})
		require.NoError(t, err)
		var got []string
		for _, c := range r.Channels() {
			got = append(got, c.Name)
		}
		assert.ElementsMatch(t, want, got, head)
	}
}
