package exact

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"widthwise/decode"
)

func TestDurationsAndRates(t *testing.T) {
	for text, want := range map[string]decode.Time{
		"22ms": 22e9, "0.5s": 5e11, "-1.25us": -1250000, "1 min": 60e12, "3h": 3 * 3600e12, "7 ps": 7, "+1ns": 1000,
		"0.5ps": 0, "1.5ps": 2, "2.5ps": 2, "-0.5ps": 0, "-1.5ps": -2, "0.50000001ps": 1, ".5us": 500000, "12µs": 12e6,
		"0.000000000041666s": 42,
	} {
		got, err := ParseDuration(text)
		assert.NoError(t, err, text)
		assert.Equal(t, want, got, text)
	}
	for text, want := range map[string]Rate{"24MHz": {Num: 24e6, Den: 1}, "1.5 Hz": {Num: 3, Den: 2}, "8kHz": {Num: 8000, Den: 1}, "0.1GHz": {Num: 100e6, Den: 1}, "100KHz": {Num: 100_000, Den: 1}} {
		got, err := ParseRate(text)
		assert.NoError(t, err, text)
		assert.Equal(t, want, got, text)
	}
	for _, text := range []string{"", "22", "ms", "1e3ms", "--1ms", "1.2.3s", "51000h", "1_000ms", "0x10s", strings.Repeat("1", 1000) + "s"} {
		_, err := ParseDuration(text)
		assert.Error(t, err, text)
	}
	for text, want := range map[string]int64{"1.65V": 1_650_000, "-200 mV": -200_000, "0.5uV": 0, "1.5\u00b5V": 2} {
		got, err := ParseVolts(text)
		assert.NoError(t, err, text)
		assert.Equal(t, want, got, text)
	}
	for _, text := range []string{"", "24", "0Hz", "-1Hz", "1000GHz", "24mhz"} {
		_, err := ParseRate(text)
		assert.Error(t, err, text)
	}
}
