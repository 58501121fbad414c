package vcd

import (
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"widthwise/formats/internal/capture"
)

func volt(microvolts int64) *int64 { return &microvolts }

// Levels of a real at a threshold, found or stated. The edge is the stamp of
// the change that crosses, without interpolation, also where the far limit of
// the hysteresis is passed later.
func TestVCDReals(t *testing.T) {
	for _, c := range []struct {
		name, changes         string
		threshold, hysteresis *int64
		want                  []string
	}{
		{"half-way between the states", "#0 r0 ! #10 r3.3 ! #25 r0 ! #40",
			nil, nil, []string{"0 low", "10 high", "25 low"}},
		{"states by the time they are held", "#0 r0.2 ! #98 r0.9 ! #100 r4.4 ! #103 r5.1 ! #133 r4.6 ! #135 r1.1 ! #138 r0.2 ! #200",
			nil, nil, []string{"0 low", "100 high", "135 low"}},
		{"last crossing before the far limit", "#0 r0 ! #10 r1.7 ! #11 r1.6 ! #12 r1.7 ! #13 r3 ! #20 r0 !",
			volt(1_650_000), volt(400_000), []string{"0 low", "12 high", "20 low"}},
		{"within the hysteresis", "#0 r0 ! #10 r1.7 ! #20 r1.5 ! #30 r0 ! #40 r3 !",
			volt(1_650_000), volt(400_000), []string{"0 low", "40 high"}},
		{"stated threshold alone", "#0 r0 ! #10 r2 ! #20 r3.3 ! #30 r0 ! #45",
			volt(2_500_000), nil, []string{"0 low", "20 high", "30 low"}},
		{"no number", "#0 r0 ! #10 r3 ! #20 rnan ! #30 r3 ! #40 r-inf ! #50 r0 ! #60",
			nil, nil, []string{"0 low", "10 high", "20 unknown", "30 high", "40 unknown", "50 low"}},
		{"before the start", "r3 ! r0 ! #5 #10 r3 ! #20",
			nil, nil, []string{"5 low", "10 high"}},
		{"the last at the start holds", "#5 r3 ! r0 ! #10 r3 ! #20",
			nil, nil, []string{"5 low", "10 high"}},
		{"a dead wire", "#0 r0 ! #99", nil, nil, []string{"0 low"}},
		{"a wire held high", "#0 r5 ! #99", nil, nil, []string{"0 high"}},
		{"noise and no signal", "#0 r0.01 ! #10 r0.02 ! #20 r0 ! #99", nil, nil, []string{"0 low"}},
		{"switched off", "#0 r0 ! #10 r3 ! #20 $dumpoff r0 ! $end #30 $dumpon r3 ! $end #40 r0 ! #50",
			nil, nil, []string{"0 low", "10 high", "20 unknown", "30 high", "40 low"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, got := readVCD(t, "$timescale 1 ps $end $var real 64 ! volts $end $enddefinitions $end "+c.changes+"\n",
				capture.Options{Also: []string{"volts"}, Threshold: c.threshold, Hysteresis: c.hysteresis})
			assert.Equal(t, c.want, got["volts"])
		})
	}
}

// A noisy pulse among busy wires, over many blocks: what a real shows while it
// rests, and edges that wait for the far limit, stay in order and in place.
func TestVCDRealsOverBlocks(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	var b strings.Builder
	b.WriteString("$timescale 1 ns $end $var wire 1 ! busy $end $var real 64 % volts $end $var real 64 & high $end $enddefinitions $end\n")
	b.WriteString("#0 0! r0.01 % r3.3 &\n")
	want := []string{}
	high := false
	level := map[bool]string{false: "low", true: "high"}
	for tick := 1; tick < 900_000; tick++ {
		fmt.Fprintf(&b, "#%d %d!\n", tick*100, tick%2)
		if tick < 400_000 || tick%500 != 0 {
			continue
		}
		if tick%5000 == 0 {
			high = !high
			want = append(want, strconv.Itoa(tick*100_000)+" "+level[high])
		}
		fmt.Fprintf(&b, "r%.4f %%\n", map[bool]float64{false: 0.02, true: 5}[high]+0.1*random.Float64())
	}
	b.WriteString("#100000000 r0 &\n#200000000\n")
	_, got := readVCD(t, b.String(), capture.Options{Also: []string{"volts", "high"}})
	assert.Equal(t, want, got["volts"][1:])
	assert.Equal(t, "0 low", got["volts"][0])
	assert.Equal(t, []string{"0 high", "100000000000 low"}, got["high"])
	assert.Len(t, got["busy"], 900_000)
}

// A real that rests at a level other than was shown is unknown until it moves.
func TestVCDRealsWrongGuess(t *testing.T) {
	var b strings.Builder
	b.WriteString("$timescale 1 ns $end $var wire 1 ! busy $end $var real 64 % volts $end $enddefinitions $end\n")
	b.WriteString("#0 0! r0.9 %\n") // high of a 0.9 V wire, taken as low
	for tick := 1; tick < 400_000; tick++ {
		fmt.Fprintf(&b, "#%d %d!\n", tick*100, tick%2)
	}
	b.WriteString("#40000000 r0 %\n#40001000 r0.9 %\n#40002000 r0 %\n#40003000\n")
	_, got := readVCD(t, b.String(), capture.Options{Also: []string{"volts"}})
	levels := got["volts"]
	assert.Len(t, levels, 5)
	assert.Equal(t, "0 low", levels[0])
	assert.Contains(t, levels[1], " unknown")
	assert.Equal(t, []string{"40000000000 low", "40001000000 high", "40002000000 low"}, levels[2:])
}

// A real that waits within the hysteresis holds the block back, but not for
// ever: its edge is then no earlier than the blocks that have gone.
func TestVCDRealsWait(t *testing.T) {
	for busy, late := range map[int]bool{150_000: false, 900_000: true} {
		var b strings.Builder
		b.WriteString("$timescale 1 ns $end $var wire 1 ! busy $end $var real 64 % volts $end $enddefinitions $end\n#0 0! r0 %\n#50 r1.7 %\n")
		for tick := 1; tick < busy; tick++ {
			fmt.Fprintf(&b, "#%d %d!\n", tick*100, tick%2)
		}
		fmt.Fprintf(&b, "#%d r3 %%\n", busy*100)
		_, got := readVCD(t, b.String(), capture.Options{Also: []string{"volts"}, Threshold: volt(1_650_000), Hysteresis: volt(400_000)})
		assert.Len(t, got["volts"], 2)
		assert.Equal(t, late, got["volts"][1] != "50000 high", got["volts"])
	}
}
