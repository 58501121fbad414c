package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"
)

// pupil is one of a class, with what its capture holds (all invented).
type pupil struct {
	name    string
	period  float64   // ms
	dropped int       // frames of the winch
	stays   []float64 // where the rudder rests, two seconds each
	read    string    // what it read for the period
}

// earned is what the rubric gives for that, worked out here.
func (p pupil) earned() [4]float64 {
	var e [4]float64
	switch {
	case p.period >= 21.9 && p.period <= 22.1:
		e[0] = 3
	case p.period >= 21 && p.period <= 23:
		e[0] = 1
	}
	switch {
	case p.dropped == 0:
		e[1] = 2
	case p.dropped <= 3:
		e[1] = 1
	}
	order := []float64{1130, 1500, 1880} // the rest at 1500 is where every capture begins
	best := 0
	for pick := range 1 << len(order) {
		want := []float64{}
		for i, w := range order {
			if pick>>i&1 == 1 {
				want = append(want, w)
			}
		}
		k := 0
		for _, s := range append([]float64{1500}, p.stays...) {
			if k < len(want) && s == want[k] {
				k++
			}
		}
		if k == len(want) {
			best = max(best, k)
		}
	}
	e[2] = math.Round(100*4*float64(best)/3) / 100
	var read float64
	if n, _ := fmt.Sscanf(strings.ReplaceAll(p.read, ",", "."), "%g", &read); n == 1 && math.Abs(read-p.period) <= p.period/100 {
		e[3] = 1
	}
	return e
}

const classRubric = `title = "Lay the rudder"
points = 10
[[criterion]]
name = "frame period"
points = 3
channel = ["rudder", "D3"]
measure = "period_us.nominal"
full = [21900, 22100]
partly = [{ within = [21000, 23000], points = 1 }]
[[criterion]]
name = "=no frames lost"
points = 2
channel = "winch"
finding = "dropped-frame"
at_most = 0
partly = [{ at_most = 3, points = 1 }]
[[criterion]]
name = "three places"
points = 4
channel = "rudder"
rests = [{ near_us = 1130, within_us = 40, at_least = "1s" }, { near_us = 1500, within_us = 40, at_least = "1s" }, { near_us = 1880, within_us = 40, at_least = "1s" }]
[[criterion]]
name = "period read"
points = 1
channel = "rudder"
answer = "period"
against = "period_us.nominal"
scale = 1000.0
within_percent = 1
`

func classOf() []pupil {
	names := []string{"Zoë Müller", `Ann "Tug" O'Hara`, "Fischer, Ida", "=SUM(A1)", "-1+2", "@cmd", "Пётр Волков", "李雷", "עדי", "J. R. Dot"}
	for i := len(names); i < 36; i++ {
		names = append(names, fmt.Sprintf("pupil %02d", i))
	}
	periods := []float64{22, 22, 22.6, 20, 21.95}
	drops := []int{0, 0, 1, 3, 5}
	places := [][]float64{{1130, 1500, 1880}, {1880, 1500, 1130}, {1130, 1880}, {1700, 1300}, {1130, 1700, 1500, 1880}, {1880, 1130, 1500}}
	reads := []string{"22.0", "", "about 22", "22,1", "21.5"}
	var class []pupil
	for i, name := range names {
		class = append(class, pupil{name, periods[i%5], drops[i/2%5], places[i%6], reads[i/3%5]})
	}
	return class
}

// scenarioOf is the capture that a pupil hands in.
func (p pupil) scenarioOf(seed int) string {
	moves := []string{}
	for k, s := range p.stays {
		moves = append(moves, fmt.Sprintf("{ at = \"%ds\", width_us = %g, rate_us_per_s = 1500 }", 3+3*k, s))
	}
	text := fmt.Sprintf("scenario = \"class (invented)\"\nseed = %d\nlength = \"16s\"\nsampling = \"4MHz\"\n[frames]\nperiod = \"%gms\"\njitter_us = 0.8\n"+
		"[[channel]]\nname = \"rudder\"\nkind = \"servo\"\nwidth_us = 1500\njitter_us = 0.8\nmoves = [%s]\n"+
		"[[channel]]\nname = \"winch\"\nkind = \"servo\"\nwidth_us = 1200\njitter_us = 0.8\n", seed, p.period, strings.Join(moves, ", "))
	for k := range p.dropped {
		text += fmt.Sprintf("[[fault]]\nkind = \"dropped-frame\"\nchannels = [\"winch\"]\nat = \"%ds\"\ncount = 1\n", 3+2*k)
	}
	return text
}

// handIn writes a class of 40: 36 pupils in files and folders, one file that
// cannot be read, an empty one, a silent one, and one handed in by another,
// trimmed and shifted.
func handIn(t *testing.T) (dir string, class []pupil) {
	dir = t.TempDir()
	write := func(name, text string) {
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o777))
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666))
	}
	class = classOf()
	answers := [][]string{{"student", "question", "value"}}
	for i, p := range class {
		write("made.toml", p.scenarioOf(i+1))
		file := "in/" + p.name + []string{".csv", ".vcd"}[i%2]
		if i%7 == 6 {
			file = "in/" + p.name + "/capture.vcd"
		}
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(dir, file)), 0o777))
		require.Zero(t, try("convert", filepath.Join(dir, "made.toml"), filepath.Join(dir, file)).code)
		if p.read != "" {
			answers = append(answers, []string{p.name, "period", p.read})
		}
	}
	require.Zero(t, try("convert", "--from", "2s", "--to", "15s", filepath.Join(dir, "in", class[0].name+".csv"), filepath.Join(dir, "in", "shadow.csv")).code)
	write("in/damaged.csv", "time_s,rudder\n0,0\n0.001,1\n0.002,maybe\n0.003,0\n")
	write("in/empty.csv", "")
	write("in/silent.csv", "time_s,rudder,winch\n0,0,0\n1,0,0\n2,0,0\n3,0,0\n")
	write("in/notes.pdf", "not a capture")
	write("lab.toml", classRubric)
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Comma = ';'
	require.NoError(t, w.WriteAll(answers))
	write("in/answers.csv", "\ufeff"+b.String())
	return dir, class
}

