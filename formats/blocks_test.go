package formats_test

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats"
	"widthwise/formats/internal/sourcetest"
	"widthwise/formats/scenario"
)

// tug is what a model tug's receiver puts out: three channels that follow one
// another, with a dropped frame now and then.
const tug = `scenario = "tug"
seed = 5
%s
[frames]
period = "18ms"
jitter_us = 1.2
[[channel]]
name = "throttle"
kind = "servo"
width_us = 1500
jitter_us = 0.8
moves = [{ at = "1s", width_us = 1850, rate_us_per_s = 700 }, { at = "4s", width_us = 1500 }]
[[channel]]
name = "rudder"
kind = "servo"
width_us = 1510
after = "throttle"
jitter_us = 0.8
[[channel]]
name = "winch"
kind = "servo"
width_us = 1100
after = "rudder"
jitter_us = 0.8
[[fault]]
kind = "dropped-frame"
chance = 0.01
`

// spelled is the tug as a file in one of many forms.
type spelled struct {
	name, times string
	write       func(t *testing.T, s decode.Source) string
}

func asCSV(o formats.WriteOptions) func(*testing.T, decode.Source) string {
	return func(t *testing.T, s decode.Source) string {
		var b bytes.Buffer
		require.NoError(t, formats.WriteCSV(&b, s, o))
		return b.String()
	}
}

func asVCD(t *testing.T, s decode.Source) string {
	var b bytes.Buffer
	require.NoError(t, formats.WriteVCD(&b, s))
	return b.String()
}

// restamped writes each row of a table anew.
func restamped(write func(*testing.T, decode.Source) string, time, unit string, row func(stamp string, levels []string) string) func(*testing.T, decode.Source) string {
	return func(t *testing.T, s decode.Source) string {
		var b strings.Builder
		b.WriteString(time)
		for _, c := range s.Channels() {
			b.WriteString("," + c.Name + unit)
		}
		b.WriteString("\n")
		for _, line := range strings.Split(strings.TrimSpace(write(t, s)), "\n")[1:] {
			cells := strings.Split(line, ",")
			b.WriteString(row(cells[0], cells[1:]))
		}
		return b.String()
	}
}

var spellings = []spelled{
	{"samples about zero", "start = \"-5s\"\nlength = \"10s\"\nsampling = \"20kHz\"", asCSV(formats.WriteOptions{Samples: formats.Rate{Num: 20_000, Den: 1}})},
	{"samples long before zero", "start = \"-900s\"\nlength = \"10s\"\nsampling = \"20kHz\"", asCSV(formats.WriteOptions{Samples: formats.Rate{Num: 20_000, Den: 1}})},
	{"samples from 100 s", "start = \"100s\"\nlength = \"10s\"\nsampling = \"20kHz\"", asCSV(formats.WriteOptions{Samples: formats.Rate{Num: 20_000, Den: 1}})},
	{"changes at 24 MHz", "length = \"250s\"\nsampling = \"24MHz\"", asCSV(formats.WriteOptions{})},
	{"changes at 12 MHz in nanoseconds", "length = \"60s\"\nsampling = \"12MHz\"", restamped(asCSV(formats.WriteOptions{}), "time_s", "",
		func(stamp string, levels []string) string {
			return stamp[:len(stamp)-3] + "," + strings.Join(levels, ",") + "\n"
		})},
	{"epoch", "length = \"30s\"\nsampling = \"1MHz\"", restamped(asCSV(formats.WriteOptions{}), "time [s]", "",
		func(stamp string, levels []string) string {
			return fmt.Sprintf("17000000%05s,%s\n", strings.Repeat("0", 9-len(stamp))+stamp, strings.Join(levels, ","))
		})},
	{"volts", "length = \"10s\"\nsampling = \"20kHz\"", restamped(asCSV(formats.WriteOptions{Samples: formats.Rate{Num: 20_000, Den: 1}}), "time [s]", " [V]",
		func(stamp string, levels []string) string {
			n := stamp[len(stamp)-1]
			return stamp + "," + strings.NewReplacer("0", "0.0"+string(n), "1", "3.2"+string(n), "x", "0.05").Replace(strings.Join(levels, ",")) + "\n"
		})},
	{"dump", "length = \"20s\"\nsampling = \"24MHz\"", asVCD},
	{"dump from 3 hours", "start = \"3h\"\nlength = \"20s\"", asVCD},
	{"dump of reals", "length = \"20s\"\nsampling = \"1MHz\"", func(t *testing.T, s decode.Source) string {
		text := strings.NewReplacer("$var wire 1", "$var real 64", "\n0", "\nr0.1 ", "\n1", "\nr3.2 ", "\nx", "\nrnan ").Replace(asVCD(t, s))
		return text
	}},
	{"scenario", "start = \"-2s\"\nlength = \"20s\"\nsampling = \"4MHz\"", nil},
	{"exact scenario after 3 hours", "start = \"3h\"\nlength = \"5min\"", nil},
}

