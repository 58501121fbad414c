package exact

import (
	"math/big"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
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
		if x, ok := ReadNumber([]byte(text), '.'); ok {
			got = "too large"
			if w, ok := x.Scaled(12); ok {
				if v, ok := w.Narrow(); ok {
					got = big.NewInt(v).String()
				}
			}
		}
		assert.Equal(t, want, got, "%q", text)
	}
	_, ok := ReadNumber([]byte("1,"), ',')
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
		got, ok := ScaledNumber([]byte(text), '.', 9)
		if !want.IsInt64() {
			require.False(t, ok)
			return
		}
		require.True(t, ok)
		require.Equal(t, want.Int64(), got)
		if m, d, ok := QuickNumber([]byte(text), '.'); ok && d <= 9 {
			require.Equal(t, got, m*PowersOfTen[9-d])
		}
	})
}
