package table

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/sourcetest"
)

// TestWorkedEdge: the 50 % reference level instants of IEEE Std 181 on a
// sampled pulse, linear between samples: 157/26 us and 75/4 us, width 661/52
// us. Source: testdata/csv/edge-worked.csv, worked in rational arithmetic.
func TestWorkedEdge(t *testing.T) {
	r, err := openFile("../../../testdata/csv/edge-worked.csv", capture.Options{})
	require.NoError(t, err)
	defer r.Close()
	_, edges, origin := readAll(t, r)
	require.Equal(t, []sourcetest.Change{{At: 0, Level: decode.Low}, {At: 6038462, Level: decode.High}, {At: 18750000, Level: decode.Low}}, edges[0])
	assert.Equal(t, float64(decode.Microsecond), origin.Step)
	assert.Equal(t, []decode.Remark{{Kind: decode.LevelsRead, Channel: "volts", Text: "analog, threshold 1.65 V, hysteresis 0.33 V; option threshold and option hysteresis state others"}}, origin.Notes)
}

// TestStatedThreshold: at 0.33 V and 2.97 V the worked pulse's 10 % and 90 %
// instants: 193/40, 1987/100, 287/40, 1081/60 us.
func TestStatedThreshold(t *testing.T) {
	for microvolts, want := range map[int64][]decode.Time{330000: {4825000, 19870000}, 2970000: {7175000, 18016667}} {
		hysteresis := int64(1000)
		r, err := openFile("../../../testdata/csv/edge-worked.csv", capture.Options{Threshold: &microvolts, Hysteresis: &hysteresis})
		require.NoError(t, err)
		_, edges, _ := readAll(t, r)
		require.Len(t, edges[0], 3)
		assert.Equal(t, want, []decode.Time{edges[0][1].At, edges[0][2].At})
		require.NoError(t, r.Close())
	}
}

// TestHysteresis: the last crossing before the far limit stands, and a signal
// that turns back within the band makes no edge. Threshold 1.5 V, limits 1.65
// V and 1.35 V.
func TestHysteresis(t *testing.T) {
	threshold, band := int64(1500000), int64(300000)
	for name, c := range map[string]struct{ volts, want string }{
		"last crossing": {"0 1 1.6 1.4 1.6 3 3", "low 0.000000 high 3.500000"},
		"turned back":   {"0 1 1.6 1.4 0 0.1", "low 0.000000"},
		"on the line":   {"0 1.5 1.5 3 1.5 1.3 0.2", "low 0.000000 high 1.000000 low 4.000000"},
		"two samples":   {"0 3 0.3", "low 0.000000 high 0.500000 low 1.555556"},
		"begins high":   {"3 2.9 0 0.1", "high 0.000000 low 1.482759"},
		"unknown":       {"0 nan 3 3 0.1", "low 0.000000 unknown 1.000000 high 2.000000 low 3.517241"},
	} {
		var b strings.Builder
		b.WriteString("time_us,winch\n")
		for i, v := range strings.Fields(c.volts) {
			fmt.Fprintf(&b, "%d,%s\n", i, v)
		}
		got, _, err := read(t, b.String(), capture.Options{Threshold: &threshold, Hysteresis: &band})
		require.NoError(t, err)
		assert.Equal(t, "winch: "+c.want+"\n", got, name)
	}
}

// analogCase is a made-up pulse train in volts.
type analogCase struct {
	low, high   float64
	noise       float64 // sd
	rise        float64 // us from state to state
	step        float64 // us
	width       float64
	period      float64
	start       float64 // of the first pulse, us
	length      int     // samples
	comma       bool
	wantPulses  int
	toleranceUS float64
}

func (c analogCase) at(us float64) float64 {
	p := math.Mod(us-c.start+c.period, c.period)
	if us < c.start {
		return c.low
	}
	share := math.Min(p/c.rise, (c.width+c.rise-p)/c.rise)
	return c.low + (c.high-c.low)*math.Max(0, math.Min(1, share))
}

func (c analogCase) text(seed uint64) string {
	noise := rand.New(rand.NewPCG(seed, 1))
	var b strings.Builder
	b.WriteString("time_us;winch [V]\n")
	for i := range c.length {
		us := float64(i) * c.step
		line := fmt.Sprintf("%.3f;%.4f\n", us, c.at(us)+c.noise*noise.NormFloat64())
		if c.comma {
			line = strings.ReplaceAll(line, ".", ",")
		}
		b.WriteString(line)
	}
	return b.String()
}