// A capture means the same in whatever blocks it comes, down to one row each,
// and what was written holds the frames that were sent.
func TestBlocksChangeNothing(t *testing.T) {
	for _, c := range spellings {
		t.Run(c.name, func(t *testing.T) {
			text := fmt.Sprintf(tug, c.times)
			s, err := scenario.Parse("tug", []byte(text))
			require.NoError(t, err)
			truth, err := s.Open(formats.Options{})
			require.NoError(t, err)
			want := analysed(t, truth)
			if c.write != nil {
				src, err := s.Open(formats.Options{})
				require.NoError(t, err)
				text = c.write(t, src)
			}
			named := formats.Options{Also: []string{"throttle", "rudder", "winch"}}
			whole, err := formats.NewReader(strings.NewReader(text), "tug", named)
			require.NoError(t, err)
			again, err := formats.NewReader(strings.NewReader(text), "tug", named)
			require.NoError(t, err)
			a := analysed(t, whole)
			assert.Equal(t, figures(a), figures(analysed(t, sourcetest.ByRow(again))))
			for i, w := range want.Channels {
				assert.Equal(t, decode.Servo, a.Channels[i].Signal)
				assert.Equal(t, [3]int64{w.PulseCount, w.FrameCount, w.DroppedCount},
					[3]int64{a.Channels[i].PulseCount, a.Channels[i].FrameCount, a.Channels[i].DroppedCount}, w.Name)
			}
			if want.Origin.Step > 0 && !strings.Contains(c.name, "epoch") {
				assert.InEpsilon(t, want.Resolution, a.Resolution, 1e-6)
			}
		})
	}
}

// Whatever is selected, the time base is that of the whole capture: a silent
// channel alone does not make changes of samples, nor a slow one steps of its
// own.
func TestSelectionKeepsTheTimeBase(t *testing.T) {
	spare := "[[channel]]\nname = \"spare\"\nkind = \"silent\"\n"
	for _, c := range spellings {
		if c.write == nil || strings.Contains(c.times, "250s") || strings.Contains(c.name, "reals") {
			continue
		}
		t.Run(c.name, func(t *testing.T) {
			s, err := scenario.Parse("tug", []byte(fmt.Sprintf(strings.Replace(tug, "[[fault]]", spare+"[[fault]]", 1), c.times)))
			require.NoError(t, err)
			src, err := s.Open(formats.Options{})
			require.NoError(t, err)
			text := c.write(t, src)
			read := func(o formats.Options) *decode.Analysis {
				r, err := formats.NewReader(strings.NewReader(text), "tug", o)
				require.NoError(t, err)
				return analysed(t, r)
			}
			all := read(formats.Options{Also: []string{"winch", "spare"}})
			for _, name := range []string{"winch", "spare"} {
				alone := read(formats.Options{Select: []string{name}})
				assert.Equal(t, all.Origin, alone.Origin)
				assert.Len(t, alone.Channels, 1)
				beside := read(formats.Options{Select: []string{name}, Also: []string{"winch", "spare"}, Witnesses: true})
				assert.Equal(t, figures(all), figures(beside))
				for _, ch := range beside.Channels {
					assert.Equal(t, ch.Name != "winch" && ch.Name != "spare", ch.Witness)
				}
			}
		})
	}
}

func analysed(t *testing.T, s decode.Source) *decode.Analysis {
	r, err := decode.Decode(context.Background(), s, decode.Settings{})
	require.NoError(t, err)
	return r.Analyse()
}

// figures are all that an analysis holds, in words that can be compared.
func figures(a *decode.Analysis) []string {
	lines := []string{fmt.Sprintf("%d to %d, %v us, %+v, %q", a.Start, a.End, a.Resolution, a.Origin, a.Notes)}
	for _, c := range a.Channels {
		lines = append(lines, fmt.Sprint(c.Name, c.Signal, c.Active, c.PulseCount, c.FrameCount, c.DroppedCount, c.GlitchCount, c.LossCount, c.LostTime,
			c.Rests, c.OtherKinds, c.Place, c.Offset, c.Follows))
		if c.Width != nil {
			lines = append(lines, fmt.Sprintf("%+v %+v %+v", *c.Width, *c.Period, *c.Jitter))
		}
		for p := range c.Pulses() {
			lines = append(lines, fmt.Sprintf("%+v", p))
		}
	}
	return lines
}
