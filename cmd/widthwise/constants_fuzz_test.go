package main

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/decode/calibrate"
)

// Whatever a file of constants says, it is refused in one line that begins with
// its name, or its commands stay within full scale.
func FuzzConstants(f *testing.F) {
	for _, seed := range []string{
		"low_us = 1100\nhigh_us = 1900\n", "[channel.rudder]\nlow_us = 1100\nneutral_us = 1500\nhigh_us = 1900\ndeadband_us = 500\nend_margin_us = 500\nreversed = true\nloss_after = \"110ms\"\n",
		"[channel.rudder]\nlow_us = 1900\nhigh_us = 1100\n", "low_us = nan\nhigh_us = inf\n", "loss_after = \"0s\"\n", "[channel]\nrudder = 3\n", "low_us = \"1100\"\n", "[rudder]\nlow_us = 1\n",
		"low_us = 1100\nhigh_us = 1100.0000001\n",
	} {
		f.Add(seed, int64(1_500_000_000))
	}
	const name = "constants.toml"
	f.Fuzz(func(t *testing.T, text string, width int64) {
		file, err := parseConstants(name, []byte(text))
		if err == nil {
			if k, _ := file.of("rudder", calibrate.Constants{Low: math.NaN(), High: math.NaN(), Neutral: math.NaN()}); k.Complete() {
				for _, edge := range []bool{false, true} {
					v := k.Command(decode.Time(width), calibrate.Mapping{Full: 100, FromEdge: edge})
					require.True(t, v >= -100 && v <= 100, "%v of %+v is %d", width, k, v)
				}
			}
		}
		if err != nil {
			require.True(t, strings.HasPrefix(err.Error(), name+":"), "%v", err)
			require.NotContains(t, oneLine(err.Error()), "\n")
		}
	})
}