// TestAnalogTrains: state levels are found with a rare high level, offset
// ground, noise of a tenth of the swing, rounded edges, few samples and long
// rest; widths at the threshold are those of the train.
func TestAnalogTrains(t *testing.T) {
	clean := analogCase{low: 0, high: 3.3, noise: .002, rise: 4, step: 2, width: 1500, period: 20000, start: 1000, length: 50000, wantPulses: 5, toleranceUS: .1}
	for name, change := range map[string]func(*analogCase){
		"clean":            func(c *analogCase) {},
		"offset ground":    func(c *analogCase) { c.low, c.high = 1.4, 6.2 },
		"below ground":     func(c *analogCase) { c.low, c.high = -5, 0.1 },
		"noise":            func(c *analogCase) { c.noise, c.toleranceUS = .1, 2 },
		"tenth noise":      func(c *analogCase) { c.noise, c.step, c.length, c.toleranceUS = .33, 10, 10000, 15 },
		"rounded":          func(c *analogCase) { c.rise = 60 },
		"2500 points":      func(c *analogCase) { c.step, c.length, c.wantPulses, c.toleranceUS, c.rise = 20, 2500, 3, 1, 30 },
		"decimal comma":    func(c *analogCase) { c.comma = true },
		"begins late":      func(c *analogCase) { c.start, c.length = 900000, 500000 },
		"begins very late": func(c *analogCase) { c.start, c.length, c.step, c.toleranceUS = 5900000, 600000, 10, 4; c.noise = .02 },
	} {
		t.Run(name, func(t *testing.T) {
			c := clean
			change(&c)
			r, err := newReader(strings.NewReader(c.text(7)), "winch.csv", capture.Options{})
			require.NoError(t, err)
			_, edges, origin := readAll(t, r)
			var widths []float64
			for i, e := range edges[0] {
				if e.Level == decode.Low && i > 0 {
					if w := float64(e.At-edges[0][i-1].At) / 1e6; w > 100 { // chatter of noise aside
						widths = append(widths, w)
					}
				}
			}
			assert.Len(t, widths, c.wantPulses)
			for _, w := range widths {
				assert.InDelta(t, c.width, w, c.toleranceUS)
			}
			assert.InDelta(t, c.step*1e6, origin.Step, 1)
			assert.False(t, origin.ChangesOnly)
			assert.Zero(t, origin.Uneven.Count)
		})
	}
}

// TestFlatAnalog: noise about one level is no signal.
func TestFlatAnalog(t *testing.T) {
	for level, want := range map[float64]string{.02: "low", 4.9: "high"} {
		for _, noise := range []float64{.001, .05, .3} {
			c := analogCase{low: level, high: level, noise: noise, rise: 1, step: 20, width: 1500, period: 20000, length: 300000}
			r, err := newReader(strings.NewReader(c.text(3)), "winch.csv", capture.Options{})
			require.NoError(t, err)
			_, edges, origin := readAll(t, r)
			require.Len(t, edges[0], 1, "%v %v", level, noise)
			assert.Equal(t, want, edges[0][0].Level.String())
			assert.Contains(t, strings.Join(decode.Texts(origin.Notes), " "), "taken as one level, "+want)
		}
	}
}

// TestUnknownWhileFlat: a stretch without readings is told though the channel
// has not swung by the time blocks went out; so is the swing that comes later.
func TestUnknownWhileFlat(t *testing.T) {
	var b strings.Builder
	b.WriteString("time_us,winch [V]\n")
	const rows = 600000
	for i := range rows {
		switch v := .02 + .01*float64(i%3); {
		case i >= rows-2000 && i < rows-1990:
			fmt.Fprintf(&b, "%d,nan\n", i)
		case i >= rows-1000 && i < rows-500:
			fmt.Fprintf(&b, "%d,%.2f\n", i, v+3)
		default:
			fmt.Fprintf(&b, "%d,%.2f\n", i, v)
		}
	}
	require.Greater(t, b.Len(), 4<<20+blockText, "longer than is looked ahead")
	_, edges, _ := readAll(t, mustRead(t, b.String()))
	var levels string
	for _, e := range edges[0] {
		levels += fmt.Sprintf("%s %d ", e.Level, e.At/decode.Microsecond) // edges lie half-way between rows
	}
	assert.Equal(t, "low 0 unknown 598000 low 598010 high 598999 low 599499 ", levels)
}

// TestWrongGuess: a channel that rests at 1.4 V for longer than is waited for
// is taken as high; where it swings to 6.2 V that is not turned into an edge.
func TestWrongGuess(t *testing.T) {
	c := analogCase{low: 1.4, high: 6.2, rise: 4, step: 2, width: 1500, period: 20000, start: 850000, length: 480000}
	_, edges, _ := readAll(t, mustRead(t, c.text(1)))
	var levels []string
	for _, e := range edges[0] {
		levels = append(levels, fmt.Sprintf("%s %d", e.Level, e.At/decode.Microsecond))
	}
	require.Len(t, levels, 14)
	assert.Equal(t, []string{"high 0", "unknown 821742", "high 850002", "low 851502", "high 870002"}, levels[:5])
}