type gradedClass struct {
	Points   float64
	Students []struct {
		Student  string
		Files    []string
		Points   float64
		Error    *string
		Criteria []struct {
			Points  float64
			Outcome string
		}
	}
	Alike []struct {
		Students []string
		Frames   int
		Channels []string
	}
	Untold []struct{ Student string }
	Class  []struct {
		Name       string
		Mean       float64
		Full, None int
	}
}

func TestClassOfForty(t *testing.T) {
	dir, class := handIn(t)
	lab := []string{"--answers", filepath.Join(dir, "in", "answers.csv"), filepath.Join(dir, "lab.toml"), filepath.Join(dir, "in")}
	book := filepath.Join(dir, "grades.csv")
	got := try(append([]string{"grade", "--json", "--csv", book}, lab...)...)
	require.Zero(t, got.code, got.err)
	var doc gradedClass
	require.NoError(t, json.Unmarshal([]byte(got.out), &doc))
	require.Len(t, doc.Students, 40)

	want := map[string][4]float64{"damaged": {}, "empty": {}, "silent": {}}
	for _, p := range class {
		want[p.name] = p.earned()
	}
	shadow := class[0].earned()
	shadow[3] = 0 // it answered nothing
	want["shadow"] = shadow
	names, means := []string{}, [4]float64{}
	for _, s := range doc.Students {
		names = append(names, s.Student)
		var have [4]float64
		for i, c := range s.Criteria {
			have[i] = c.Points
			means[i] += c.Points / 40
		}
		assert.Equal(t, want[s.Student], have, s.Student)
		assert.InDelta(t, have[0]+have[1]+have[2]+have[3], s.Points, 1e-9, s.Student)
		assert.Equal(t, s.Student == "damaged" || s.Student == "empty", s.Error != nil, s.Student)
	}
	assert.True(t, slices.IsSorted(names))
	for i, c := range doc.Class {
		assert.InDelta(t, means[i], c.Mean, 1e-9, c.Name)
	}
	require.Len(t, doc.Alike, 1)
	assert.ElementsMatch(t, []string{"Zoë Müller", "shadow"}, doc.Alike[0].Students)
	assert.InDelta(t, 590, doc.Alike[0].Frames, 5)

	text, err := os.ReadFile(book)
	require.NoError(t, err)
	require.True(t, bytes.HasPrefix(text, []byte("\ufeff")))
	assert.NotContains(t, string(text), "\r")
	rows, err := csv.NewReader(bytes.NewReader(text[3:])).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 41)
	assert.Equal(t, []string{"student", "file", "points", "of", "frame period", "'=no frames lost", "three places", "period read", "remark"}, rows[0])
	for i, row := range rows[1:] {
		student := strings.TrimPrefix(row[0], "'")
		assert.Equal(t, names[i], student)
		assert.False(t, strings.ContainsAny(row[0][:1], "=+-@"), row[0])
	}

	// The same bytes whatever the number of cores.
	before := runtime.GOMAXPROCS(1)
	one := try(append([]string{"grade", "--json"}, lab...)...)
	runtime.GOMAXPROCS(before)
	assert.Equal(t, got.out, one.out)
}

// What names hold cannot steer a terminal.
func TestHostileNames(t *testing.T) {
	dir := t.TempDir()
	name := "\x1b[31mred\u202e.csv"
	require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte("time_s,rudder\n0,0\n1,1\n2,0\n"), 0o666))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "lab.toml"), []byte(classRubric), 0o666))
	for _, mode := range [][]string{{"grade"}, {"grade", "--json"}, {"grade", "--plan"}} {
		got := try(append(mode, filepath.Join(dir, "lab.toml"), dir)...)
		assert.Zero(t, got.code)
		assert.NotContains(t, got.out+got.err, "\x1b", mode)
		assert.NotContains(t, got.out+got.err, "\u202e", mode)
	}
}

// A folder that nobody may look into costs its own row. (Whoever runs this as the
// superuser may look into it, and sees what it holds.)
func TestLockedFolder(t *testing.T) {
	dir := t.TempDir()
	locked := filepath.Join(dir, "in", "locked")
	require.NoError(t, os.MkdirAll(locked, 0o755))
	rubric := filepath.Join(dir, "rubric.toml")
	require.NoError(t, os.WriteFile(rubric, []byte(try("help", "rubric").out), 0o600))
	for _, name := range []string{filepath.Join(dir, "in", "anna.csv"), filepath.Join(locked, "capture.csv")} {
		require.Zero(t, try("convert", "../../testdata/scenarios/healthy.toml", name).code)
	}
	require.NoError(t, os.Chmod(locked, 0))
	t.Cleanup(func() { os.Chmod(locked, 0o755) })
	out := try("grade", "--csv", "-", rubric, filepath.Join(dir, "in"))
	assert.Zero(t, out.code, out.err)
	assert.Contains(t, out.out, "\nanna,")
	assert.Contains(t, out.out, "\nlocked,")
}
