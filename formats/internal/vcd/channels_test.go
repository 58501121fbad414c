package vcd

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/formats/internal/capture"
)

// A tug in nested scopes: names used once and twice, one signal under several
// names, vectors counted both ways, and variables that are no wires.
const tugScopes = `$timescale 1 us $end
$scope module harbour $end
 $var wire 1 a throttle $end
 $scope module tug $end
  $var wire 1 a motor $end
  $var wire 1 b out $end
  $var reg 4 c gear [3:0] $end
  $var wire 4 c ratio [0:3] $end
  $var integer 32 d count $end
  $var real 64 e volts $end
  $var event 1 f bell $end
  $var string 1 g mode $end
  $scope module pump $end
   $var wire 1 h out $end
   $var wire 1 i \bilge[2] $end
   $var wire 1 j lamp [7:7] $end
  $upscope $end
 $upscope $end
$upscope $end
$enddefinitions $end
#0
0a 0b b1010 c b0 d r0 e sOFF g 0h 1i 0j
#5
1a 1b b0101 c b1 d r3.3 e 1f sFULL g 1h 0i 1j
#9
`

func TestVCDChannels(t *testing.T) {
	for _, c := range []struct {
		name         string
		choose, also string // joined by a space
		channels     string // joined by a space, a * after those that are named
		err          string
	}{
		{"all", "", "", "throttle harbour.tug.out harbour.tug.pump.out bilge[2] lamp", ""},
		{"name", "throttle", "", "throttle*", ""},
		{"path", "harbour.tug.pump.out", "", "harbour.tug.pump.out*", ""},
		{"full path of a name used once", "harbour.throttle", "", "throttle*", ""},
		{"alias", "motor", "", "throttle*", ""},
		{"path of an alias", "harbour.tug.motor", "", "throttle*", ""},
		{"pattern", "harbour.*out", "", "harbour.tug.out* harbour.tug.pump.out*", ""},
		{"pattern of one letter", "thrott?e", "", "throttle*", ""},
		{"bit", "gear[3]", "", "gear[3]*", ""},
		{"bit by path", "harbour.tug.gear[0]", "", "gear[0]*", ""},
		{"bit of an alias that counts the other way", "ratio[0]", "", "gear[3]*", ""},
		{"all bits", "gear[*]", "", "gear[3]* gear[2]* gear[1]* gear[0]*", ""},
		{"pattern of bits", "g*[?]", "", "gear[3]* gear[2]* gear[1]* gear[0]*", ""},
		{"bit of an integer", "count[0]", "", "count[0]*", ""},
		{"bit of one", "lamp[7]", "", "lamp*", ""},
		{"bit in an escaped name", "bilge[2]", "", "bilge[2]*", ""},
		{"real", "volts", "", "volts*", ""},
		{"event", "bell", "", "bell*", ""},
		{"besides", "", "gear[1] volts", "throttle harbour.tug.out gear[1]* volts* harbour.tug.pump.out bilge[2] lamp", ""},
		{"all scalars by pattern leave vectors out", "*", "", "throttle* harbour.tug.out* volts* bell* harbour.tug.pump.out* bilge[2]* lamp*", ""},

		{"nothing", "rudder", "", "", `no channel matches "rudder"`},
		{"bit that is not there", "gear[4]", "", "", `channel "gear[4]": its bits are [3:0]`},
		{"vector", "gear", "", "", `channel "gear": it has 4 bits; name one, such as gear[0], or all, gear[*]`},
		{"name used twice", "out", "", "", `channel "out": 2 variables have this name; use a path such as harbour.tug.out or harbour.tug.pump.out`},
		{"text", "mode", "", "", `channel "mode": it holds text`},
		{"bit of a real", "volts[0]", "", "", `channel "volts[0]": it has no bits`},
		{"column", "#3", "", "", `no channel matches "#3"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Open(vcdInput(tugScopes), capture.Options{Select: strings.Fields(c.choose), Also: strings.Fields(c.also)})
			if c.err != "" {
				var ue *capture.UsageError
				require.ErrorAs(t, err, &ue)
				assert.Contains(t, err.Error(), c.err+"; the capture has throttle, ")
				return
			}
			require.NoError(t, err)
			var channels []string
			for _, ch := range s.Channels() {
				channels = append(channels, ch.Name+map[bool]string{true: "*"}[ch.Named])
			}
			assert.Equal(t, c.channels, strings.Join(channels, " "))
		})
	}
}

func TestVCDVariables(t *testing.T) {
	s, got := readVCD(t, tugScopes, capture.Options{Select: []string{"thr*", "ratio[1]", "harbour.tug.out", "bell"}})
	in := func(name string) string { return "harbour.tug." + name }
	assert.Equal(t, []capture.Variable{
		{Name: "throttle", Path: "harbour.throttle", Kind: "digital", Width: 1, Aliases: []string{in("motor")}, Selected: true},
		{Name: in("out"), Path: in("out"), Kind: "digital", Width: 1, Selected: true},
		{Name: "gear", Path: in("gear"), Kind: "vector", Width: 4, Aliases: []string{in("ratio")}, Selected: true},
		{Name: "count", Path: in("count"), Kind: "vector", Width: 32},
		{Name: "volts", Path: in("volts"), Kind: "real", Width: 64},
		{Name: "bell", Path: in("bell"), Kind: "event", Width: 1, Selected: true},
		{Name: "mode", Path: in("mode"), Kind: "text", Width: 1},
		{Name: in("pump.out"), Path: in("pump.out"), Kind: "digital", Width: 1},
		{Name: "bilge[2]", Path: in("pump.bilge[2]"), Kind: "digital", Width: 1},
		{Name: "lamp", Path: in("pump.lamp"), Kind: "digital", Width: 1},
	}, s.Header().Variables)
	assert.Equal(t, tracks{
		"throttle": {"0 low", "5000000 high"}, in("out"): {"0 low", "5000000 high"},
		"gear[2]": {"0 low", "5000000 high"}, "bell": {"0 low", "5000000 high", "5000000 low"},
	}, got)
}

// Names that would be equal are told apart.
func TestVCDEqualNames(t *testing.T) {
	text := `$timescale 1 us $end $scope module tug $end
$var wire 1 ! out $end $var wire 1 " out $end $var wire 1 # gear[0] $end $var wire 2 $ gear [1:0] $end
$upscope $end $var wire 1 % \tug.out $end $enddefinitions $end #0 0! 0" 0# b0 $ 0%` + "\n"
	s, _ := readVCD(t, text, capture.Options{Also: []string{"gear[*]"}})
	var names []string
	for _, c := range s.Channels() {
		names = append(names, c.Name)
	}
	assert.Equal(t, []string{"tug.out~2", "tug.out~3", "gear[0]", "gear[1]", "tug.gear[0]", "tug.out"}, names)
	assert.Len(t, s.Origin().Notes, 1)
}

// A dump of events alone has them as channels.
func TestVCDEventsAlone(t *testing.T) {
	_, got := readVCD(t, "$timescale 1 ps $end $var event 1 ! bell $end $enddefinitions $end #2 #3 1! 1! #8 x!\n", capture.Options{})
	assert.Equal(t, tracks{"bell": {"2 low", "3 high", "3 low", "3 high", "3 low", "8 high", "8 low"}}, got)
}

// A code may be spelled like a keyword or a time stamp.
func TestVCDCodesLikeKeywords(t *testing.T) {
	_, got := readVCD(t, "$timescale 1 ps $end $var wire 1 $end a $end $var wire 1 $var b $end $var wire 1 #5 c $end $enddefinitions $end\n"+
		"#2 0$end 1$var b0 #5 #5 1$end b0 $var 1#5\n", capture.Options{})
	assert.Equal(t, tracks{"a": {"2 low", "5 high"}, "b": {"2 high", "5 low"}, "c": {"2 low", "5 high"}}, got)
}

// Names are shown as text, whatever their bytes.
func TestVCDNamesOfBytes(t *testing.T) {
	s, _ := readVCD(t, "$timescale 1 ps $end $var wire 1 ! se\xe4\xe4\x7f $end $enddefinitions $end #0 0!\n", capture.Options{})
	assert.Equal(t, "se��", s.Channels()[0].Name)
}

func TestVCDLooksLike(t *testing.T) {
	for text, want := range map[string]bool{
		"$date today $end": true, " \r\n\t$timescale 1 us $end": true, "$dumpvars 0! $end": true, "$vcdclose #1 $end": true,
		"$attrbegin misc 1 $end $var wire 1 ! a $end": true, "$attrbegin misc 1 $end": false,
		"time,throttle\n0,1\n": false, "$5,1\n": false, "": false, "  ": false, "#0\n1!\n": false, "[[channel]]\nname = \"$date\"": false,
	} {
		assert.Equal(t, want, Looks([]byte(text)), "%q", text)
	}
}

// Absurd declarations end in one line.
func TestVCDAbsurd(t *testing.T) {
	for name, c := range map[string]struct {
		text func(b *strings.Builder)
		want string
	}{
		"variables": {func(b *strings.Builder) {
			for i := range maxVariables + 1 {
				fmt.Fprintf(b, "$var wire 1 %x a $end\n", i)
			}
		}, "tug.vcd:1048578:1: more than 1048576 variables; dump fewer scopes"},
		"names of one signal": {func(b *strings.Builder) {
			for range maxVariables + 1 {
				b.WriteString("$var wire 1 ! a $end\n")
			}
		}, "tug.vcd:1048578:1: more than 1048576 variables; dump fewer scopes"},
		"depth": {func(b *strings.Builder) { b.WriteString(strings.Repeat("$scope module a $end\n", 100_000)) },
			"tug.vcd:32770:17: scopes nested to a path of more than 64 KiB; $upscope would leave them"},
		"depth without names": {func(b *strings.Builder) { b.WriteString(strings.Repeat("$scope begin $end\n", 100_000)) },
			"tug.vcd:65538:14: scopes nested to a path of more than 64 KiB; $upscope would leave them"},
		"long paths": {func(b *strings.Builder) {
			b.WriteString("$scope module " + strings.Repeat("a", 60_000) + " $end\n")
			for i := range 3000 {
				fmt.Fprintf(b, "$var wire 1 %x a $end\n", i)
			}
		}, "tug.vcd:2239:19: names of more than 128 MiB; dump fewer scopes"},
		"long name": {func(b *strings.Builder) {
			b.WriteString("$var wire 1 ! " + strings.Repeat("a ", 100_000) + " $end\n")
		}, "tug.vcd:2:65541: $var of line 2 goes on for more than 64 KiB; $end would close it"},
		"long token": {func(b *strings.Builder) {
			b.WriteString("$var wire 1 ! a $end $enddefinitions $end\n#0 b" + strings.Repeat("1", 3<<20))
		},
			"tug.vcd:3:4: a token of more than 1 MiB; a dump is text, its words parted by white space"},
		"long line of nothing": {func(b *strings.Builder) { b.WriteString(strings.Repeat(" ", 3<<20) + "$enddefinitions $end ?") },
			"tug.vcd:2:3145750: the dump declares no variable; $var would declare one, such as $var wire 1 ! throttle $end"},
	} {
		t.Run(name, func(t *testing.T) {
			var b strings.Builder
			b.WriteString("$timescale 1 us $end\n")
			c.text(&b)
			assert.EqualError(t, readVCDError(b.String(), capture.Options{}), c.want)
		})
	}
}