// TestBlocksJoin: edges do not depend on where blocks end. The same samples
// with a long and a short spelling of their stamps break in other places.
func TestBlocksJoin(t *testing.T) {
	c := analogCase{low: 0, high: 3.3, noise: .05, rise: 900, step: 2, width: 1500, period: 4000, start: 1000, length: 300000}
	text := c.text(5)
	long := strings.ReplaceAll(text, ";", "000000000000;")
	_, a, _ := readAll(t, mustRead(t, text))
	_, b, _ := readAll(t, mustRead(t, strings.Replace(long, "time_us000000000000", "time_us", 1)))
	require.Greater(t, len(a[0]), 250)
	require.Equal(t, a, b)
}

func mustRead(t testing.TB, text string) capture.Source {
	r, err := newReader(strings.NewReader(text), "tug.csv", capture.Options{})
	require.NoError(t, err)
	return r
}

// TestTwoValues: a column of two values is digital whatever they are, its
// edges at the first row that carries the new one.
func TestTwoValues(t *testing.T) {
	for _, values := range []string{"0 3.3", "0 1", "0.02 4.98", "-12 12", "100 900", "0 0.1"} {
		words := strings.Fields(values)
		text := "time_us,a\n"
		for i, high4 := range []bool{false, false, true, true, false, true, false} {
			text += fmt.Sprintf("%d,%s\n", i*10, words[bit(high4)])
		}
		got, _, err := read(t, text, capture.Options{})
		require.NoError(t, err)
		assert.Equal(t, "a: low 0.000000 high 20.000000 low 40.000000 high 50.000000 low 60.000000\n", got, values)
	}
}

// TestVoltsAtChanges: in a table of volts with a row at each change only, no two
// rows lie in one state, and nothing lies between them: a level begins with its
// row, however long ago the row before was.
func TestVoltsAtChanges(t *testing.T) {
	threshold := int64(1_650_000)
	for _, o := range []capture.Options{{}, {Threshold: &threshold}} {
		text, want, at := "time_us,a\n", "a:", 0
		for i := range 40 {
			text += fmt.Sprintf("%d,%.2f\n", at, float64(i%2)*3.3+float64(i*7%5)*.02)
			want += fmt.Sprintf(" %s %d.000000", []string{"low", "high"}[i%2], at)
			at += []int{18480 + i, 1520 - i}[i%2]
		}
		got, _, err := read(t, text, o)
		require.NoError(t, err)
		assert.Equal(t, want+"\n", got)
	}
}

// TestSmallSwing: states closer together than those of logic get a note.
func TestSmallSwing(t *testing.T) {
	for high, small := range map[float64]bool{.6: true, .9: true, 1.8: false} {
		c := analogCase{high: high, noise: .002, rise: 4, step: 10, width: 1500, period: 20000, start: 1000, length: 10000}
		r := mustRead(t, c.text(2))
		_, _, origin := readAll(t, r)
		assert.Equal(t, small, slices.ContainsFunc(origin.Notes, func(n decode.Remark) bool { return n.Kind == decode.SmallSwing }), "%v V: %q", high, origin.Notes)
	}
}

// TestSilentColumns: columns that stay at one level are channels, whatever
// they are called; what counts the rows has to count.
func TestSilentColumns(t *testing.T) {
	got, _, err := read(t, "time_us,throttle,copy,n,i\n0,0,0,1,0\n1000,1,1,1,0\n2500,0,0,1,0\n21000,1,1,1,0\n", capture.Options{})
	require.NoError(t, err)
	assert.Contains(t, got, "\nn: high 0.000000\ni: low 0.000000\n")
	got, _, err = read(t, "n,time_us,throttle\n0,0,0\n1,1000,1\n2,2500,0\n3,21000,1\n", capture.Options{})
	require.NoError(t, err)
	assert.NotContains(t, got, "n:")
}

// TestShortNames: S, T and Us are units and words for time, and channels all the
// same where their volts go up and down.
func TestShortNames(t *testing.T) {
	c := analogCase{high: 3.3, noise: .002, rise: 4, step: 10, width: 1500, period: 20000, start: 1000, length: 10000}
	_, rows, _ := strings.Cut(c.text(2), "\n")
	for _, name := range []string{"S", "T", "Us [V]", "ms"} {
		got, _, err := read(t, "time_us;"+name+"\n"+rows, capture.Options{})
		require.NoError(t, err, name)
		assert.Equal(t, 1+2*5, strings.Count(got, " ")/2, "%s: five pulses in 100 ms", got)
	}
	_, _, err := read(t, "t,us\n0,1\n1,2\n3,4\n", capture.Options{})
	assert.ErrorContains(t, err, "no rows of times and levels", "two columns of stamps")
}
