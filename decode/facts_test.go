package decode_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats"
)

// volts writes an analog table of one receiver pin, sampled at 200 kHz: pulses
// of the given widths every 18 ms, then a flat line.
func volts(high, noise float64, widths []float64, flat float64) string {
	rng := rand.New(rand.NewPCG(1, 9))
	var b strings.Builder
	b.WriteString("time [us],rudder [V]\n")
	end := float64(len(widths))*18000 + flat
	for us := 0.0; us < end; us += 5 {
		v := 0.02
		if k := int(us / 18000); k < len(widths) {
			if in := us - float64(k)*18000 - 4000; in >= 0 && in < widths[k] {
				v = high
			}
		}
		fmt.Fprintf(&b, "%g,%.3f\n", us, v+noise*rng.NormFloat64())
	}
	return b.String()
}

func check(t *testing.T, table string) (*decode.ChannelAnalysis, *decode.Judgement) {
	r, err := formats.NewReader(strings.NewReader(table), "rudder.csv", formats.Options{})
	require.NoError(t, err)
	rec, err := decode.Decode(context.Background(), r, decode.Settings{})
	require.NoError(t, err)
	a := rec.Analyse()
	return a.Channels[0], a.Judge(decode.PerChannel[decode.Limits]{Default: decode.DefaultLimits})
}

// What is known of the trade, common practice, no source: neutral is about
// 1500 us, real sticks give about 1100 to 1800 or 1900 us, frames come about
// every 18 to 20 ms, a receiver fed with 5 V may give pulses of 3.3 V, and a
// pin rests at 0 V when the transmitter is off. None of this is a fault but the
// last.
func TestTradeFacts(t *testing.T) {
	var sweep []float64
	for i := range 150 {
		switch {
		case i < 50:
			sweep = append(sweep, 1500)
		case i < 75:
			sweep = append(sweep, 1500+float64(i-50)*12)
		case i < 125:
			sweep = append(sweep, 1800-float64(i-75)*14)
		default:
			sweep = append(sweep, 1100)
		}
	}
	for _, high := range []float64{3.3, 5} {
		c, j := check(t, volts(high, 0.05, sweep, 0))
		assert.Equal(t, decode.Passed, j.Outcome, "%g V: %v", high, j.Findings)
		assert.InDelta(t, 18000, c.Period.Nominal, 5)
		assert.InDelta(t, 1100, float64(c.Width.Min)/1e6, 6)
		assert.InDelta(t, 1800, float64(c.Width.Max)/1e6, 6)
		require.NotEmpty(t, c.Rests)
		assert.InDelta(t, 1500, c.Rests[0].Width, 5, "neutral")
	}
	c, j := check(t, volts(3.3, 0.02, sweep, 500_000))
	assert.Equal(t, decode.Failed, j.Outcome, "the transmitter is off at the end")
	assert.EqualValues(t, 1, c.LossCount)
	require.NotEmpty(t, j.Findings)
	last := j.Findings[len(j.Findings)-1]
	assert.Equal(t, decode.SignalLoss, last.Kind)
	assert.InDelta(t, 2.704, float64(last.Start)/1e12, 0.001)
	assert.InDelta(t, 3.2, float64(last.End)/1e12, 0.001)
}

// Cores change nothing.
func TestCores(t *testing.T) {
	answer := func(cores int) string {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
		a, j := tug.with("kind = 'supply-dip'\nat = '9s'\nfor = '60ms'\nrestart = '300ms'").judge(t, 3, settings{})
		text := fmt.Sprint(j.Outcome, j.Findings, j.Unseen)
		for _, c := range a.Channels {
			text += fmt.Sprint(*c.Width, *c.Period, *c.Jitter, c.Rests)
		}
		return text
	}
	one := answer(1)
	for range 3 {
		assert.Equal(t, one, answer(2))
	}
}
