package vcd

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/sourcetest"
)

// tracks are the levels of every channel, "500000 high", without those that
// restate the one before.
type tracks map[string][]string

// readTracks reads a source to its end.
func readTracks(s decode.Source) (tracks, error) {
	lists, err := sourcetest.ByName(s)
	if err != nil {
		return nil, err
	}
	found := tracks{}
	for name, list := range lists {
		for _, c := range list {
			found[name] = append(found[name], fmt.Sprint(int64(c.At), " ", c.Level))
		}
	}
	return found, nil
}

func vcdInput(text string) *capture.Input {
	in, err := capture.NewInput(strings.NewReader(text), "tug.vcd")
	if err != nil {
		panic(err)
	}
	return in
}

// readVCD reads a dump that is in order.
func readVCD(t *testing.T, text string, o capture.Options) (capture.Source, tracks) {
	t.Helper()
	s, err := Open(vcdInput(text), o)
	require.NoError(t, err)
	found, err := readTracks(s)
	require.NoError(t, err)
	return s, found
}

// readVCDError reads a dump that is not.
func readVCDError(text string, o capture.Options) error {
	s, err := Open(vcdInput(text), o)
	if err != nil {
		return err
	}
	_, err = readTracks(s)
	return err
}

// everything selects all bits, reals and events besides the scalars.
func everything(t *testing.T, text string, o capture.Options) capture.Options {
	t.Helper()
	s, err := Open(vcdInput(text), o)
	require.NoError(t, err)
	for _, v := range s.Header().Variables {
		switch v.Kind {
		case "vector":
			o.Also = append(o.Also, v.Name+"[*]")
		case "real", "event":
			o.Also = append(o.Also, v.Name)
		}
	}
	return o
}

func readTable(t *testing.T, name string) [][]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("../../../testdata/vcd", name))
	require.NoError(t, err)
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	require.NoError(t, err)
	return rows[1:]
}

// levelOf is a level as a four-state dump writes it.
func levelOf(value byte) string {
	switch value {
	case '0':
		return "low"
	case '1':
		return "high"
	}
	return "unknown"
}

// expected builds tracks from values of whole variables as they follow.
type expected struct {
	tracks
	now map[string]string
}

func (e expected) value(at int64, name, value string, lsb, step int) {
	for i := range len(value) {
		channel := name
		if len(value) > 1 {
			channel = fmt.Sprintf("%s[%d]", name, lsb+step*(len(value)-1-i))
		}
		level := levelOf(value[i])
		if e.now[channel] == "" {
			e.now[channel] = "unknown"
		}
		if e.now[channel] != level {
			e.now[channel] = level
			e.tracks[channel] = append(e.tracks[channel], fmt.Sprint(at, " ", level))
		}
	}
}

// The value sequences of IEEE Std 1364-2005 18.2.4 and 18.4.2 to 18.4.4.
func TestVCDStandardExamples(t *testing.T) {
	for _, example := range []string{"example-4state", "example-extended"} {
		text, err := os.ReadFile("../../../testdata/vcd/" + example + ".vcd")
		require.NoError(t, err)
		want := expected{tracks{}, map[string]string{}}
		for _, row := range readTable(t, example+"-expected.csv") {
			at, err := strconv.ParseInt(row[0], 10, 64)
			require.NoError(t, err)
			name := row[2][strings.LastIndex(row[2], ".")+1:]
			name, _, _ = strings.Cut(name, "[")
			lsb, step := 0, 1
			if name == "lamps" {
				lsb, step = 3, -1 // declared as [0:3]
			}
			want.value(at*1000, name, row[3], lsb, step)
		}
		_, got := readVCD(t, string(text), everything(t, string(text), capture.Options{}))
		assert.Equal(t, want.tracks, got, example)
	}
}

// Table 18-2 of IEEE Std 1364-2005 and the rule of Table 18-1.
func TestVCDLeftExtension(t *testing.T) {
	for _, row := range readTable(t, "left-extension.csv") {
		text := fmt.Sprintf("$timescale 1 ps $end $var reg %s ! v [%s-1:0] $end $enddefinitions $end #0 b%s ! #9\n", row[0], row[0], row[1])
		n, err := strconv.Atoi(row[0])
		require.NoError(t, err)
		text = strings.Replace(text, row[0]+"-1", strconv.Itoa(n-1), 1)
		want := expected{tracks{}, map[string]string{}}
		want.value(0, "v", row[2], 0, 1)
		_, got := readVCD(t, text, everything(t, text, capture.Options{}))
		assert.Equal(t, want.tracks, got, row)
	}
}

// The 23 port states of IEEE Std 1364-2005 18.4.3.1, each after its opposite
// and in every way to write strengths.
func TestVCDPortStates(t *testing.T) {
	states := readTable(t, "extended-states.csv")
	require.Len(t, states, 23)
	for _, row := range states {
		level := levelOf(row[2][0])
		before := "pD 6 0 <0"
		want := []string{"0 low", "5 " + level}
		if level == "low" {
			before = "pU 0 6 <0"
			want[0] = "0 high"
		}
		for _, form := range []string{"p%s 6 0 <0", "p%s60 <0", "p%s6 0 <0", "p%s 60 <0", "p%s <0"} {
			text := "$timescale 1 ps $end $var port 1 <0 winch $end $enddefinitions $end #0 $dumpports " +
				before + " $end #5 " + fmt.Sprintf(form, row[0]) + " #9 "
			_, got := readVCD(t, text, capture.Options{})
			assert.Equal(t, tracks{"winch": want}, got, text)
		}
	}
}

// Inputs of own making, their expected changes by an independent reader.
func TestVCDSnippets(t *testing.T) {
	refused := map[string]string{
		"time-backwards":    "time goes back to #5 after #10",
		"no-enddefinitions": `"#0" before $enddefinitions`,
		"undeclared":        `undeclared identifier "?"`,
		"no-timescale":      "no $timescale before the first change, so its times have no unit",
	}
	rows := readTable(t, "snippets.csv")
	require.Len(t, rows, 41)
	for _, row := range rows {
		t.Run(row[0], func(t *testing.T) {
			text, err := strconv.Unquote(`"` + strings.ReplaceAll(row[2], `"`, `\"`) + `"`)
			require.NoError(t, err)
			threshold, hysteresis := int64(1000), int64(0) // of the reals
			o := capture.Options{Threshold: &threshold, Hysteresis: &hysteresis}
			if why, ok := refused[row[0]]; ok {
				var pe *capture.ParseError
				require.ErrorAs(t, readVCDError(text, o), &pe)
				assert.EqualError(t, pe.Err, why)
				assert.EqualValues(t, 1, pe.Line)
				return
			}
			s, got := readVCD(t, text, everything(t, text, o))
			assert.Equal(t, snippetTracks(t, s.(*source), row[3]), got)
		})
	}
}

// snippetTracks reads changes such as "0 ! 0|5 ! 1".
func snippetTracks(t *testing.T, s *source, changes string) tracks {
	want := expected{tracks{}, map[string]string{}}
	unit := int64(s.clock.multiple)
	for _, change := range strings.Split(changes, "|") {
		fields := strings.Fields(change)
		require.Len(t, fields, 3)
		tick, value := int64(5), fields[2] // None: before the first time stamp, which is #5 there
		if fields[0] != "None" {
			var err error
			tick, err = strconv.ParseInt(fields[0], 10, 64)
			require.NoError(t, err)
		}
		v := s.header.Variables[s.codes.find([]byte(fields[1]))]
		switch v.Kind {
		case "real":
			f, err := strconv.ParseFloat(value, 64)
			require.NoError(t, err)
			value = map[bool]string{false: "0", true: "1"}[f >= 0.001]
		case "event": // at rest from the start, and each record up and down again
			if want.now[v.Name] == "" {
				want.value(tick*unit, v.Name, "0", 0, 1)
			}
			want.value(tick*unit, v.Name, "1", 0, 1)
			value = "0"
		}
		want.value(tick*unit, v.Name, value, 0, 1)
	}
	return want.tracks
}
